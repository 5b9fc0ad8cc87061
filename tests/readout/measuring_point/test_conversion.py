"""Conversions against the exact definitions of the units (NIST SP 811, 2008, appendix B; from memory)."""

from decimal import Decimal

import pytest

from protocols.units import UNITS, Quantity, quantity_of, unit_of
from readout.errors import WrongUse
from readout.measuring_point.conversion import DIGITS, converted, difference


def quantity(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


def to(text: str, word: str) -> Decimal:
    unit = unit_of(word)
    assert unit is not None
    return converted(quantity(text), unit)


@pytest.mark.parametrize(
    ("text", "word", "exact"),
    [
        ("1 in", "mm", "25.4"),
        ("1 ft", "m", "0.3048"),
        ("1 ft3", "l", "28.316846592"),
        ("100 cfm", "m3/h", "169.901079552"),
        ("1 gal", "l", "3.785411784"),
        ("1 lb", "kg", "0.45359237"),
        ("1 bar(a)", "kPa", "100"),
        ("1 atm", "Pa", "101325"),
        ("212 degF", "degC", "100"),
        ("0 degC", "K", "273.15"),
        ("-40 degC", "degF", "-40"),
        ("9 d", "s", "777600"),
        ("1 kWh", "MJ", "3.6"),
        ("1 %", "1", "0.01"),
        ("0 mm", "in", "0"),
        ("53.1 mm", "mm", "53.1"),
        ("7 m3/h", "m3/h", "7"),
    ],
)
def test_exact_factors_stay_exact(text: str, word: str, exact: str) -> None:
    assert to(text, word) == Decimal(exact)


def test_a_factor_without_end_keeps_fifteen_digits() -> None:
    """1 psi is 6894.757293168361… Pa (pound force over square inch)."""
    assert to("1 psi", "Pa") == Decimal("6894.75729316836")
    assert len(to("1 psi", "Pa").as_tuple().digits) == DIGITS


@pytest.mark.parametrize("word", [word for word, unit in UNITS.items() if not unit.conditional])
def test_every_word_converts_to_another_of_its_kind_and_back(word: str) -> None:
    own = UNITS[word]
    other = next(
        (
            unit
            for unit in UNITS.values()
            if unit.dimension is own.dimension and not unit.conditional and unit.expression != own.expression
        ),
        own,
    )
    there = converted(Quantity(Decimal("12.5"), own), other)
    back = converted(Quantity(there, other), own)
    assert back == pytest.approx(Decimal("12.5"), rel=Decimal("1e-12"))


@pytest.mark.parametrize(
    ("text", "word", "said"),
    [
        ("5 s", "mm", "5 s is a time, and mm is a unit of length"),
        (
            "5 Nm3/h",
            "m3/h",
            "may have different reference conditions",
        ),  # the same arithmetic, another meaning
        ("5 m3/h", "Nl/min", "may have different reference conditions"),
    ],
)
def test_what_cannot_be_converted_says_what_to_write(text: str, word: str, said: str) -> None:
    with pytest.raises(WrongUse, match=said):
        to(text, word)


def test_a_difference_is_in_the_unit_of_the_second() -> None:
    assert difference(quantity("2 in"), quantity("50 mm")) == Decimal("0.8")
