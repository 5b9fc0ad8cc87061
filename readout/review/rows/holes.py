"""Where rows are missing within a minute: looked for row by row only in minutes that lack some."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readout.review.rows.minutes import MINUTE_MS, Double, Minutes, Whole

#: Answers an SQL query with its columns.
Ask = Callable[[str], Mapping[str, NDArray[Any]]]
#: The table of numbers of minutes (ms since 1970 UTC // 60,000) that an `Ask` is told to look into.
LACKING = "lacking"
#: What `beside_holes` tells where no minute has any.
NO_EDGES: Mapping[str, NDArray[Any]] = {name: np.zeros(0) for name in ("begin", "span", "value", "after")}
#: A sum of holes may differ from what its minute lacks by this [ms]: both are sums of whole ms.
_SAME_MS = 1.5


@dataclass(frozen=True, slots=True)
class Hole:
    """[begin_ms, end_ms) lacks rows for `missing_s` seconds: all of it, or nobody knows which."""

    begin_ms: int
    end_ms: int
    missing_s: float


def lacking(minutes: Minutes) -> NDArray[np.intp]:
    """Which minutes have holes between their rows."""
    return np.flatnonzero((minutes.last - minutes.first) / 1000 - minutes.covered > 0.0005)


def holes_within(minutes: Minutes, which: NDArray[np.intp], ask: Ask, rows: str) -> list[Hole]:
    """The holes between the rows of each of the minutes `which`, those that `lacking` names.

    `rows`: all rows as SQL. Where rows overlap, or begin in the minute before, a minute's holes are told as
    one over its whole length.
    """
    found = beside_holes(ask, rows, "NULL", 0.0)
    behind = found["after"] > 0
    begins = (found["begin"] + found["span"])[behind].astype(np.int64)
    lasts = found["after"][behind]
    minute = found["begin"][behind].astype(np.int64) // MINUTE_MS
    holes = []
    for i in which:
        first, last = int(minutes.first[i]), int(minutes.last[i])
        missing_ms = last - first - 1000 * float(minutes.covered[i])
        mine = slice(*np.searchsorted(minute, minutes.begin[i] // MINUTE_MS + np.array([0, 1])))
        if abs(lasts[mine].sum() - missing_ms) <= _SAME_MS:
            pairs = zip(begins[mine].tolist(), lasts[mine].tolist(), strict=True)
            holes += [Hole(begin, int(begin + lasts_ms), lasts_ms / 1000) for begin, lasts_ms in pairs]
        else:
            holes.append(Hole(first, last, missing_ms / 1000))
    return holes


def beside_holes(ask: Ask, rows: str, value: str, least: float) -> Mapping[str, NDArray[Any]]:
    """Rows with more than `least` spans without rows behind or before them in the same minute, by time.

    Columns: begin [ms], span [ms], value (an SQL expression), after [ms without rows behind it, NaN: last].
    """
    return ask(
        f"SELECT begin, span, value, after FROM (SELECT begin, span, {value}::DOUBLE AS value,"
        " (lead(begin) OVER w - begin - span)::DOUBLE AS after,"
        " (begin - lag(begin + span) OVER w)::DOUBLE AS before"
        f" FROM ({rows}) WHERE begin // {MINUTE_MS} IN (SELECT minute FROM {LACKING})"
        f" WINDOW w AS (PARTITION BY begin // {MINUTE_MS} ORDER BY begin))"
        f" WHERE after > {least} * span OR before > {least} * span ORDER BY begin"
    )


@dataclass(frozen=True, slots=True)
class Counter:
    """What a totaliser showed at moments [n] (ms since 1970 UTC), ascending; in its own unit.

    `gaps` [n - 1]: whether rows are missing between a moment and the next.
    """

    moments: Whole
    values: Double
    gaps: NDArray[np.bool_]


def counter(minutes: Mapping[str, NDArray[Any]], edges: Mapping[str, NDArray[Any]]) -> Counter:
    """A counter's moments from its minutes and from the rows beside holes.

    `minutes`: first and last row of each (a, b [ms], x, y), the last one's span [ms]; `edges` as
    `beside_holes` tells them.
    """
    count, inner = len(minutes["a"]), len(edges["begin"])
    moments = np.concatenate([minutes["a"], edges["begin"], minutes["b"]]).astype(np.int64)
    values = np.concatenate([minutes["x"], edges["value"], minutes["y"]]).astype(np.float64)
    # A minute's first row comes before an edge at the same moment, its last behind one.
    rank = np.repeat([0, 1, 2], [count, inner, count])
    hole_behind = np.concatenate([np.zeros(count), edges["after"] > 0.5 * edges["span"], np.zeros(count)])
    span = np.concatenate([np.zeros(count + inner), minutes["span"]])
    order = np.lexsort([rank, moments])
    moments, values, rank = moments[order], values[order], rank[order]
    far = (rank[:-1] == 2) & (np.diff(moments) > 1.5 * span[order][:-1])
    return Counter(moments, values, far | (hole_behind[order][:-1] > 0))
