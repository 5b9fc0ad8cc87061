"""Scaled values are the doubles nearest to the exact decimal: against decimal and fractions, worked here."""

from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from protocols.values.exact import Term, combined


def nearest(raws: list[Any], scales: list[Decimal], offsets: list[Decimal], exponent: int) -> float:
    """The rule again, in fractions; Python's int / int rounds once, to nearest."""
    total = (
        sum(
            Fraction(raw) * Fraction(scale) + Fraction(offset)
            for raw, scale, offset in zip(raws, scales, offsets, strict=True)
        )
        * Fraction(10) ** exponent
    )
    try:
        return total.numerator / total.denominator
    except OverflowError:
        return float("inf") if total > 0 else float("-inf")


@pytest.mark.parametrize("scale", ["0.001", "0.1", "0.01", "0.0001", "0.3", "2.5", "10", "1e-7"])
def test_every_number_of_a_register_scales_to_the_nearest_double(scale: str) -> None:
    raw = np.arange(65536, dtype=np.uint16)
    found = combined([Term(raw, Decimal(scale), Decimal(0))])
    assert found.tolist() == [float(Decimal(int(n)) * Decimal(scale)) for n in raw]


def test_multiplying_by_a_double_would_miss_the_nearest_in_9146_cases() -> None:
    """Why the rule is needed: 0.001 is no double. The decimal module is the judge of both ways."""
    raw = np.arange(65536, dtype=np.uint16)
    judge = np.array([float(Decimal(int(n)) * Decimal("0.001")) for n in raw])
    assert np.count_nonzero(raw * 0.001 != judge) == 9146
    assert np.count_nonzero(combined([Term(raw, Decimal("0.001"), Decimal(0))]) != judge) == 0


WHOLE: dict[type[np.generic], st.SearchStrategy[int]] = {
    dtype: st.integers(int(np.iinfo(dtype).min), int(np.iinfo(dtype).max))
    for dtype in (np.int16, np.uint16, np.int32, np.uint32, np.int64, np.uint64)
}
RAWS: dict[type[np.generic], st.SearchStrategy[Any]] = {
    **WHOLE,
    np.float32: st.floats(width=32, allow_nan=False, allow_infinity=False),
    np.float64: st.floats(allow_nan=False, allow_infinity=False),
}
SCALES = st.decimals("-100000", "100000", places=6) | st.sampled_from(
    [Decimal(s) for s in ("1", "0.001", "1e-10", "0.3048", "1e3", "1e-30", "12345678901234567890")]
)
OFFSETS = st.just(Decimal(0)) | st.decimals("-1000", "1000", places=2) | st.just(Decimal("1e17"))


@st.composite
def sums(draw: st.DrawFn) -> tuple[list[Term], list[list[Any]]]:
    """One to three parts over two rows, and their raw numbers as Python's."""
    terms, raws = [], []
    for _ in range(draw(st.integers(1, 3))):
        dtype = draw(st.sampled_from(list(RAWS)))
        raw = [draw(RAWS[dtype]) for _ in range(2)]
        terms.append(Term(np.array(raw, dtype=dtype), draw(SCALES), draw(OFFSETS)))
        raws.append(raw)
    return terms, raws


@given(parts=sums(), exponent=st.integers(-10, 10))
@example(  # past 2^53 doubles skip numbers: the slow path must round the exact sum
    parts=(
        [Term(np.array([9007199254740993, 2**64 - 1], np.uint64), Decimal("0.001"), Decimal(0))],
        [[9007199254740993, 2**64 - 1]],
    ),
    exponent=0,
)
@example(  # a sum that float32 loses: 16777217 and one half
    parts=(
        [
            Term(np.array([16777217, 1], np.uint32), Decimal(1), Decimal(0)),
            Term(np.array([0.5, 0.25], np.float32), Decimal(1), Decimal(0)),
        ],
        [[16777217, 1], [0.5, 0.25]],
    ),
    exponent=0,
)
def test_sums_of_scaled_parts_times_a_power_of_ten_are_nearest(
    parts: tuple[list[Term], list[list[Any]]], exponent: int
) -> None:
    terms, raws = parts
    found = combined(terms, np.full(2, exponent))
    for row in range(2):
        numbers = [raw[row] for raw in raws]
        scales, offsets = [t.scale for t in terms], [t.offset for t in terms]
        assert found[row] == nearest(numbers, scales, offsets, exponent)


def test_a_decimal_scale_agrees_with_decimal_arithmetic_for_64_bits() -> None:
    raw = np.array([2**63 + 1, 123456789012345678, 2**53 + 1], dtype=np.uint64)
    found = combined([Term(raw, Decimal("0.01"), Decimal("0.05"))])
    with localcontext() as context:
        context.prec = 60
        wanted = [float(Decimal(int(n)) * Decimal("0.01") + Decimal("0.05")) for n in raw]
    assert found.tolist() == wanted


def test_plain_rows_are_never_worked_out_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """50,000 records of five scaled fields: the slow path is for rows that doubles cannot hold."""
    slow: list[Fraction] = []

    def counted(number: Fraction) -> float:
        slow.append(number)
        return float(number)

    monkeypatch.setattr("protocols.values.exact.nearest", counted)
    random = np.random.default_rng(20)
    fields = [
        (random.integers(0, 2**16, 50_000, dtype=np.uint16), "0.001"),
        (random.integers(-(2**15), 2**15, 50_000, dtype=np.int16), "0.1"),
        (random.integers(0, 2**32, 50_000, dtype=np.uint32), "0.01"),
        (random.random(50_000, dtype=np.float32) * np.float32(420), "0.001"),
        (random.integers(0, 2**50, 50_000, dtype=np.int64), "1"),
    ]
    for raw, scale in fields:
        combined([Term(raw, Decimal(scale), Decimal(0))])
    assert slow == []
    combined([Term(np.array([1, 2**53 + 1], np.uint64), Decimal("0.001"), Decimal(0))])
    assert len(slow) == 1
