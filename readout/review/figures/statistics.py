"""Sums, means, percentiles and peaks of one reading."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from readout.review.rows.minutes import MINUTE_MS, Minutes, Values
from readout.sentence import Sentence

#: Peaks are the largest means over this many minutes.
PEAK_MINUTES = (1, 5, 15, 60)
#: A window counts where at least this share of it was measured.
PEAK_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Peak:
    """The largest mean over `minutes` whole clock minutes; `begin_ms` is when they begin.

    `value` is None where no window was measured to 90 %, or rows stand for longer; `why` says it.
    """

    minutes: int
    value: float | None
    begin_ms: int | None
    why: Sentence | None = None


@dataclass(frozen=True, slots=True)
class Statistics:
    """Of the measured time only. `percentiles`: share 0 to 1 → value not exceeded for that share."""

    measured_s: float
    mean: float | None
    lowest: float | None
    lowest_ms: int | None
    highest: float | None
    highest_ms: int | None
    percentiles: Mapping[float, float]
    peaks: Sequence[Peak]

    @property
    def median(self) -> float | None:
        """The value not exceeded for half of the measured time."""
        return self.percentiles.get(0.5)


def statistics(
    minutes: Minutes, values: Values, quantiles: Mapping[float, float], interval_ms: int
) -> Statistics:
    """Values in any unit; lowest and highest are rows, dated by their minute."""
    seconds = float(values.seconds.sum())
    low = int(np.nanargmin(values.low)) if seconds else None
    high = int(np.nanargmax(values.high)) if seconds else None
    return Statistics(
        measured_s=seconds,
        mean=float(values.integral.sum()) / seconds if seconds else None,
        lowest=None if low is None else float(values.low[low]),
        lowest_ms=None if low is None else int(minutes.begin[low]),
        highest=None if high is None else float(values.high[high]),
        highest_ms=None if high is None else int(minutes.begin[high]),
        percentiles=dict(quantiles),
        peaks=[peak(minutes, values, length, interval_ms) for length in PEAK_MINUTES],
    )


def peak(minutes: Minutes, values: Values, length: int, interval_ms: int) -> Peak:
    """The largest mean over `length` clock minutes that follow each other."""
    if interval_ms > length * MINUTE_MS:
        return Peak(length, None, None, Sentence("a row stands for {n:g} min", n=interval_ms / MINUTE_MS))
    if not len(minutes.begin):
        return Peak(length, None, None, Sentence("nothing was measured"))
    nth = (minutes.begin - minutes.begin[0]) // MINUTE_MS
    count = int(nth[-1]) + 1
    seconds = np.bincount(nth, values.seconds, count)
    integral = np.bincount(nth, values.integral, count)
    if count < length:
        return Peak(length, None, None, Sentence("less than {n} min were measured", n=length))
    within = [np.concatenate([[0.0], np.cumsum(one)]) for one in (seconds, integral)]
    measured, amount = (one[length:] - one[:-length] for one in within)
    enough = measured >= PEAK_SHARE * length * 60
    if not enough.any():
        why = Sentence(
            "no stretch of {n} min has values for at least {share:.0%} of its time",
            n=length,
            share=PEAK_SHARE,
        )
        return Peak(length, None, None, why)
    means = np.where(enough, amount / np.where(measured > 0, measured, 1.0), -np.inf)
    at = int(np.argmax(means))
    return Peak(length, float(means[at]), int(minutes.begin[0]) + at * MINUTE_MS)
