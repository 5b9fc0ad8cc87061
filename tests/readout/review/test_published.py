"""Published figures of the trade: the orifice table of a handbook, costs of a tip sheet, specific powers."""

from decimal import Decimal

import pytest

from protocols.units import quantity_of
from readout.measuring_point.model import Energy, Money, WorkCalendar
from readout.review.about.units import number_in
from readout.review.air.demand import Cost, cost
from readout.review.air.orifice import CRITICAL, equivalent_diameter, mass_flow

INCH, PSI, LB, FOOT3 = 0.0254, 6894.757, 0.45359237, 0.3048**3

#: "Discharge of air through an orifice", Compressed Air and Gas Handbook: free air [cfm] at 70, 80, 90, 100,
#: 125 psig, coefficient 1, by W = 0.5303 A C P / sqrt(T), P = psig + 14.7, T = 530 °R, 0.07494 lb/ft3.
TABLE = [
    (1 / 32, [1.20, 1.34, 1.48, 1.62, 1.98]),
    (1 / 16, [4.79, 5.36, 5.92, 6.49, 7.90]),
    (1 / 8, [19.2, 21.4, 23.7, 26.0, 31.6]),
    (1 / 4, [76.7, 85.7, 94.8, 104, 126]),
    (3 / 8, [173, 193, 213, 234, 284]),
]


@pytest.mark.parametrize(("inches", "row"), TABLE)
def test_the_orifice_table_of_the_handbook(inches: float, row: list[float]) -> None:
    """Every cell within 0.7 %: its own rounding, and the handbook's 0.5303 instead of 0.5318."""
    for psig, cfm in zip((70, 80, 90, 100, 125), row, strict=True):
        mass = mass_flow(inches * INCH, (psig + 14.7) * PSI, 530 / 1.8, 1.0)
        assert mass / LB / 0.07494 * 60 == pytest.approx(cfm, rel=0.007), (inches, psig)


def test_below_the_critical_ratio_the_hole_is_not_choked() -> None:
    """Same source: 1/4 in at 5 psig 15.9 cfm, at 12 psig 24.3; critical ratio 0.528."""
    assert pytest.approx(0.5283, abs=1e-4) == CRITICAL
    for psig, cfm in ((5, 15.9), (12, 24.3)):
        mass = mass_flow(INCH / 4, (psig + 14.7) * PSI, 530 / 1.8, 1.0)
        assert mass / LB / 0.07494 * 60 == pytest.approx(cfm, rel=0.01)


def test_the_equivalent_hole_is_found_again() -> None:
    """Four times the flow is twice the diameter."""
    mass = mass_flow(0.003, 7e5, 293.15, 0.65)
    assert equivalent_diameter(mass, 7e5, 293.15) == pytest.approx(0.003)
    assert equivalent_diameter(4 * mass, 7e5, 293.15) == pytest.approx(0.006)


def q(text: str):
    found = quantity_of(text)
    assert not isinstance(found, str)
    return found


#: US DOE compressed air tip sheet no. 3 (from memory): number of leaks, cfm of each, dollars a year.
LEAKS = [(100, 1.46, 5611), (50, 5.72, 10991), (10, 100.9, 38776)]


@pytest.mark.parametrize(("count", "cfm", "dollars"), LEAKS)
def test_the_annual_costs_of_a_tip_sheet(count: int, cfm: float, dollars: int) -> None:
    """× 0.61 × 18 kW/100 cfm × 7000 h × 0.05 $/kWh; 18 kW/100 cfm are 0.10594 kWh/m3."""
    energy = Energy(q("0.1059441 kWh/m3"), None, None, Money(Decimal("0.05"), "USD", "kWh"))
    calendar = WorkCalendar(pressurised_hours_per_year=7000)
    found = cost(count * cfm * 0.61, "cfm", 0.5, energy, calendar)
    assert isinstance(found, Cost)
    assert found.a_year == pytest.approx(dollars, abs=1)
    assert found.a_year_out_of_hours == pytest.approx(found.a_year / 2)


@pytest.mark.parametrize(("per_100_cfm", "expected"), [(18, 6.357), (20, 7.063), (22, 7.769)])
def test_specific_powers_per_100_cfm_and_per_cubic_metre(per_100_cfm: int, expected: float) -> None:
    """kW/(m3/min) = kW per 100 cfm / 2.83168466; kWh/m3 is a sixtieth of it. Exact arithmetic."""
    assert per_100_cfm / (100 * FOOT3) == pytest.approx(expected, abs=5e-4)
    told = q(f"{per_100_cfm / (100 * FOOT3) / 60:.12f} kWh/m3")
    assert number_in(told, "kW/(m3/min)") == pytest.approx(expected, abs=5e-4)


def test_a_cost_that_cannot_be_told_says_why() -> None:
    price = Money(Decimal("0.05"), "USD", "kWh")
    assert (
        cost(1.0, "m3/h", 1.0, None, None)
        == "the job file gives no specific power, or no price: no cost is told"
    )
    energy = Energy(q("6 kW/(m3/min)"), None, None, price)
    assert "has no cost" in str(cost(1.0, "kg/h", 1.0, energy, None))
    assert "has no cost" in str(cost(1.0, "scfm", 1.0, energy, None))
