"""Readings that stay outside the range their map gives: since when, and when they are back.

Judged from the rows as they are kept, not from the line: a command of the user's hears of nothing that a
power cut could still take away.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from protocols.values.flags import FLAG_WORDS, Flag
from readout.clock import iso
from readout.daemon.live.told import Decoder, Told, ToldReading
from readout.daemon.points import PointToRecord
from storage.errors import StorageError
from storage.journal import Row

#: Rows that may wait to be looked at; beyond that the oldest are passed over.
MOST_ROWS = 20_000

_OUTSIDE = frozenset({FLAG_WORDS[Flag.BELOW_RANGE], FLAG_WORDS[Flag.ABOVE_RANGE]})


@dataclass
class _Seen:
    since_ms: int | None = None  # the row with which it left its range; None while inside
    told: bool = False


class Outside:
    """Call `took` from any thread, `changes` from one. `after_ms`: how long outside is worth telling."""

    def __init__(self, points: Sequence[PointToRecord], decoder: Decoder, after_ms: int) -> None:
        self._spans = {
            (point.name, value.name): value.range
            for point in points
            for value in point.map.readings
            if value.range is not None
        }
        self._points = {point for point, _ in self._spans}
        self._decoder, self._after_ms = decoder, after_ms
        self._rows: deque[Row] = deque(maxlen=MOST_ROWS)
        self._seen = {key: _Seen() for key in self._spans}

    def took(self, rows: Sequence[Row]) -> None:
        """Rows have become durable."""
        self._rows.extend(row for row in rows if row.point in self._points)

    def changes(self) -> Iterator[dict[str, str]]:
        """What has changed with the rows taken since: the facts of each change, as a command gets them.

        A row without the reading says nothing: it neither ends being outside nor begins it.
        """
        while self._rows:
            try:
                told = self._decoder.tell(self._rows.popleft())
            except (StorageError, KeyError, ValueError):  # kept all the same; `archive verify` tells more
                continue
            for reading in told.readings:
                seen = self._seen.get((told.point, reading.name))
                if seen is not None and told.has_values and (change := self._change(told, reading, seen)):
                    yield self._facts(told, reading, change)

    def _change(self, told: Told, reading: ToldReading, seen: _Seen) -> tuple[str, int] | None:
        """ "outside" or "inside", and since when it was outside [ms since 1970]; None for no news."""
        if reading.flag in _OUTSIDE:
            seen.since_ms = told.due_ms if seen.since_ms is None else seen.since_ms
            if seen.told or told.due_ms - seen.since_ms < self._after_ms:
                return None
            seen.told = True
            return "outside", seen.since_ms
        if reading.value is None or seen.since_ms is None:
            return None
        was, since_ms = seen.told, seen.since_ms
        seen.since_ms, seen.told = None, False
        return ("inside", since_ms) if was else None

    def _facts(self, told: Told, reading: ToldReading, change: tuple[str, int]) -> dict[str, str]:
        span = self._spans[told.point, reading.name]
        return {
            "PIPELEDGER_POINT": told.point,
            "PIPELEDGER_CHANGE": change[0],
            "PIPELEDGER_STATUS": told.status,
            "PIPELEDGER_READING": reading.name,
            "PIPELEDGER_VALUE": str(reading.value),
            "PIPELEDGER_UNIT": reading.unit or "",
            "PIPELEDGER_FLAG": reading.flag or "",
            "PIPELEDGER_LOW": str(span.low),
            "PIPELEDGER_HIGH": str(span.high),
            "PIPELEDGER_SINCE": iso(change[1] / 1000),
            "PIPELEDGER_TIME": iso(told.due_ms / 1000),
        }
