"""What an archive holds of one point's memory, sealed and waiting, by session and record number.

The key of a record is the meter's serial number, its session's start as told, and its number: never its
time. A session whose meter was erased and counts again from the beginning gets a new number here (`turn`).
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from protocols.log_memory.numbers import merged
from protocols.log_memory.walk.account import Known
from storage.archive import ArchiveReader, SealedFile
from storage.journal.memory import MemoryJournal, MemorySession, Window

if TYPE_CHECKING:
    import pyarrow as pa

SOURCE = "memory"
#: Where a sealed file tells of the sessions its rows are from.
METADATA = "pipeledger.memory"

Whole = NDArray[np.int64]
Words = NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class Stored:
    """Records of one session, by rising number; arrays [n].

    `words` [n, registers] as sent. `told_ms` is the meter's time where `told`, `utc_ms` the corrected one
    where `known`; records that wait to be sealed have neither yet.
    """

    numbers: Whole
    words: Words
    told_ms: Whole
    told: NDArray[np.bool_]
    utc_ms: Whole
    known: NDArray[np.bool_]

    def at(self, number: int) -> tuple[int, ...] | None:
        """The words of one record; None where it is not here."""
        place = int(np.searchsorted(self.numbers, number))
        if place == len(self.numbers) or self.numbers[place] != number:
            return None
        return tuple(self.words[place].tolist())


@dataclass
class Holdings:
    """Grows with every window kept; see `load`."""

    point: str
    serial: str | None
    journal: MemoryJournal
    sealed: dict[int, Stored]
    sessions: list[MemorySession]
    ranges: dict[int, list[range]] = field(default_factory=dict)
    waiting: dict[int, Stored] = field(default_factory=dict)  # as it was at the start
    _windows: dict[int, tuple[int, Whole]] = field(default_factory=dict)  # number → session, records

    @classmethod
    def load(cls, root: Path, journal: MemoryJournal, point: str, serial: str | None) -> "Holdings":
        """Everything the archive at `root` and its journal hold; raises `StorageError`."""
        files = ArchiveReader(root).inventory().of(point, SOURCE)
        sessions = journal.sessions(point)
        if files and not sessions:  # the journal was lost: the files know
            sessions = _sessions_told(root, point, files)
            for session in sessions:
                journal.add_session(session)
        held = cls(point, serial, journal, _sealed(root, point, files), sessions)
        for number, stored in held.sealed.items():
            held.ranges[number] = runs(stored.numbers)
        windows = journal.windows(point)
        for window in windows:
            held._count(window)
        for number in {one.session for one in windows}:
            held.waiting[number] = waiting_records([one for one in windows if one.session == number])
        return held

    def known(self) -> list[Known]:
        """What the walk need not fetch: of this meter, the latest turn of every session."""
        return [Known(one.started, tuple(self.ranges.get(one.number, ()))) for one in self._latest().values()]

    def latest(self, started: int | None) -> MemorySession | None:
        """The session of this meter with that start; None where it was never told of."""
        return self._latest().get(started)

    def _latest(self) -> dict[int | None, MemorySession]:
        return {one.started: one for one in self.sessions if one.serial == self.serial}

    def session(self, started: int | None, interval_ms: int | None, first: int) -> MemorySession:
        """The archive's session for one the meter tells of; kept before this returns."""
        found = self.latest(started)
        if found is None:
            found = self._add(started, 1, interval_ms, first)
        elif found.interval is None and interval_ms is not None:
            self.sessions.remove(found)
            found = replace(found, interval=interval_ms)
            self.sessions.append(found)
            self.sessions.sort(key=lambda one: one.number)
            self.journal.add_session(found)
        return found

    def begin_again(self, started: int | None, interval_ms: int | None, first: int) -> MemorySession:
        """The same session once more, after the meter was erased."""
        before = self.latest(started)
        return self._add(started, 1 if before is None else before.turn + 1, interval_ms, first)

    def _add(self, started: int | None, turn: int, interval_ms: int | None, first: int) -> MemorySession:
        number = max((one.number for one in self.sessions), default=0) + 1
        new = MemorySession(self.point, number, self.serial, started, turn, interval_ms, first)
        self.journal.add_session(new)
        self.sessions.append(new)
        return new

    def keep(self, window: Window) -> int:
        """Make a window durable; the journal's number of it."""
        number = self.journal.keep(window)
        self._count(replace(window, number=number))
        return number

    def withdraw(self, windows: Iterable[int]) -> int:
        """Take windows back that turned out not to be trusted; how many records they held."""
        gone = list(windows)
        self.journal.drop(gone)
        lost = [self._windows.pop(number) for number in gone]
        for session in {session for session, _ in lost}:
            held = [one for number, one in self._windows.values() if number == session]
            sealed = self.sealed.get(session)
            if sealed is not None:
                held.append(sealed.numbers)
            whole = np.sort(np.concatenate(held)) if held else np.zeros(0, np.int64)
            self.ranges[session] = runs(whole)
        return sum(len(numbers) for _, numbers in lost)

    def _count(self, window: Window) -> None:
        numbers = np.frombuffer(window.numbers, "<i8").astype(np.int64)
        self._windows[window.number] = (window.session, numbers)
        ranges = self.ranges.setdefault(window.session, [])
        for new in runs(numbers):
            if ranges and ranges[-1].stop == new.start:
                ranges[-1] = range(ranges[-1].start, new.stop)
            else:
                ranges[:] = merged([*ranges, new])

    def words_of(self, session: int, numbers: Whole) -> dict[int, tuple[int, ...]]:
        """The words of the records among `numbers` that were held at the start."""
        stored = [one for one in (self.sealed.get(session), self.waiting.get(session)) if one is not None]
        found: dict[int, tuple[int, ...]] = {}
        for number in numbers.tolist():
            for one in stored:
                words = one.at(number)
                if words is not None:
                    found.setdefault(number, words)
        return found


def waiting_records(windows: Sequence[Window]) -> Stored:
    """The records of these windows of one session, each once, by number; without times."""
    numbers = np.concatenate([np.frombuffer(one.numbers, "<i8") for one in windows]).astype(np.int64)
    words = stacked([np.frombuffer(one.words, "<u2").reshape(len(one.fits), -1) for one in windows])
    numbers, first = np.unique(numbers, return_index=True)
    nothing = np.zeros(len(numbers), np.int64)
    return Stored(numbers, words[first], nothing, nothing > 0, nothing, nothing > 0)


def stacked(tables: Sequence[NDArray[np.uint16]]) -> Words:
    """Tables of records one below the other; narrower ones get zeros behind."""
    width = max(table.shape[1] for table in tables)
    return np.concatenate([np.pad(table, ((0, 0), (0, width - table.shape[1]))) for table in tables]).astype(
        np.uint16
    )


def runs(numbers: Whole) -> list[range]:
    """Rising numbers as ranges."""
    if not len(numbers):
        return []
    breaks = np.flatnonzero(np.diff(numbers) != 1)
    starts = [numbers[0], *numbers[breaks + 1]]
    ends = [*numbers[breaks], numbers[-1]]
    return [range(int(start), int(end) + 1) for start, end in zip(starts, ends, strict=True)]


def _sealed(root: Path, point: str, files: Sequence[SealedFile]) -> dict[int, Stored]:
    """The sealed records of each session."""
    if not files:
        return {}
    table = ArchiveReader(root).read_rows(point, SOURCE)
    raw = sorted(
        (name for name in table.column_names if name.startswith("raw_")), key=lambda name: int(name[4:])
    )
    session, _ = _whole(table["session"])
    record, _ = _whole(table["record"])
    told_ms, told = _whole(table["meter_time"])
    utc_ms, known = _whole(table["time"])
    words = np.stack([_whole(table[name])[0].astype(np.uint16) for name in raw], axis=1)
    found: dict[int, Stored] = {}
    for number in np.unique(session).tolist():
        rows = np.flatnonzero(session == number)
        rows = rows[np.argsort(record[rows], kind="stable")]
        found[number] = Stored(
            record[rows], words[rows], told_ms[rows], told[rows], utc_ms[rows], known[rows]
        )
    return found


def _whole(column: "pa.ChunkedArray[Any]") -> tuple[Whole, NDArray[np.bool_]]:
    """Whole numbers or moments [n] and where they are some; from the buffers, which needs no pandas."""
    import pyarrow as pa

    whole = column.cast(pa.int64()).combine_chunks()
    bitmap, data = whole.buffers()
    count, end = len(whole), whole.offset + len(whole)
    valid = np.ones(count, np.bool_)
    if bitmap is not None:
        bits = np.unpackbits(np.frombuffer(memoryview(bitmap), np.uint8), bitorder="little", count=end)
        valid = bits[whole.offset :].astype(np.bool_)
    numbers = np.frombuffer(memoryview(data or b""), np.int64)[whole.offset : end]
    return np.where(valid, numbers, 0), valid


def _sessions_told(root: Path, point: str, files: Sequence[SealedFile]) -> list[MemorySession]:
    """The sessions as the files' metadata tell them."""
    from storage.archive.parquet import read_metadata

    found: dict[int, MemorySession] = {}
    for file in files:
        metadata = read_metadata(root / file.file)
        parts = [metadata.get(METADATA), *_parts(metadata)]
        for text in parts:
            if text is None:
                continue
            for number, told in json.loads(text).get("sessions", {}).items():
                found[int(number)] = MemorySession(
                    point, int(number), told["serial_number"], told["started_told_ms"], told["turn"],
                    told["interval_ms"], told["first"],
                )  # fmt: skip
    return [found[number] for number in sorted(found)]


def _parts(metadata: dict[str, str]) -> list[str]:
    """What the runs of a merged file tell of their own."""
    parts = json.loads(metadata.get("pipeledger.parts", "[]"))
    return [json.dumps(part["memory"]) for part in parts if part.get("memory")]
