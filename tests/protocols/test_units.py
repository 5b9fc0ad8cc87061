"""Unit words: a closed table, exact numbers, and no word that can mean two things."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.units import UNITS, Dimension, Quantity, printed, quantity_of, unit_of


def quantity(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


@pytest.mark.parametrize(
    ("text", "number", "word", "dimension"),
    [
        ("53.1 mm", "53.1", "mm", Dimension.LENGTH),
        ("53.1mm", "53.1", "mm", Dimension.LENGTH),
        ("7 bar(g)", "7", "bar", Dimension.PRESSURE),
        ("1.01325 bar (a)", "1.01325", "bar", Dimension.PRESSURE),
        ("-40 degC", "-40", "degC", Dimension.TEMPERATURE),
        ("25 °C", "25", "degC", Dimension.TEMPERATURE),
        ("100 cfm", "100", "cfm", Dimension.VOLUME_FLOW),
        ("420 m³/h", "420", "m3/h", Dimension.VOLUME_FLOW),
        ("90 kg/h", "90", "kg/h", Dimension.MASS_FLOW),
        ("6.4 kW/(m3/min)", "6.4", "kW/(m3/min)", Dimension.SPECIFIC_POWER),
        ("2 %", "2", "%", Dimension.RATIO),
        ("1e-3 m", "0.001", "m", Dimension.LENGTH),
    ],
)
def test_a_number_and_a_unit_are_one_quantity(
    text: str, number: str, word: str, dimension: Dimension
) -> None:
    found = quantity(text)
    assert (found.number, found.unit.word, found.unit.dimension) == (Decimal(number), word, dimension)


def test_a_pressure_says_gauge_or_absolute_or_nothing() -> None:
    assert [quantity(text).gauge for text in ("7 bar(g)", "7 bar(a)", "7 bar")] == [True, False, None]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("53,1 mm", "decimal comma"),
        ("053 mm", "leading zeros"),
        ("53.1", "no number with a unit"),
        ("mm", "no number with a unit"),
        ("", "no number with a unit"),
        ("5 furlong", "unknown unit"),
        ("5 MM", "unknown unit"),
        ("5 mm(g)", "belongs to pressures only"),
        ("nan mm", "no number with a unit"),
        ("1" * 80 + " mm", "no number with a unit"),
        ("5 __import__('os')", "unknown unit"),
    ],
)
def test_anything_else_is_told(text: str, wanted: str) -> None:
    assert wanted in str(quantity_of(text))


def test_words_that_hide_their_conditions_are_known_as_such() -> None:
    hiding = {word for word, unit in UNITS.items() if unit.conditional}
    assert {"scfm", "Nm3/h", "Nl/min", "Sm3/h", "slpm", "Nm3"} <= hiding
    assert not hiding & {"m3/h", "cfm", "kg/h", "l/min"}


def test_a_nanometre_or_a_newton_is_never_meant_by_a_normal_cubic_metre() -> None:
    normal = unit_of("Nm3/h")
    assert normal is not None
    assert normal.expression == "meter**3/hour"


@given(st.text(max_size=40))
def test_any_text_is_a_quantity_or_a_sentence(text: str) -> None:
    found = quantity_of(text)
    assert isinstance(found, Quantity) or found


@given(st.decimals(-(10**9), 10**9, places=4), st.sampled_from(sorted(UNITS)))
def test_a_quantity_reads_back_as_it_was_written(number: Decimal, word: str) -> None:
    found = quantity(f"{number} {word}")
    assert quantity(str(found)) == found


@pytest.mark.parametrize(
    ("word", "in_print"),
    [
        ("m3/min", "m³/min"), ("Nm3/h", "Nm³/h"), ("kW/(m3/min)", "kW/(m³/min)"), ("ft3/min", "ft³/min"),
        ("cm2", "cm²"), ("degC", "°C"), ("uS/cm", "µS/cm"), ("bar(g)", "bar(g)"), ("mmHg", "mmHg"),
        ("20 degC, 1 bar(a)", "20 °C, 1 bar(a)"),
    ],
)  # fmt: skip
def test_a_unit_is_set_in_print(word: str, in_print: str) -> None:
    """SI brochure, 9th edition, 5.4: exponents raised, ° for degrees Celsius."""
    assert printed(word) == in_print


def test_every_unit_in_print_is_the_same_unit_when_it_is_read_again() -> None:
    assert [word for word in UNITS if unit_of(printed(word)) is not UNITS[word]] == []
