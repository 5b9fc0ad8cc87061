"""Moments ↔ words: milliseconds since 1970-01-01T00:00Z, from unix time or from a calendar's bytes.

A calendar says the time on the meter's own clock; whether that clock shows UTC or site time is the map's
to say and is applied by whoever knows it. Here its figures are taken as they stand.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.model import Order
from protocols.values.words import WordTable, ordered

Milliseconds = NDArray[np.int64]  # since 1970-01-01T00:00Z
Layout = Sequence[tuple[str, str]]  # (high byte, low byte) of each register

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
CENTURY = 2000  # two-digit years are 2000 to 2099

#: Lowest and highest figure of each part of a calendar; the day is checked against its month besides.
_SPANS: Mapping[str, tuple[int, int]] = {
    "year": (0, 99), "month": (1, 12), "day": (1, 31), "hour": (0, 23), "minute": (0, 59), "second": (0, 59),
}  # fmt: skip


def from_unix(seconds: NDArray[np.uint32]) -> Milliseconds:
    """Seconds since 1970, unsigned: good until 2106-02-07T06:28:15Z."""
    return seconds.astype(np.int64) * 1000


def from_calendar(
    words: WordTable, layout: Layout, coding: str, byte_order: Order
) -> tuple[Milliseconds, NDArray[np.bool_]]:
    """Moments [rows] and where they are some: False for a digit above 9, month 13, 31 April, 24 h.

    `coding` is bcd or binary. A part the layout lacks is its lowest figure; the weekday is not checked,
    since meters disagree on which day is the first.
    """
    parts = {name: np.full(len(words), low) for name, (low, _) in _SPANS.items()}
    good = np.ones(len(words), np.bool_)
    for pair, word in zip(layout, ordered(words, Order.HIGH_FIRST, byte_order).T, strict=True):
        for name, byte in zip(pair, (word >> 8, word & 0xFF), strict=True):
            if name in _SPANS:
                parts[name], digits = _figure(byte, coding)
                good &= digits & (parts[name] >= _SPANS[name][0]) & (parts[name] <= _SPANS[name][1])
    parts = {name: np.where(good, figures, _SPANS[name][0]) for name, figures in parts.items()}
    months = (CENTURY - 1970 + parts["year"]) * 12 + parts["month"] - 1  # since January 1970
    first, after = (_first_day(months), _first_day(months + 1))
    good &= parts["day"] <= after - first
    days = first + parts["day"] - 1
    seconds = ((days * 24 + parts["hour"]) * 60 + parts["minute"]) * 60 + parts["second"]
    return np.where(good, seconds * 1000, 0).astype(np.int64), good


def _figure(byte: NDArray[np.uint16], coding: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    figures = byte.astype(np.int64)
    if coding == "binary":
        return figures, np.ones(len(byte), np.bool_)
    tens, ones = figures >> 4, figures & 0xF
    return tens * 10 + ones, (tens <= 9) & (ones <= 9)


def _first_day(months: NDArray[np.int64]) -> NDArray[np.int64]:
    """Days from 1970-01-01 to the first of each month, months counted from January 1970."""
    return months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def to_unix(moment: datetime) -> int:
    """Whole seconds since 1970; what is less than a second is cut off, as a clock shows it."""
    return (moment - EPOCH) // timedelta(seconds=1)


def to_calendar(moment: datetime, layout: Layout, coding: str, byte_order: Order) -> WordTable:
    """The words [1, registers] of a moment of 2000 to 2099; Monday is weekday 1."""
    figures = {
        "year": moment.year - CENTURY, "month": moment.month, "day": moment.day, "hour": moment.hour,
        "minute": moment.minute, "second": moment.second, "weekday": moment.isoweekday(), "none": 0,
    }  # fmt: skip
    if coding == "bcd":
        figures = {name: figure // 10 * 16 + figure % 10 for name, figure in figures.items()}
    words = np.array([[figures[high] << 8 | figures[low] for high, low in layout]], dtype=np.uint16)
    return ordered(words, Order.HIGH_FIRST, byte_order)
