"""Clock minutes of a point: how long each was measured, what flowed in it, its lowest and highest value."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

MINUTE_MS = 60_000

Whole = NDArray[np.int64]
Double = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Values:
    """A reading's minutes [n]: seconds with a value, the value's integral [unit × s], lowest and highest."""

    seconds: Double
    integral: Double
    low: Double
    high: Double

    @property
    def means(self) -> Double:
        """Mean [n] over the measured part of each minute; NaN where nothing was measured."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(self.seconds > 0, self.integral / self.seconds, np.nan)

    def scaled(self, factor: float, offset: float = 0.0) -> "Values":
        """In another unit: value × factor + offset."""
        low, high = self.low * factor + offset, self.high * factor + offset
        integral = self.integral * factor + self.seconds * offset
        return Values(self.seconds, integral, np.fmin(low, high), np.fmax(low, high))

    def at(self, rows: NDArray[Any]) -> "Values":
        """Some of the minutes."""
        return Values(self.seconds[rows], self.integral[rows], self.low[rows], self.high[rows])


@dataclass(frozen=True, slots=True)
class Minutes:
    """Minutes [n] that have rows, ascending; `begin` in ms since 1970 UTC.

    Rows, with or without values, begin at `first` and end at `last` [ms] and cover `covered` seconds.
    """

    begin: Whole
    first: Whole
    last: Whole
    covered: Double
    values: Mapping[str, Values]

    def at(self, rows: NDArray[Any]) -> "Minutes":
        """Some of them."""
        return Minutes(
            self.begin[rows], self.first[rows], self.last[rows], self.covered[rows],
            {name: one.at(rows) for name, one in self.values.items()},
        )  # fmt: skip

    def between(self, since_ms: int, until_ms: int) -> "Minutes":
        """Those that begin in [since, until)."""
        return self.at((self.begin >= since_ms) & (self.begin < until_ms))


def joined(tables: Sequence[Minutes], names: Sequence[str]) -> Minutes:
    """Tables of one point as one: minutes that several have are added, and never hold more than 60 s."""
    begins, place = np.unique(np.concatenate([one.begin for one in tables]), return_inverse=True)
    first = np.full(len(begins), np.iinfo(np.int64).max)
    last = np.full(len(begins), np.iinfo(np.int64).min)
    np.minimum.at(first, place, np.concatenate([one.first for one in tables]))
    np.maximum.at(last, place, np.concatenate([one.last for one in tables]))
    covered = _added([one.covered for one in tables], place, len(begins))
    values = {}
    for name in names:
        mine = [one.values[name] for one in tables]
        low, high = np.full(len(begins), np.nan), np.full(len(begins), np.nan)
        np.fmin.at(low, place, np.concatenate([one.low for one in mine]))
        np.fmax.at(high, place, np.concatenate([one.high for one in mine]))
        seconds = _added([one.seconds for one in mine], place, len(begins))
        integral = _added([one.integral for one in mine], place, len(begins))
        over = np.maximum(seconds / (MINUTE_MS / 1000), 1.0)
        values[name] = Values(seconds / over, integral / over, low, high)
    return Minutes(begins, first, last, np.minimum(covered, MINUTE_MS / 1000), values)


def _added(arrays: Sequence[Double], place: NDArray[Any], count: int) -> Double:
    return np.bincount(place, np.concatenate(arrays), count).astype(np.float64)


def spread(begin: Whole, span: Whole, values: Mapping[str, Double], holds: str) -> Minutes:
    """Rows [n] over a minute apart, spread over their minutes.

    A mean, minimum or maximum holds throughout its interval, a total flows evenly in it. Between two samples
    no further apart than one and a half intervals the value runs straight; the last before a gap is held for
    its interval.
    """
    following = np.append(begin[1:], begin[-1:] + 10 * span[-1:]) if len(begin) else begin
    span = np.minimum(span, np.maximum(following - begin, 1)) if len(begin) else span
    first_minute = begin // MINUTE_MS
    count = (begin + span - 1) // MINUTE_MS - first_minute + 1
    row = np.repeat(np.arange(len(begin)), count)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    minute = (first_minute[row] + nth) * MINUTE_MS
    start = np.maximum(minute, begin[row])
    stop = np.minimum(minute + MINUTE_MS, begin[row] + span[row])
    seconds = (stop - start) / 1000
    near = (following - begin) <= 1.5 * span
    found = {}
    for name, value in values.items():
        here = value[row]
        if holds == "sample" and len(begin):
            after = np.append(value[1:], np.nan)
            after = np.where(near & ~np.isnan(after), after, value)
            share = ((start + stop) / 2 - begin[row]) / span[row]
            here = here + (after[row] - here) * share
        if holds == "total":
            here = here / (span[row] / 1000)
        there = ~np.isnan(here)
        found[name] = Values(
            np.where(there, seconds, 0.0), np.where(there, here * seconds, 0.0), value[row], value[row]
        )
    rows = Minutes(minute, start, stop, seconds, found)
    return joined([rows], list(values)) if len(begin) else rows
