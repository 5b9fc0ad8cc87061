"""Since when the out-of-hours demand is another: one step in it, found by ranks, and where nothing is one.

Method: Pettitt's test (A. N. Pettitt, Applied Statistics 28 (1979), 126-135) over the means of whole clock
hours out of hours. Ranks make it blind to how large a single hour is, so that a machine left on for a night
is no step. Which minute the change lies in is then looked for in the hours about it, by least absolute
deviations from the two levels. One change is assumed: a slow rise looks like one too, half-way up.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readout.review.rows.minutes import MINUTE_MS, Values
from readout.sentence import Sentence

#: An hour counts with at least so many counted seconds.
_ENOUGH_S = 1800.0
#: So many hours are looked at, or none.
_LEAST_HOURS = 24
#: A step is told where chance makes one as clear less often than this, and it is at least this large.
_CHANCE, _SIZE = 0.001, 0.05
#: In so many hours before and behind the change by hours its minute is looked for.
_NEAR = 3
HOUR_MS = 3_600_000

METHOD = Sentence(
    "Pettitt's test over the means of hours out of hours; it takes for granted one change between two levels"
)


@dataclass(frozen=True, slots=True)
class Step:
    """The demand stepped in [since_ms, until_ms) [ms since 1970 UTC): an hour, or more where none counted.

    `before` and `after` are medians of hours in `unit`; `chance` is how often hours in a random order would
    show a change as clear (hours that follow each other are alike, so it is a guide).
    """

    since_ms: int
    until_ms: int
    before: float
    after: float
    unit: str | None
    hours_before: int
    hours_after: int
    chance: float

    @property
    def size(self) -> float:
        """By how much the demand stepped up; negative: down."""
        return self.after - self.before


def step(
    begin: NDArray[np.int64], hour: NDArray[np.int64], flow: Values, counted: NDArray[np.bool_],
    unit: str | None,
) -> Step | Sentence:  # fmt: skip
    """From the minutes [n] that are `counted`; `hour` is when the hour of each began [ms since 1970 UTC].

    Returns why no step is told, as a sentence, where there is none.
    """
    hours, place = np.unique(hour[counted], return_inverse=True)
    seconds = np.bincount(place, flow.seconds[counted], len(hours))
    amount = np.bincount(place, flow.integral[counted], len(hours))
    enough = seconds >= _ENOUGH_S
    if enough.sum() < _LEAST_HOURS:
        return Sentence("fewer than {n} hours out of hours were measured", n=_LEAST_HOURS)
    means, begins = amount[enough] / seconds[enough], hours[enough]
    index, chance = pettitt(means)
    before, after = float(np.median(means[:index])), float(np.median(means[index:]))
    if chance >= _CHANCE or abs(after - before) < _SIZE * max(abs(before), abs(after)):
        return Sentence("it stayed at one level")
    near = counted & (hour >= begins[max(0, index - _NEAR)])
    near &= hour <= begins[min(len(begins), index + _NEAR) - 1]
    last, first = _between(begin[near], flow.means[near], before, after)
    (since,) = hour[begin == last]
    (until,) = hour[begin == first]
    if last + MINUTE_MS == first:  # nothing between the two: it is the hour of the first minute
        since = until
    elif last + MINUTE_MS == since + HOUR_MS:
        since += HOUR_MS
    return Step(int(since), int(until) + HOUR_MS, before, after, unit, index, len(means) - index, chance)


def _between(
    begin: NDArray[np.int64], means: NDArray[np.float64], before: float, after: float
) -> tuple[int, int]:
    """The last of minutes [n] that is nearer to `before`, and the first nearer to `after`, all in all."""
    old, new = np.abs(means - before), np.abs(means - after)
    cost = np.cumsum(old)[:-1] + (new.sum() - np.cumsum(new)[:-1])
    at = int(cost.argmin())
    return int(begin[at]), int(begin[at + 1])


def pettitt(values: NDArray[np.float64]) -> tuple[int, float]:
    """Index of the first value behind the clearest change, and how often chance makes one as clear.

    K = max |U(t)|, U(t) = 2 Σ ranks up to t − t (n + 1); chance 2 exp(−6 K² / (n³ + n²)), at most 1. Ties
    share their mean rank. The approximation is good below 0.5.
    """
    count = len(values)
    _, place, alike = np.unique(values, return_inverse=True, return_counts=True)
    rank = (np.cumsum(alike) - (alike - 1) / 2)[place]
    position = np.arange(1, count)
    reached = np.abs(2 * np.cumsum(rank)[:-1] - position * (count + 1))
    index = int(reached.argmax())
    chance = 2 * math.exp(-6 * float(reached[index]) ** 2 / (count**3 + count**2))
    return index + 1, min(1.0, chance)
