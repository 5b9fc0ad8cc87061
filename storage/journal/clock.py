"""Times from before the computer's clock was set, put right.

A computer whose clock has no battery starts in 1970 and is set minutes later, if at all. Every row keeps,
beside its due time, the same instant on the clock that counts from the computer's start (`since_boot`) and
never steps: the difference of the two is where the wall clock stood. As soon as the wall clock of the same
start has been set, the rows from before get what it was moved by, on `due` and `time` alike: their spacing
stays, and `shifted` keeps the amount. `clock` stays `unset`: that is what it was.

Nothing is guessed. Where the clock was not set before that start of the computer ended, nobody knows when
its rows were measured: they keep their order, and are sealed without times.
"""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime

from storage.journal.rows import UNSET

#: Rows whose clocks differ by less belong to one setting of the clock [ms]: both are read in whole ms.
_SAME_SETTING_MS = 100


@dataclass(frozen=True, slots=True)
class ClockNow:
    """The computer's clocks at this moment, in ms: `utc` since 1970, `since_boot` since the start `boot`.

    `quality` is what the wall clock is worth: synchronised | unsynchronised | unset.
    """

    boot: str
    utc: int
    since_boot: int
    quality: str

    @property
    def date(self) -> date | None:
        """Today's UTC date; None while the clock has not been set."""
        return None if self.quality == UNSET else datetime.fromtimestamp(self.utc / 1000, UTC).date()


@dataclass(frozen=True, slots=True)
class _Run:
    """Neighbouring rows of one stream, told by one setting of an unset clock. Times in ms."""

    stream: int
    boot: int
    offset: int  # due - since_boot
    first: int  # sequence
    last: int  # sequence
    last_since_boot: int


def correct(connection: sqlite3.Connection, now: ClockNow) -> int:
    """Put right what can be; returns how many rows. Within the caller's transaction."""
    found = connection.execute("SELECT number FROM boot WHERE id = ?", (now.boot,)).fetchone()
    offset_now = None if found is None or now.quality == UNSET else now.utc - now.since_boot
    rows = 0
    for run in list(_runs(connection)):
        offset = _proven(connection, run, offset_now if found and found[0] == run.boot else None)
        if offset is not None:
            shift = offset - run.offset
            rows += connection.execute(
                "UPDATE row SET due = due + ?, time = time + ?, shifted = ?"
                " WHERE stream = ? AND sequence BETWEEN ? AND ? AND boot = ? AND clock = ?"
                " AND shifted IS NULL",
                (shift, shift, shift, run.stream, run.first, run.last, run.boot, UNSET),
            ).rowcount
    return rows


def _runs(connection: sqlite3.Connection) -> Iterator[_Run]:
    """What is to be put right, in order."""
    question = (
        "SELECT stream, boot, due - since_boot, sequence, since_boot FROM row WHERE clock = ?"
        " AND shifted IS NULL AND boot IS NOT NULL AND since_boot IS NOT NULL ORDER BY stream, sequence"
    )
    run: _Run | None = None
    for stream, boot, offset, sequence, since_boot in connection.execute(question, (UNSET,)):
        alike = run is not None and (run.stream, run.boot) == (stream, boot)
        if run is None or not alike or abs(offset - run.offset) >= _SAME_SETTING_MS:
            if run is not None:
                yield run
            run = _Run(stream, boot, offset, sequence, sequence, since_boot)
        else:
            run = _Run(stream, boot, run.offset, run.first, sequence, since_boot)
    if run is not None:
        yield run


def _proven(connection: sqlite3.Connection, run: _Run, offset_now: int | None) -> int | None:
    """Where the wall clock of the run's boot stood once set: by the next row, by now, by an earlier row."""
    for side, order in ((">", "ASC"), ("<", "DESC")):
        found = connection.execute(
            f"SELECT due - since_boot FROM row WHERE boot = ? AND clock != ? AND since_boot {side} ?"
            f" ORDER BY since_boot {order} LIMIT 1",
            (run.boot, UNSET, run.last_since_boot),
        ).fetchone()
        if found is not None:
            return int(found[0])
        if offset_now is not None:
            return offset_now
    return None
