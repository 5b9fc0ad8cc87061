"""Records of a meter's own memory, window by window as they were read, until they are sealed.

Beside the journal's rows in the same file, because they are no rounds: a window has a session and record
numbers, no due time. Their sequences are given when they are sealed, in one go for all that wait. A crash
between a sealed file and the end of its windows is no harm: who seals leaves out records that are sealed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from storage.journal.store import Journal

_TABLES = """
CREATE TABLE IF NOT EXISTS memory_session (point TEXT NOT NULL, session INTEGER NOT NULL, serial TEXT,
    started INTEGER, turn INTEGER NOT NULL, interval INTEGER, first INTEGER NOT NULL,
    PRIMARY KEY (point, session)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS memory_window (number INTEGER PRIMARY KEY, point TEXT NOT NULL,
    session INTEGER NOT NULL, plan INTEGER NOT NULL REFERENCES plan, read_at INTEGER NOT NULL,
    numbers BLOB NOT NULL, words BLOB NOT NULL, fits BLOB NOT NULL);
"""


@dataclass(frozen=True, slots=True)
class MemorySession:
    """One session of a meter, under the number that the archive gives it: 1 for the first it was told of.

    `serial` and `started` [ms since 1970 by the meter's own clock] are as the meter tells them, None where
    it does not. `turn` is above 1 where the same session was told of once more after the memory had been
    erased. `interval` [ms] between records, `first` the number of its first record (extended).
    """

    point: str
    number: int
    serial: str | None
    started: int | None
    turn: int = 1
    interval: int | None = None
    first: int = 0


@dataclass(frozen=True, slots=True)
class Window:
    """Records of one session that came in one reply.

    `numbers`: int64 a record, `words`: uint16 a register, record by record, both low byte first; `fits`: one
    byte a record, 1 where its own check agrees. `read_at` is ms since 1970 UTC, `plan` the id of a plan.
    """

    point: str
    session: int
    plan: str
    read_at: int
    numbers: bytes
    words: bytes
    fits: bytes
    number: int = 0  # the journal gives it


class MemoryJournal(Journal):
    """A connection of its own to an archive's journal. Used by the one who holds the archive's lock."""

    @classmethod
    def open(cls, path: Path) -> "MemoryJournal":
        """Open for writing; see `Journal.open`."""
        found = super().open(path)
        assert isinstance(found, cls)
        return found

    def _prepare(self) -> None:
        super()._prepare()
        self._plan_numbers: dict[str, int] = {}
        with self._transaction() as connection:
            for statement in _TABLES.strip().split(";\n"):
                connection.execute(statement)

    def sessions(self, point: str) -> list[MemorySession]:
        """All that were ever told of, by number."""
        rows = self._all(
            "SELECT point, session, serial, started, turn, interval, first FROM memory_session"
            " WHERE point = ? ORDER BY session",
            point,
        )
        return [MemorySession(*values) for values in rows]

    def add_session(self, session: MemorySession) -> None:
        """Keep a session, or what was learned of it since."""
        with self._transaction() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO memory_session VALUES (?, ?, ?, ?, ?, ?, ?)",
                (session.point, session.number, session.serial, session.started, session.turn,
                 session.interval, session.first),
            )  # fmt: skip

    def keep(self, window: Window) -> int:
        """Add a window; when this returns it survives a power cut. Its number.

        The plan must have been added; KeyError where it was not.
        """
        plan = self._plan_number(window.plan)
        with self._transaction() as connection:
            cursor = connection.execute(
                "INSERT INTO memory_window (point, session, plan, read_at, numbers, words, fits)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (window.point, window.session, plan, window.read_at, window.numbers, window.words,
                 window.fits),
            )  # fmt: skip
            assert cursor.lastrowid is not None
            return cursor.lastrowid

    def _plan_number(self, identity: str) -> int:
        """The number of a plan, looked up once: a window costs the disk as little as can be."""
        if identity not in self._plan_numbers:
            found = self._all("SELECT number FROM plan WHERE id = ?", identity)
            if not found:
                raise KeyError(identity)
            self._plan_numbers[identity] = found[0][0]
        return self._plan_numbers[identity]

    def windows(self, point: str) -> list[Window]:
        """What waits to be sealed, in the order in which it was read."""
        rows = self._all(
            "SELECT point, session, plan.id, read_at, numbers, words, fits, memory_window.number"
            " FROM memory_window JOIN plan ON plan.number = memory_window.plan WHERE point = ?"
            " ORDER BY memory_window.number",
            point,
        )
        return [Window(*values) for values in rows]

    def points_waiting(self) -> list[str]:
        """The points that have windows to be sealed."""
        return [row[0] for row in self._all("SELECT DISTINCT point FROM memory_window ORDER BY point")]

    def drop(self, numbers: Iterable[int]) -> None:
        """End windows that were sealed, or that were taken back before."""
        with self._transaction() as connection:
            connection.executemany("DELETE FROM memory_window WHERE number = ?", [(n,) for n in numbers])
