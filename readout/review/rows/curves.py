"""How long a reading had which value, as its rows say: classes of its span for a curve, exact quantiles."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readout.review.rows.holes import Ask
from readout.review.rows.minutes import Values

#: Classes of a reading's span in which quantiles are first looked for; within a class they are then exact.
_CLASSES = 4096
#: Times are sums of doubles: a share that is reached but for their last digits is reached.
_REACHED = 1 - 1e-12


@dataclass(frozen=True, slots=True)
class Curve:
    """How long a reading had which value: `values` [n] ascending, each for `seconds` [n]; the rows' unit.

    Values are the means of fine classes of the span; `quantiles` (share 0 to 1 → value) are exact.
    """

    values: NDArray[np.float64]
    seconds: NDArray[np.float64]
    quantiles: Mapping[float, float]


def curve_of(ask: Ask, rows: str, value: str, minutes: Values, shares: Sequence[float]) -> Curve:
    """The curve of a reading, by two looks at its rows.

    Args:
        ask: a query → its columns as arrays.
        rows: the query of all rows that have the reading, with their `span` [ms].
        value: the reading as a double, in SQL.
        minutes: the reading by the minute, which knows its span already.
        shares: for which shares of the time, 0 to 1, a quantile is wanted.
    """
    there = minutes.seconds > 0
    if not there.any():
        return Curve(np.zeros(0), np.zeros(0), {})
    low, high = float(np.nanmin(minutes.low[there])), float(np.nanmax(minutes.high[there]))
    width = (high - low) / _CLASSES
    class_ = f"least(floor(({value} - {low!r}) / {width!r}), {_CLASSES - 1})::INT" if width else "0"
    classes = ask(
        f"SELECT {class_} AS class, sum(span)::DOUBLE / 1000 AS s, sum({value} * span) / sum(span) AS mean"
        f" FROM ({rows}) GROUP BY class ORDER BY class"
    )
    reached = np.cumsum(classes["s"])
    places = {share: _place(reached, share * reached[-1]) for share in shares}
    wanted = sorted({int(classes["class"][place]) for place in places.values()})
    inner = ask(
        f"SELECT {class_} AS class, {value} AS value, sum(span)::DOUBLE / 1000 AS s FROM ({rows})"
        f" WHERE {class_} IN ({', '.join(map(str, wanted))}) GROUP BY class, value ORDER BY value"
    )
    return Curve(
        classes["mean"].astype(np.float64),
        classes["s"].astype(np.float64),
        {share: _within(inner, classes, place, share * reached[-1]) for share, place in places.items()},
    )


def _within(
    inner: Mapping[str, NDArray[Any]], classes: Mapping[str, NDArray[Any]], place: int, goal: float
) -> float:
    """The value below which the reading was for `goal` seconds, which lies in the class at `place`."""
    mine = inner["class"] == classes["class"][place]
    before = np.cumsum(classes["s"])[place] - classes["s"][place]
    return float(inner["value"][mine][_place(before + np.cumsum(inner["s"][mine]), goal)])


def _place(reached: NDArray[Any], goal: float) -> int:
    """The first place at which so many seconds are reached."""
    return min(int(np.searchsorted(reached, goal * _REACHED)), len(reached) - 1)
