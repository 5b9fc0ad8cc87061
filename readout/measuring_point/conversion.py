"""A quantity in another unit: pint does the arithmetic, in decimals, and never sees a word from a file."""

from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

from protocols.units import Quantity, Unit
from readout.errors import WrongUse
from readout.sentence import Sentence

if TYPE_CHECKING:
    import pint

#: Digits that a converted number keeps: more than any register can hold.
DIGITS = 15


def converted(quantity: Quantity, unit: Unit) -> Decimal:
    """The number of `quantity` in `unit`: 2 in are 50.8 mm, 68 degF are 20 degC.

    Exact where the factor is; else to 15 digits. Gauge and absolute pressures are not told apart here.

    Raises:
        WrongUse: the units measure different things, or one of them hides reference conditions.
    """
    own = quantity.unit
    if own.dimension is not unit.dimension:
        raise WrongUse(
            Sentence(
                "{quantity} is a {dimension}, and {unit} is a unit of {other}; write the value in {unit}",
                quantity=quantity,
                dimension=own.dimension,
                unit=unit.word,
                other=unit.dimension,
            )
        )
    if own.word == unit.word:
        return quantity.number
    if own.conditional or unit.conditional:
        raise WrongUse(
            Sentence(
                "{one} and {other} may have different reference conditions, so {quantity} is not "
                "converted; write the value in {other}",
                one=own.word,
                other=unit.word,
                quantity=quantity,
            )
        )
    if own.expression == unit.expression:
        return quantity.number
    found = _registry().Quantity(quantity.number, own.expression).to(unit.expression)
    return _rounded(Decimal(found.magnitude))


def difference(one: Quantity, other: Quantity) -> Decimal:
    """`one` less `other`, in the unit of `other`; WrongUse as for `converted`."""
    return converted(one, other.unit) - other.number


def _rounded(number: Decimal) -> Decimal:
    """To `DIGITS` digits, without zeros at the end: what a factor with no end leaves is no information."""
    if not number:
        return Decimal(0)
    places = DIGITS - 1 - number.adjusted()
    plain = number.quantize(Decimal(1).scaleb(-places)).normalize()
    return plain if plain.as_tuple().exponent < 0 else plain.quantize(Decimal(1))  # type: ignore[operator]


@cache
def _registry() -> "pint.UnitRegistry[Any]":
    """Made at the first conversion: it takes a quarter of a second."""
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)
