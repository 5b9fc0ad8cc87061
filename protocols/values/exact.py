"""Scaled sums that are exact until the one rounding at the end: the double nearest to the decimal.

raw × 0.001 in doubles rounds twice (0.001 is none), raw / 1000 once, because both operands are exact:
they differ for 9,146 of the 65,536 numbers of a register. So every decimal is taken as a whole number
over a power of ten, the sum is built in whole numbers, and one division (or multiplication) by an exact
power of ten rounds once, as IEEE 754 demands of it. Where a double cannot hold the sum exactly, which
the error terms of Dekker's product and Knuth's sum tell, that row alone is worked out in whole numbers
of any length.

References: T. J. Dekker, A floating-point technique for extending the available precision, Numer. Math.
18 (1971); D. E. Knuth, The Art of Computer Programming 2, 4.2.2, theorem B (both from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

Doubles = NDArray[np.float64]

#: 10^0 … 10^22, all that doubles hold exactly (10^22 = 2^22 × 5^22, 5^22 < 2^53).
_POWERS = np.array([float(10**n) for n in range(23)])
_MOST = len(_POWERS) - 1
_WHOLE = 2**53  # up to here every whole number is a double
_SPLIT = float(2**27 + 1)


@dataclass(frozen=True, slots=True)
class Term:
    """raw × scale + offset; `raw` [rows] are finite numbers of any numeric type."""

    raw: NDArray[Any]
    scale: Decimal
    offset: Decimal


def combined(terms: Sequence[Term], exponent: NDArray[np.int64] | None = None) -> Doubles:
    """Σ (raw × scale + offset) × 10^exponent [rows], each the nearest double; infinite beyond 1.8e308."""
    places = max(_places(number) for term in terms for number in (term.scale, term.offset))
    factors = [int(Fraction(term.scale) * 10**places) for term in terms]
    constant = int(sum(Fraction(term.offset) for term in terms) * 10**places)
    with np.errstate(all="ignore"):  # overflow shows as an inexact row, which is then worked out slowly
        total, exact = _sum(terms, factors, constant)
        shift = np.full(len(total), places) if exponent is None else places - exponent
        down, up = np.clip(shift, 0, _MOST), np.clip(-shift, 0, _MOST)
        value: Doubles = np.where(shift >= 0, total / _POWERS[down], total * _POWERS[up])
    exact &= np.abs(shift) <= _MOST
    for row in np.flatnonzero(~exact):
        whole = constant + sum(
            Fraction(term.raw[row].item()) * factor for term, factor in zip(terms, factors, strict=True)
        )
        value[row] = nearest(whole / Fraction(10) ** int(shift[row]))
    return value


def nearest(number: Fraction) -> float:
    """The double nearest to a fraction, infinite where it is beyond them."""
    try:
        return float(number)
    except OverflowError:
        return float("inf") if number > 0 else float("-inf")


def _places(number: Decimal) -> int:
    """Decimal places of a number, trailing zeros not counted."""
    fraction, places = Fraction(number), 0
    while (fraction * 10**places).denominator != 1:
        places += 1
    return places


def _sum(terms: Sequence[Term], factors: Sequence[int], constant: int) -> tuple[Doubles, NDArray[np.bool_]]:
    """Σ raw × factor + constant [rows] as doubles, and where they are exactly that."""
    rows = len(terms[0].raw)
    fits = all(abs(number) <= _WHOLE for number in (*factors, constant))
    exact = np.full(rows, fits)
    total = np.full(rows, float(constant) if fits else 0.0)
    if not fits:
        return total, exact
    for term, factor in zip(terms, factors, strict=True):
        product, lost = _product(term.raw.astype(np.float64), float(factor))
        total, rest = _added(total, product)
        exact &= (lost == 0) & (rest == 0) & _held_exactly(term.raw)
    return total, exact


def _held_exactly(raw: NDArray[Any]) -> NDArray[np.bool_]:
    """Where converting the raw numbers to doubles loses nothing: only 64-bit integers can lose."""
    if raw.dtype == np.uint64:
        return np.asarray(raw <= np.uint64(_WHOLE))
    if raw.dtype == np.int64:
        return (raw >= -_WHOLE) & (raw <= _WHOLE)
    return np.ones(len(raw), np.bool_)


def _product(a: Doubles, factor: float) -> tuple[Doubles, Doubles]:
    """a × factor and what rounding took from it (Dekker)."""
    product = a * factor
    if factor == 1.0:
        return product, np.zeros_like(product)
    a_high, b_high = _high_half(a), _high_half(np.float64(factor))
    a_low, b_low = a - a_high, factor - b_high
    lost = ((a_high * b_high - product) + a_high * b_low + a_low * b_high) + a_low * b_low
    return product, lost


def _high_half(number: Any) -> Any:
    scaled = _SPLIT * number
    return scaled - (scaled - number)


def _added(a: Doubles, b: Doubles) -> tuple[Doubles, Doubles]:
    """a + b and what rounding took from it (Knuth)."""
    total = a + b
    b_seen = total - a
    return total, (a - (total - b_seen)) + (b - b_seen)
