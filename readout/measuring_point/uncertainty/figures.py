"""Figures rounded to what their uncertainty allows.

At most two digits of an uncertainty mean anything, and a value ends where its uncertainty ends (JCGM
100:2008, 7.2.6, from memory).
"""

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal

from readout.errors import WrongUse

#: Digits that an uncertainty is given with.
DIGITS = 2


@dataclass(frozen=True, slots=True)
class Figure:
    """A value and its expanded uncertainty in the same unit, both ending at the same place."""

    value: Decimal
    expanded: Decimal

    def __str__(self) -> str:
        """Such as "588 ± 25"."""
        return f"{self.value:f} ± {self.expanded:f}"


def rounded(value: float, expanded: float) -> Figure:
    """A value with its expanded uncertainty, rounded to two digits of the latter.

    Raises:
        WrongUse: not finite, or an uncertainty that is not above zero.
    """
    if not (math.isfinite(value) and math.isfinite(expanded) and expanded > 0):
        raise WrongUse(f"{value:g} ± {expanded:g} cannot be rounded; an uncertainty above zero is needed")
    width = Decimal(repr(expanded))
    place = width.adjusted() - (DIGITS - 1)
    width = _at(width, place, ROUND_HALF_UP)
    if width.adjusted() - (DIGITS - 1) > place:  # 9.96 has become 10.0
        place += 1
        width = _at(width, place, ROUND_HALF_UP)
    return Figure(_at(Decimal(repr(value)), place, ROUND_HALF_EVEN), width)


def rounded_by_percent(value: float, expanded_percent: float) -> Figure:
    """A value with an expanded uncertainty given in per cent of it; raises what `rounded` raises."""
    return rounded(value, abs(value) * expanded_percent / 100)


def _at(number: Decimal, place: int, how: str) -> Decimal:
    """`number` to the decimal place 10^place, written without an exponent."""
    found = (number.scaleb(-place)).quantize(Decimal(1), rounding=how).scaleb(place)
    return found + Decimal(0) if place <= 0 else found.quantize(Decimal(1))
