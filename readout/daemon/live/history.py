"""The last hours in bounded memory: lowest, highest and mean row of each step, and spans without values.

Two rings for each reading, fine and coarse, so that a first minute at the bench and a shift both fill a
chart. What a ring holds never grows; a step of the computer's clock backwards overwrites what it meets.
"""

import threading
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readout.daemon.live.told import Told

Doubles = NDArray[np.float64]
#: What is told of a span for which there is no row at all, as while no recorder ran.
NO_ROW = "no row"
#: Spans without values that are remembered for each point; older ones are in the archive.
_MOST_GAPS = 200


class Span(Enum):
    """How far back a chart looks, with its step: both in ms."""

    SHORT = ("15min", 15 * 60_000, 1000)
    LONG = ("6h", 6 * 3_600_000, 30_000)

    def __init__(self, word: str, span_ms: int, step_ms: int) -> None:
        self.word, self.span_ms, self.step_ms = word, span_ms, step_ms


class Ring:
    """Steps of `step_ms` over the last `span_ms`; the step of a moment is its place modulo the ring."""

    def __init__(self, span_ms: int, step_ms: int) -> None:
        self.step_ms = step_ms
        count = -(-span_ms // step_ms)
        self._step = np.full(count, -1, np.int64)
        self._low, self._high = np.full(count, np.nan), np.full(count, np.nan)
        self._sum, self._n = np.zeros(count), np.zeros(count, np.int64)

    def add(self, moment_ms: int, value: float) -> None:
        """A row's value."""
        step = moment_ms // self.step_ms
        place = step % len(self._step)
        if self._step[place] != step:
            self._step[place], self._n[place], self._sum[place] = step, 0, 0.0
            self._low[place] = self._high[place] = np.nan
        self._low[place] = np.fmin(self._low[place], value)
        self._high[place] = np.fmax(self._high[place], value)
        self._sum[place] += value
        self._n[place] += 1

    def until(self, now_ms: int) -> tuple[int, Doubles, Doubles, Doubles]:
        """Begin of the first step [ms]; low, high, mean of each step up to now, NaN where nothing is."""
        count = len(self._step)
        last = now_ms // self.step_ms
        steps = np.arange(last - count + 1, last + 1)
        places = steps % count
        there = (self._step[places] == steps) & (self._n[places] > 0)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.where(there, self._sum[places] / self._n[places], np.nan)
        low, high = (np.where(there, kept[places], np.nan) for kept in (self._low, self._high))
        return int(steps[0]) * self.step_ms, low, high, mean


@dataclass(slots=True)
class _Gap:
    begin_ms: int
    end_ms: int
    status: str


class History:
    """Of all points. Threads may share it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._rings: dict[tuple[str, str, Span], Ring] = {}
        self._gaps: dict[str, deque[_Gap]] = {}
        self._last: dict[str, int] = {}
        self._due: dict[str, int] = {}

    def add(self, told: Told, every_ms: int) -> None:
        """A row, in the order of its point's sequence; one that is known already is left out."""
        with self._lock:
            if told.sequence <= self._last.get(told.point, 0):
                return
            self._last[told.point] = told.sequence
            self._no_row(told.point, told.due_ms, every_ms)
            if not told.has_values:
                self._lack(told.point, told.due_ms, told.status, every_ms)
            for reading in told.readings:
                if (number := reading.number) is not None:
                    self._put(told.point, reading.name, told.due_ms, number, every_ms)

    def fill(self, point: str, every_ms: int, rows: Sequence[Mapping[str, Any]]) -> None:
        """Rows of an archive, ascending: sequence, due_ms, status, and numbers by reading."""
        dues = [row["due_ms"] for row in rows]
        # Those before may have come at another interval.
        usual_ms = max(every_ms, int(np.median(np.diff(dues)))) if len(dues) > 1 else every_ms
        with self._lock:
            for row in rows:
                self._last[point] = row["sequence"]
                self._no_row(point, row["due_ms"], usual_ms)
                if row["status"] not in ("ok", "partial"):
                    self._lack(point, row["due_ms"], row["status"], every_ms)
                for name, number in row["numbers"].items():
                    self._put(point, name, row["due_ms"], number, every_ms)

    def chart(self, point: str, reading: str, span: Span, now_ms: int) -> dict[str, Any]:
        """A reading over a span as plain data: begin_ms, step_ms, gaps, and low, high, mean of each step.

        Null where nothing is.
        """
        with self._lock:
            ring = self._rings.get((point, reading, span)) or Ring(span.span_ms, span.step_ms)
            begin, *columns = ring.until(now_ms)
            gaps = [
                {"begin_ms": max(gap.begin_ms, begin), "end_ms": gap.end_ms, "status": gap.status}
                for gap in self._gaps.get(point, ())
                if gap.end_ms > begin
            ]
        low, high, mean = (
            [None if np.isnan(one) else float(f"{one:.7g}") for one in column] for column in columns
        )
        return {
            "begin_ms": begin, "step_ms": ring.step_ms, "low": low, "high": high, "mean": mean, "gaps": gaps,
        }  # fmt: skip

    def _put(self, point: str, reading: str, due_ms: int, number: float, every_ms: int) -> None:
        for span in Span:
            key = (point, reading, span)
            step_ms = max(span.step_ms, every_ms)  # a shorter one would be empty between two rows
            if key not in self._rings or self._rings[key].step_ms != step_ms:
                self._rings[key] = Ring(span.span_ms, step_ms)
            self._rings[key].add(due_ms, number)

    def _no_row(self, point: str, due_ms: int, every_ms: int) -> None:
        """Remember the span since the row before, where a row is missing in it."""
        before_ms = self._due.get(point)
        self._due[point] = due_ms
        if before_ms is not None and due_ms - before_ms >= 2 * every_ms:
            gaps = self._gaps.setdefault(point, deque(maxlen=_MOST_GAPS))
            gaps.append(_Gap(before_ms + every_ms, due_ms, NO_ROW))

    def _lack(self, point: str, due_ms: int, status: str, every_ms: int) -> None:
        gaps = self._gaps.setdefault(point, deque(maxlen=_MOST_GAPS))
        end = due_ms + every_ms
        if gaps and gaps[-1].status == status and 0 <= due_ms - gaps[-1].end_ms <= every_ms:
            gaps[-1].end_ms = end
        else:
            gaps.append(_Gap(due_ms, end, status))
