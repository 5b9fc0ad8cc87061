"""Out-of-hours demand, its cost, the totaliser, corrections, and several points."""

from pathlib import Path
from types import ModuleType

import pytest

from protocols.units import quantity_of
from readout.review.air.demand import isentropic_floor
from readout.review.review import Asked, review
from readout.review.several import CANNOT_BE_TOLD, agreement, together
from storage.archive import Archive
from storage.ledger import Kind
from storage.logbook.entering import enter


def q(text: str):
    found = quantity_of(text)
    assert not isinstance(found, str)
    return found


def days(hall: ModuleType, root: Path, flow, pressure=lambda _: 7000, total=lambda _: 1, **what):
    """Monday 4 May (closed) to Wednesday 6 May 2026, Dublin time, a row every 10 s."""
    dues = hall.every(10_000, "2026-05-03T23:00Z", "2026-05-06T23:00Z")
    with Archive.open(root) as archive:
        for point in what.pop("points", [hall.POINT]):
            hall.fill(
                archive, hall.record(10_000, point=point, **what), dues,
                lambda due: (flow(due), pressure(due), total(due)),
            )  # fmt: skip
        hall.seal(archive, dues[-1] + 1000)


def hour(due: int) -> int:
    """Of the day in Dublin, which is an hour ahead of UTC in May."""
    return (due // 3_600_000 + 1) % 24


def test_demand_is_what_flows_outside_shifts_and_on_closed_days(hall: ModuleType, root: Path) -> None:
    """Constructed: 10 m3/h on the closed Monday, 20 at night, 90 in the shifts."""
    monday = hall.ms("2026-05-04T23:00Z")
    days(hall, root, lambda due: 10.0 if due < monday else 90.0 if 6 <= hour(due) < 22 else 20.0)
    found = review(root, hall.POINT)
    assert found is not None
    assert not isinstance(found.demand, str)
    assert found.demand.counted_s == (24 + 2 * 8) * 3600
    assert found.demand.mean == pytest.approx((24 * 10 + 16 * 20) / 40)
    assert found.demand.share == pytest.approx(40 / 72)


def test_only_while_the_pressure_is_in_its_band(hall: ModuleType, root: Path) -> None:
    """The network is let down to 0.5 bar(g) on the closed day: that nothing flows then is no demand of 0."""
    monday = hall.ms("2026-05-04T23:00Z")
    days(
        hall, root, lambda due: 0.0 if due < monday else 20.0, lambda due: 500 if due < monday else 7000
    )  # fmt: skip
    found = review(root, hall.POINT)
    assert found is not None
    assert not isinstance(found.demand, str)
    assert found.demand.mean == pytest.approx(20.0)
    assert found.demand.out_of_band_s == 24 * 3600
    wide = review(root, hall.POINT, asked=Asked(band=(q("0 bar(g)"), q("9 bar(g)"))))
    assert wide is not None
    assert not isinstance(wide.demand, str)
    assert wide.demand.mean == pytest.approx(16 / 40 * 20)


def test_a_cost_has_its_formula_and_is_checked_for_the_impossible(hall: ModuleType, root: Path) -> None:
    """By hand: 60 m3/h are 1 m3/min; 4 kW/(m3/min) at 7 bar(g) is below the isentropic 4.73."""
    job = hall.JOB.replace("6.4 kW", "4 kW")
    days(hall, root, lambda _: 60.0, job=job)
    found = review(root, hall.POINT)
    assert found is not None
    assert not isinstance(found.cost, str)
    assert found.cost.a_year == pytest.approx(4 * 8000 * 0.25)
    assert found.cost.formula == "1 m3/min × 4 kW/(m3/min) × 8000 h/a × 0.25 EUR/kWh"
    assert "free air delivered at 7 bar(g)" in found.cost.specific_power_reference
    (warning,) = found.cost.warnings
    assert "below the isentropic work of 4.73 kW/(m3/min)" in warning
    assert found.cost.carbon_kg_a_year == pytest.approx(4 * 8000 * 0.2)


def test_the_isentropic_floor_is_that_of_handbooks() -> None:
    """Ideal gas, k = 1.4, from 1 bar to 7 bar(g): 284.01 kJ/m3, 4.7334 kW/(m3/min)."""
    assert isentropic_floor(8.0) == pytest.approx(4.7334, abs=1e-4)


def test_a_calendar_that_is_not_there_is_told(hall: ModuleType, root: Path) -> None:
    job = hall.JOB.replace("  production: Mon-Fri\n", "")
    days(hall, root, lambda _: 60.0, job=job)
    found = review(root, hall.POINT)
    assert found is not None
    assert (
        found.demand
        == "neither the point nor the job file says when the site produces (calendar: production)"
    )
    assert found.cost == found.demand


def test_the_totaliser_stands_against_the_integral(hall: ModuleType, root: Path) -> None:
    """36 m3/h are 0.1 m3 in 10 s; the counter rolls over at 1000 m3, and the flow is 2 % more."""
    begin = hall.ms("2026-05-03T23:00Z")
    days(hall, root, lambda _: 36.0 * 1.02, total=lambda due: ((due - begin) // 10_000 + 9000) % 10_000)
    found = review(root, hall.POINT)
    assert found is not None
    assert found.totals is not None
    assert found.totals.roll_overs == 3
    assert found.totals.resets == 0
    rows = 3 * 8640
    assert found.totals.counted == pytest.approx((rows - 1) / 10)
    assert found.totals.difference == pytest.approx(1.02 * rows / (rows - 1) - 1, rel=1e-4)


def test_a_corrected_diameter_stands_beside_the_raw_flow(hall: ModuleType, root: Path) -> None:
    """53.1 mm set in the meter, 54.5 mm true: +5.34 % from Tuesday on; rows stay as they are."""
    days(hall, root, lambda _: 100.0)
    tuesday = hall.ms("2026-05-04T23:00Z")
    content = {
        "point": hall.POINT, "from": "2026-05-04T23:00:00.000Z", "set": {"pipe.inside_diameter": "54.5mm"},
        "was": {"pipe.inside_diameter": "53.1 mm"}, "flow_factor": 1.053426, "computed_with_mm": 53.1,
    }  # fmt: skip
    enter(root, Kind.POINT, content)
    found = review(root, hall.POINT)
    assert found is not None
    assert found.flow is not None
    assert found.corrected is not None
    assert [day.mean for day in found.flow.days] == pytest.approx([100.0] * 3)
    factor = (54.5 / 53.1) ** 2
    assert [day.mean for day in found.corrected.days] == pytest.approx(
        [100, 100 * factor, 100 * factor], rel=1e-6
    )
    (one,) = found.corrections
    assert "54.5mm instead of 53.1 mm" in one.what
    assert one.from_ms == tuesday


def test_mains_against_branches(hall: ModuleType, root: Path) -> None:
    """Three meters of 100 m3/h at 3 %: sum 300 ± 5.2; 100 − 200 is told, 100 − 98 cannot be."""
    days(hall, root, lambda _: 100.0, points=["mains", "branch-1", "branch-2"])
    found = [review(root, name) for name in ("mains", "branch-1", "branch-2")]
    reviews = [one for one in found if one is not None]
    three = together(reviews, [0.03] * 3)
    assert not isinstance(three, str)
    assert three.sum == pytest.approx(300)
    assert three.sum_uncertainty == pytest.approx(3 * 3**0.5)
    assert (three.difference, three.verdict) == (pytest.approx(-100), None)
    two = together(reviews[:2], [0.03, 0.03])
    assert not isinstance(two, str)
    assert two.verdict == CANNOT_BE_TOLD
    unknown = together(reviews[:2], [0.03, None])
    assert not isinstance(unknown, str)
    assert unknown.difference_uncertainty is None


def test_live_and_memory_of_the_same_hours_are_compared_never_added(hall: ModuleType, root: Path) -> None:
    days(hall, root, lambda _: 100.0)
    times = hall.every(20_000, "2026-05-04T10:00Z", "2026-05-04T12:00Z")
    hall.memory(root, times, [99.0] * len(times), 20_000, holds="mean", marked_at="start")
    live, memory = review(root, hall.POINT), review(root, hall.POINT, "memory")
    assert live is not None
    assert memory is not None
    found = agreement(live, memory)
    assert found is not None
    assert found.common_s == 2 * 3600
    assert found.ratio == pytest.approx(0.99)
    assert "are not added" in found.precedence
