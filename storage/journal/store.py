"""The journal in SQLite: write-ahead log, one flush a commit, read by others while it is written.

`journal/journal.sqlite`; docs/format/journal.md describes its tables for strangers.
"""

import hashlib
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import UTC, date, datetime
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

from storage.errors import ArchiveDamaged, ArchiveDenied, DiskFull, StorageError
from storage.journal import clock, schema
from storage.journal.rows import Intent, Row, Stretch

DAY_MS = 86_400_000
#: A sealing is decoded in memory: this many rows at once, a day of five rows a second.
MOST_ROWS_A_STRETCH = 432_000
_CHUNK_ROWS = 4_096
#: Where a row's sequence stands among what a question for rows gives.
_SEQUENCE = 10
BUSY_S = 15.0
#: The write-ahead log is cut to this size when SQLite begins it anew; a long reader may have made it larger.
LOG_BYTES = 8 << 20


@contextmanager
def told(path: Path) -> Iterator[None]:
    """SQLite's refusals as sentences about the journal."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        raise translated(path, error) from error


def translated(path: Path, error: sqlite3.DatabaseError) -> StorageError:
    """The error of ours for one of SQLite's: full, denied, damaged, or none of these; it is not raised."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return DiskFull(path, f"No space left to write {path}: free some, nothing else is needed.")
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return ArchiveDenied(path, f"{path} cannot be opened or written ({error}): check whose folder it is.")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return ArchiveDamaged(
            path,
            f"{path} is damaged ({error}): move the folder {path.parent.name} aside, what is sealed stays.",
        )
    return StorageError(path, f"{path} could not be used ({error}).")


class _Head(NamedTuple):
    """Of a row: what decides which stretch it belongs to."""

    sequence: int
    plan: str
    day: date


class Journal:
    """One connection. Threads may share it; a second process or thread opens its own."""

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        clean_up: ExitStack | None = None,
        version: int = schema.FORMAT,
    ) -> None:
        self.path = path
        self._columns = schema.row_columns(version)
        self._untimed_of = schema.untimed_of(version)
        self._connection = connection
        self._lock = threading.RLock()
        self._clean_up = clean_up or ExitStack()

    @classmethod
    def open(cls, path: Path) -> "Journal":
        """Open for writing, making it where it is absent. A crash before is repaired by SQLite itself."""
        with told(path):
            connection = sqlite3.connect(
                path, timeout=BUSY_S, isolation_level=None, check_same_thread=False, cached_statements=64
            )
            journal = cls(path, connection)
            try:
                journal._prepare()
            except BaseException:
                connection.close()
                raise
        return journal

    def _prepare(self) -> None:
        run = self._connection.execute
        run("PRAGMA journal_mode = WAL")
        run("PRAGMA synchronous = FULL")
        run("PRAGMA fullfsync = ON")
        run("PRAGMA foreign_keys = ON")
        run(f"PRAGMA journal_size_limit = {LOG_BYTES}")
        with self._transaction():
            schema.prepare(self.path, self._connection)

    def close(self) -> None:
        """Close; the last writer's close folds the write-ahead log into the file."""
        with self._lock:
            self._connection.close()
            self._clean_up.close()

    def log_bytes(self) -> int:
        """Size of the write-ahead log; it grows while someone reads without a pause."""
        try:
            return self.path.with_name(self.path.name + "-wal").stat().st_size
        except OSError:
            return 0

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._lock, told(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read inside is of one instant. Keep it short: it holds the write-ahead log long."""
        with self._lock, told(self.path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                self._connection.execute("ROLLBACK")

    def _all(self, question: str, *values: object) -> list[tuple]:  # type: ignore[type-arg]  # as SQLite gives
        with self._lock, told(self.path):
            return self._connection.execute(question, values).fetchall()

    # plans

    def add_plan(self, text: str) -> str:
        """Keep a plan's text once; its id is the SHA-256 of the text in UTF-8, as 64 hexadecimal digits."""
        with self._transaction() as connection:
            return _plan(connection, text)

    def plan_text(self, identity: str) -> str:
        """The text of a plan; KeyError where there is none."""
        found = self._all("SELECT text FROM plan WHERE id = ?", identity)
        if not found:
            raise KeyError(identity)
        return str(found[0][0])

    def last_plan(self, point: str, source: str) -> str | None:
        """The text of the plan of the last row held; None where none is."""
        found = self._all(
            "SELECT plan.text FROM row JOIN plan ON plan.number = row.plan WHERE row.stream ="
            " (SELECT number FROM stream WHERE point = ? AND source = ?) ORDER BY row.sequence DESC LIMIT 1",
            *(point, source),
        )
        return str(found[0][0]) if found else None

    def plans(self) -> frozenset[str]:
        """The ids of all plans kept."""
        return frozenset(row[0] for row in self._all("SELECT id FROM plan"))

    # sequences

    def next_sequence(self, point: str, source: str) -> int:
        """The number of the next row, from 1; never one that was given before, cut or not."""
        return self.last_sequences().get((point, source), 0) + 1

    def last_sequences(self) -> dict[tuple[str, str], int]:
        """The highest number ever given, per point and source."""
        rows = self._all("SELECT point, source, last FROM stream")
        return {(point, source): last for point, source, last in rows}

    def raise_sequences(self, known: Mapping[tuple[str, str], int]) -> None:
        """Never give a number again that `known` says was used: after the journal was lost."""
        kept = self.last_sequences()
        higher = {key: last for key, last in known.items() if last > kept.get(key, 0)}
        if higher:
            with self._transaction() as connection:
                for (point, source), last in higher.items():
                    _stream(connection, point, source, last)

    # rows

    def append(self, rows: Iterable[Row], plans: Iterable[str] = ()) -> None:
        """Add rows in one transaction: when this returns they survive a power cut; or none was added.

        Their plans must have been added, or their texts be among `plans`; the sequence be given (1 or more)
        and new. KeyError where a plan is missing.
        """
        with self._transaction() as connection:
            for text in plans:
                _plan(connection, text)
            streams: dict[tuple[str, str], tuple[int, int]] = {}
            numbers: dict[str, int] = {}
            boots: dict[str, int | None] = {"": None}
            for row in rows:
                number, last = streams.get((row.point, row.source), (0, 0))
                if not number:
                    number = _stream(connection, row.point, row.source, 0)
                streams[row.point, row.source] = (number, max(last, row.sequence))
                if row.plan not in numbers:
                    found = connection.execute("SELECT number FROM plan WHERE id = ?", (row.plan,)).fetchone()
                    if found is None:
                        raise KeyError(row.plan)
                    numbers[row.plan] = found[0]
                if row.boot not in boots:
                    boots[row.boot] = _boot(connection, row.boot)
                connection.execute(
                    schema.INSERT_ROW,
                    (number, row.sequence, numbers[row.plan], row.due, row.time, row.clock, row.status,
                     row.cause, row.words, row.present, boots[row.boot], row.since_boot, row.shifted),
                )  # fmt: skip
            for number, last in streams.values():
                connection.execute("UPDATE stream SET last = max(last, ?) WHERE number = ?", (last, number))

    def rows(self, point: str, source: str, first: int = 1, last: int = 2**62) -> Iterator[Row]:
        """Rows by sequence, both ends included; read in pieces, so that memory stays small.

        Between two pieces rows may be sealed and cut: a reader beside a recorder wraps it in `snapshot`.
        """
        question = (
            f"SELECT {self._columns} FROM row JOIN stream ON stream.number = row.stream"
            " JOIN plan ON plan.number = row.plan WHERE row.stream ="
            " (SELECT number FROM stream WHERE point = ? AND source = ?)"
            " AND row.sequence BETWEEN ? AND ? ORDER BY row.sequence LIMIT ?"
        )
        while True:
            found = self._all(question, point, source, first, last, _CHUNK_ROWS)
            for values in found:
                yield Row(*values)
            if len(found) < _CHUNK_ROWS:
                return
            first = found[-1][_SEQUENCE] + 1

    def count(self) -> dict[tuple[str, str], int]:
        """How many rows wait to be sealed, per point and source; absent where none."""
        rows = self._all(
            "SELECT point, source, count(*) FROM row JOIN stream ON number = stream GROUP BY number"
        )
        return {(point, source): count for point, source, count in rows}

    def sequences(self, point: str, source: str, first: int, last: int) -> list[int]:
        """The numbers of the rows held between two numbers, ascending."""
        found = self._all(
            "SELECT sequence FROM row WHERE stream = (SELECT number FROM stream WHERE point = ? AND"
            " source = ?) AND sequence BETWEEN ? AND ? ORDER BY sequence",
            *(point, source, first, last),
        )
        return [values[0] for values in found]

    def correct_times(self, now: clock.ClockNow) -> int:
        """Put right the times of rows from before the clock was set, where they can be known by now.

        Returns how many rows were changed; see `storage.journal.clock`.
        """
        with self._transaction() as connection:
            return clock.correct(connection, now)

    def stretches(
        self,
        before: int | None = None,
        most_rows: int = MOST_ROWS_A_STRETCH,
        now: clock.ClockNow | None = None,
    ) -> list[Stretch]:
        """What is to be sealed, in order of sequence; see `Stretch`.

        `before` (ms since 1970 UTC) keeps back a stream's rows from the first one due then or later. A row
        from before the clock was set that `correct_times` did not put right keeps back those behind it
        while its time may still become known: while the computer has not started anew, or the clock is not
        set `now`. Rows of a sealing in hand are left out.
        """
        found: list[Stretch] = []
        in_hand = self.intents()
        for number, point, source in self._all("SELECT number, point, source FROM stream ORDER BY number"):
            ours = [(i.first, i.last) for i in in_hand if (i.point, i.source) == (point, source)]
            heads = self._heads(number, ours, before, now)
            for (plan, day), held in groupby(heads, key=lambda head: (head.plan, head.day)):
                run = [head.sequence for head in held]
                pieces = (run[i : i + most_rows] for i in range(0, len(run), most_rows))
                found += [Stretch(point, source, plan, day, one[0], one[-1], len(one)) for one in pieces]
        return found

    def _heads(
        self, stream: int, in_hand: list[tuple[int, int]], before: int | None, now: clock.ClockNow | None
    ) -> Iterator[_Head]:
        """The rows of a stream that may be sealed, with the day each is filed under."""
        after, midnight, today = 0, -1, date.min
        question = (
            f"SELECT row.sequence, plan.id, row.due, {self._untimed_of} FROM row"
            " JOIN plan ON plan.number = row.plan WHERE stream = ? AND sequence > ? ORDER BY sequence LIMIT ?"
        )
        while found := self._all(question, stream, after, _CHUNK_ROWS):
            for sequence, plan, due, untimed_of in found:
                if untimed_of is None and due // DAY_MS != midnight:
                    midnight, today = due // DAY_MS, _day(due)  # most rows share the day of the one before
                day = today if untimed_of is None else _day_untimed(untimed_of, now)
                if day is None or (before is not None and due >= before):
                    return
                if not any(first <= sequence <= last for first, last in in_hand):
                    yield _Head(sequence, plan, day)
            after = found[-1][0]

    # sealing

    def intents(self) -> list[Intent]:
        """Sealings in hand, oldest rows first."""
        rows = self._all(
            "SELECT file, aside, sha256, point, source, first, last, line FROM intent"
            " ORDER BY point, source, first"
        )
        return [Intent(*values) for values in rows]

    def add_intent(self, intent: Intent) -> None:
        """Say what is about to be renamed, told and cut."""
        with self._transaction() as connection:
            connection.execute(
                "INSERT INTO intent VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (intent.file, intent.aside, intent.sha256, intent.point, intent.source, intent.first,
                 intent.last, intent.line),
            )  # fmt: skip

    def drop_intent(self, intent: Intent) -> None:
        """The sealing did not happen; its rows stay."""
        with self._transaction() as connection:
            connection.execute("DELETE FROM intent WHERE file = ?", (intent.file,))

    def cut(self, intent: Intent) -> None:
        """Drop the rows that the sealed file holds, and the intent, in one transaction."""
        with self._transaction() as connection:
            number = _stream(connection, intent.point, intent.source, intent.last)
            connection.execute(
                "DELETE FROM row WHERE stream = ? AND sequence BETWEEN ? AND ?",
                (number, intent.first, intent.last),
            )
            connection.execute("DELETE FROM intent WHERE file = ?", (intent.file,))

    def check(self) -> list[str]:
        """What SQLite's own check finds wrong with the file; empty where nothing."""
        return [str(row[0]) for row in self._all("PRAGMA quick_check") if row[0] != "ok"]


def _day(due: int) -> date:
    """The UTC date of ms since 1970."""
    return datetime.fromtimestamp(due // DAY_MS * 86_400, UTC).date()


def _day_untimed(boot: str, now: clock.ClockNow | None) -> date | None:
    """Where rows are filed that were told by a clock not set; None while it may still be."""
    return None if now is None or now.boot == boot else now.date


def plan_id(text: str) -> str:
    """What a plan is called: the SHA-256 of its text in UTF-8, as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def _plan(connection: sqlite3.Connection, text: str) -> str:
    """Keep a plan's text once; returns its id."""
    identity = plan_id(text)
    connection.execute("INSERT OR IGNORE INTO plan (id, text) VALUES (?, ?)", (identity, text))
    return identity


def _boot(connection: sqlite3.Connection, identity: str) -> int:
    """The number of a start of the computer, made where new."""
    connection.execute("INSERT OR IGNORE INTO boot (id) VALUES (?)", (identity,))
    return int(connection.execute("SELECT number FROM boot WHERE id = ?", (identity,)).fetchone()[0])


def _stream(connection: sqlite3.Connection, point: str, source: str, last: int) -> int:
    """The number of a point and source, made where new; its highest sequence is at least `last`."""
    connection.execute(
        "INSERT INTO stream (point, source, last) VALUES (?, ?, ?)"
        " ON CONFLICT (point, source) DO UPDATE SET last = max(last, excluded.last)",
        (point, source, last),
    )
    found = connection.execute("SELECT number FROM stream WHERE point = ? AND source = ?", (point, source))
    return int(found.fetchone()[0])
