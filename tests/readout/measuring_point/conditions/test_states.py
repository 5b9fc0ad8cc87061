"""Reference conditions, and written quantities in kelvin and pascal: never a wrong one by chance."""

import math
from decimal import Decimal

import pytest
from fluids import ATMOSPHERE_1976
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.units import UNITS, Dimension, Quantity, quantity_of
from readout.errors import WrongUse
from readout.measuring_point.conditions.states import (
    FREE_AIR,
    GAS_15_C,
    NORMAL,
    PNEUMATIC,
    REFERENCES,
    US_COMPRESSOR,
    State,
    absolute_pa,
    flow_m3_per_s,
    hidden_spread_percent,
    kelvin,
    kelvin_width,
    pascal_width,
    reference_at,
    standard_air_pressure_pa,
    state_of,
)


def q(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


@pytest.mark.parametrize(
    ("temperature", "pressure", "known"),
    [
        ("0 degC", "1.01325 bar(a)", NORMAL),  # DIN 1343, read in a reprint
        ("273.15 K", "1 atm(a)", NORMAL),
        ("15 degC", "101325 Pa(a)", GAS_15_C),  # ISO 13443, from memory
        ("20 degC", "1 bar(a)", FREE_AIR),  # ISO 1217:2009, from memory
        ("68 degF", "14.5 psi(a)", US_COMPRESSOR),  # encyclopaedia
    ],
)
def test_known_reference_conditions_are_recognised_however_written(
    temperature: str, pressure: str, known: object
) -> None:
    assert reference_at(state_of(q(temperature), q(pressure), None)) is known


def test_conditions_of_no_trade_have_no_name() -> None:
    assert reference_at(State(293.15, 1.002e5)) is None
    assert reference_at(State(293.15, 1e5, 0.65)) is PNEUMATIC


def test_every_reference_says_where_it_comes_from_and_none_is_there_twice() -> None:
    assert all(reference.source for reference in REFERENCES)
    assert all(reference_at(reference.state) is reference for reference in REFERENCES)


def test_a_state_reads_as_a_technician_writes_it() -> None:
    assert str(FREE_AIR.state) == "20 °C, 1 bar(a)"
    assert str(PNEUMATIC.state) == "20 °C, 1 bar(a), 0.65 relative humidity"


@pytest.mark.parametrize(("altitude", "pascal"), [(0, 101325.0), (500, 95461.3), (1500, 84559.7)])
def test_air_pressure_by_altitude(altitude: float, pascal: float) -> None:
    """US Standard Atmosphere 1976 as the library fluids has it."""
    assert standard_air_pressure_pa(altitude) == pytest.approx(pascal, abs=0.1)
    assert standard_air_pressure_pa(altitude) == pytest.approx(ATMOSPHERE_1976(altitude).P, rel=1e-6)


@pytest.mark.parametrize(("altitude", "percent"), [(500, 0.74), (1500, 2.14)])
def test_sea_level_pressure_up_a_hill_overstates_the_flow(altitude: float, percent: float) -> None:
    """At 7 bar(g), computed with the library fluids."""
    true = 7e5 + standard_air_pressure_pa(altitude)
    assert 100 * ((7e5 + 101325) / true - 1) == pytest.approx(percent, abs=6e-3)


def test_an_altitude_in_the_stratosphere_is_refused() -> None:
    with pytest.raises(WrongUse, match="altitude"):
        standard_air_pressure_pa(12000)


_PRESSURES = st.sampled_from([word for word, unit in UNITS.items() if unit.dimension is Dimension.PRESSURE])
_NUMBERS = st.decimals("0.01", "100", places=2)


@settings(deadline=None)
@given(_NUMBERS, _PRESSURES, st.floats(6e4, 1.1e5))
def test_a_gauge_pressure_is_never_taken_for_an_absolute_one(
    number: Decimal, word: str, atmosphere: float
) -> None:
    gauge, absolute, unsaid = (q(f"{number} {word}{side}") for side in ("(g)", "(a)", ""))
    assert absolute_pa(gauge, atmosphere) - absolute_pa(absolute, atmosphere) == pytest.approx(atmosphere)
    with pytest.raises(WrongUse, match="air pressure of the site is not known"):
        absolute_pa(gauge, None)
    with pytest.raises(WrongUse, match="gauge or absolute"):
        absolute_pa(unsaid, atmosphere)


@settings(deadline=None)
@given(_NUMBERS, st.sampled_from(["degC", "degF", "K"]))
def test_a_difference_of_temperatures_is_never_a_temperature(number: Decimal, word: str) -> None:
    """A width of n degrees is what lies between t and t + n, whatever the unit's zero is."""
    width = kelvin_width(q(f"{number} {word}"))
    assert width == pytest.approx(kelvin(q(f"{number + 20} {word}")) - kelvin(q(f"20 {word}")), rel=1e-6)
    if word != "K":
        assert kelvin(q(f"{number} {word}")) - width > 250


@settings(deadline=None)
@given(_NUMBERS, _PRESSURES)
def test_a_difference_of_pressures_is_neither_gauge_nor_absolute(number: Decimal, word: str) -> None:
    assert pascal_width(q(f"{number} {word}")) == pytest.approx(absolute_pa(q(f"{number} {word}(a)"), None))
    for side in ("(g)", "(a)"):
        with pytest.raises(ValueError, match="not a difference"):
            pascal_width(q(f"{number} {word}{side}"))


@settings(deadline=None)
@given(_NUMBERS, st.sampled_from(sorted(UNITS)))
def test_only_a_volume_flow_is_a_flow_and_100_cfm_no_length(number: Decimal, word: str) -> None:
    unit = UNITS[word]
    quantity = Quantity(number, unit)
    if unit.dimension is Dimension.VOLUME_FLOW and not unit.conditional:
        assert flow_m3_per_s(quantity, None) > 0
    else:
        with pytest.raises(WrongUse):
            flow_m3_per_s(quantity, None)
    if unit.dimension is not Dimension.TEMPERATURE:
        with pytest.raises(ValueError, match="no temperature"):
            kelvin(quantity)


@pytest.mark.parametrize(
    ("flow", "m3_per_h"),
    [("100 cfm", 169.9010796), ("1 m3/min", 60), ("1000 l/min", 60), ("420 m3/h", 420), ("1 m3/s", 3600)],
)
def test_a_flow_in_any_unit_is_the_same_in_si(flow: str, m3_per_h: float) -> None:
    """1 ft = 0.3048 m exactly: 100 cfm = 6000 × 0.3048³ m³/h."""
    assert flow_m3_per_s(q(flow), None) * 3600 == pytest.approx(m3_per_h, rel=1e-9)


@pytest.mark.parametrize("word", ["scfm", "SCFM", "Sm3/h", "slpm", "Nm3/h", "Nl/min", "nlpm"])
def test_a_flow_that_hides_its_reference_is_refused_with_the_choices(word: str) -> None:
    with pytest.raises(WrongUse, match=f"'{word}' hides its reference conditions") as refused:
        flow_m3_per_s(q(f"100 {word}"), None)
    shown = str(refused.value)
    assert "0 °C, 1.01325 bar(a)" in shown if word[0] in "Nn" else "14.5 psi" in shown


def test_the_meanings_of_scfm_span_2_9_per_cent() -> None:
    """1.60747 against 1.56199 Nm³/h, computed with the ideal gas law; N words span more in the trade."""
    assert hidden_spread_percent("scfm") == pytest.approx(100 * (1.60747 / 1.56199 - 1), abs=1e-3)
    assert hidden_spread_percent("scfm") == pytest.approx(2.9, abs=0.05)
    assert hidden_spread_percent("Nm3/h") == pytest.approx(8.744, abs=1e-3)


def test_with_its_reference_a_hidden_flow_is_a_flow() -> None:
    assert flow_m3_per_s(q("100 scfm"), US_COMPRESSOR.state) == pytest.approx(169.9010796 / 3600, rel=1e-9)


@pytest.mark.parametrize("temperature", [0, -1, math.nan, math.inf])
def test_no_state_at_or_below_absolute_zero(temperature: float) -> None:
    with pytest.raises(WrongUse, match="absolute zero"):
        State(temperature, 1e5)


@pytest.mark.parametrize("pressure", [0, -2e4, math.nan])
def test_no_state_below_vacuum(pressure: float) -> None:
    with pytest.raises(WrongUse, match="above vacuum"):
        State(293.15, pressure)


@pytest.mark.parametrize("humidity", [-0.1, 1.01, 65, math.nan])
def test_a_humidity_is_a_share_and_no_percentage(humidity: float) -> None:
    with pytest.raises(WrongUse, match="between 0 and 1"):
        State(293.15, 1e5, humidity)
