"""A reading over time for a chart: lowest and highest row of each pixel column, so that no spike is lost.

A gap stays one: a column in which nothing was measured is empty, and a line must not be drawn over it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readout.review.review import Review
from readout.review.rows.minutes import MINUTE_MS

Doubles = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Series:
    """Columns [n] of a chart: `begin` in ms since 1970 UTC, each `width_ms` wide, NaN where nothing is.

    `means` are over the measured time, `low` and `high` are rows. A column is at least a minute wide.
    """

    begin: NDArray[np.int64]
    width_ms: int
    means: Doubles
    low: Doubles
    high: Doubles


def series(
    found: Review, name: str, columns: int, *, since: int | None = None, until: int | None = None
) -> Series:
    """At most `columns` columns of [since, until) in the unit shown; without them all that was measured.

    A flow that the ledger corrects is corrected.
    """
    minutes, values = found.measured.minutes, found.best(name).values
    begin = int(minutes.begin[0]) if since is None else since // MINUTE_MS * MINUTE_MS
    end = int(minutes.begin[-1]) + MINUTE_MS if until is None else until
    width = max(1, -(-(end - begin) // (columns * MINUTE_MS))) * MINUTE_MS
    count = max(1, -(-(end - begin) // width))
    rows = (minutes.begin >= begin) & (minutes.begin < end)
    place = (minutes.begin[rows] - begin) // width
    own = values.at(rows)
    low, high = np.full(count, np.nan), np.full(count, np.nan)
    np.fmin.at(low, place, own.low)
    np.fmax.at(high, place, own.high)
    seconds = np.bincount(place, own.seconds, count)
    integral = np.bincount(place, own.integral, count)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(seconds > 0, integral / seconds, np.nan)
    return Series(begin + np.arange(count, dtype=np.int64) * width, width, means, low, high)
