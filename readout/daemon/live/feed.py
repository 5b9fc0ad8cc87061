"""From the journal to whoever shows: rows that have become durable, decoded once, in a thread of its own.

`took` is all that the journal's thread does for it, and costs microseconds. Whoever cannot keep up loses
messages, never rows: those are kept already.
"""

import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from readout.clock import Clock
from readout.daemon.live.board import Board
from readout.daemon.live.book import Book
from readout.daemon.live.history import History, Span
from readout.daemon.live.told import Decoder, Told, plans_in
from readout.daemon.points import LIVE, PointToRecord
from readout.sealing.record import Record
from readout.sealing.table import table_of
from storage.archive import ArchiveReader
from storage.errors import StorageError
from storage.journal import Row

#: Rows that may wait to be decoded; beyond that the oldest are not shown.
MOST_ROWS = 20_000
#: How often the ledger is looked at [s], and how long `close` waits.
_LOOK_S, _END_S = 0.5, 10.0

Follower = Callable[[Told], None]


class Feed:
    """Of one archive. `tell` is called, from the feed's thread, when there is something new.

    `followers` are given each row in turn and must neither raise nor wait.
    """

    def __init__(
        self, root: Path, clock: Clock, say: Callable[[str], None], followers: Sequence[Follower] = ()
    ) -> None:
        self.board, self.history, self.book = Board(), History(), Book(root)
        self.book_version = 0
        self.tell: Callable[[], None] = lambda: None
        self._root, self._clock, self._say = root, clock, say
        self._followers = list(followers)
        self._decoder = Decoder(plans_in(root))
        self._rows: deque[Row] = deque(maxlen=MOST_ROWS)
        self._fill: deque[PointToRecord] = deque()
        self._filled: set[str] = set()
        self._wake = threading.Event()
        self._ending = self._told_fault = False
        self._thread = threading.Thread(target=self._run, name="feed", daemon=True)
        self._thread.start()

    def begin(self, points: Sequence[PointToRecord]) -> None:
        """A run of the recorder begins with these points."""
        self.board.begin(points)
        self._fill.extend(point for point in points if point.name not in self._filled)
        self._filled |= {point.name for point in points}
        self._wake.set()

    def took(self, rows: Sequence[Row]) -> None:
        """Rows have become durable; from the journal's thread."""
        self._rows.extend(rows)
        self._wake.set()

    def now_ms(self) -> int:
        """Ms since 1970 UTC, by the recorder's clock."""
        return round(self._clock.utc() * 1000)

    def close(self) -> None:
        """Show what has come, then end."""
        self._ending = True
        self._wake.set()
        self._thread.join(_END_S)

    def _run(self) -> None:
        while True:
            self._wake.wait(_LOOK_S)
            ending = self._ending  # rows that came before the end are shown
            self._wake.clear()
            new = self._take()
            if self.book.look():
                self.book_version += 1
                new = True
            if new:
                self.tell()
            if ending:
                return

    def _take(self) -> bool:
        """What has come since: first the past of new points, then rows in their order."""
        new = bool(self._fill)
        while self._fill:
            self._remember(self._fill.popleft())
        every = {point.name: point.every_ms for point in self.board.facts()}
        while self._rows:
            told = self._told(self._rows.popleft())
            if told is None or told.point not in every:
                continue
            new = True
            self.history.add(told, every[told.point])
            self.board.add(told)
            for follower in self._followers:
                follower(told)
        return new

    def _told(self, row: Row) -> Told | None:
        try:
            return self._decoder.tell(row)
        except (StorageError, KeyError, ValueError) as error:
            if not self._told_fault:  # once: the rows themselves are kept, and `archive verify` tells more
                self._told_fault = True
                self._say(f"{self._root}: a row cannot be shown live ({error}); it is kept")
            return None

    def _remember(self, point: PointToRecord) -> None:
        """Fill the charts with the hours before this process; without them they begin empty."""
        try:
            reader = ArchiveReader(self._root)
            table = reader.read_rows(
                point.name, LIVE,
                decode=lambda plan, waiting: table_of(Record.from_text(plan), waiting),
                since=self.now_ms() - Span.LONG.span_ms,
                on_damage=lambda file, fault: self._say(f"{file} {fault}: its rows are not in the charts"),
            )  # fmt: skip
        except StorageError:  # a new archive has no past
            return
        if table.num_rows:
            self.history.fill(point.name, point.every_ms, _rows_of(table, point))


def _rows_of(table: Any, point: PointToRecord) -> list[dict[str, Any]]:
    """A table's rows with their numbers, by sequence."""
    import pyarrow as pa

    table = table.sort_by("sequence")
    names = [
        value.name
        for value in point.map.readings
        if value.name in table.column_names
        and not value.codes
        and not value.bits
        and (pa.types.is_integer(kind := table.schema.field(value.name).type) or pa.types.is_floating(kind))
    ]
    columns = {name: table[name].to_numpy().astype(np.float64) for name in names}
    dues = table["due"].cast(pa.int64()).to_numpy()
    heads = zip(table["sequence"].to_pylist(), dues, table["status"].to_pylist(), strict=True)
    return [
        {
            "sequence": sequence,
            "due_ms": int(due),
            "status": status,
            "numbers": {name: float(column[i]) for name, column in columns.items() if column[i] == column[i]},
        }
        for i, (sequence, due, status) in enumerate(heads)
    ]
