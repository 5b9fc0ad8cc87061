"""What was retrieved and waits in the journal becomes sealed files: one for each UTC date.

Times are worked out over each whole session at once, what is sealed of it already included: an hour that
exists twice is told apart by the records around it. Rows go by date, and within a date by session and record.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from protocols.log_memory.records import own_times
from protocols.log_memory.times import ClockOffset, SessionClock, Times, times_counted, times_told
from protocols.register_map.memory_model import LogMemory, MarkedAt
from protocols.register_map.model import Column
from readout.clock import iso, ms_of
from readout.sealing.memory.clock import of_session, offsets_told
from readout.sealing.memory.table import (
    SOURCE,
    Mask,
    Rows,
    Whole,
    flagged,
    memory_of,
    metadata_of,
    table_of,
)
from readout.sealing.merge import rows_entry
from readout.sealing.record import Record
from storage.archive import Archive, SealedFile
from storage.journal.memory import MemoryJournal, MemorySession, Window
from storage.ledger import Line

#: What makes windows alike: SHA-256 of their map, registers of their records.
Key = tuple[str, int]

_EPOCH_DAY = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Before:
    """Records of a session that are sealed already: numbers [n], the meter's time where `told` [n]."""

    numbers: Whole
    told_ms: Whole
    told: Mask


@dataclass
class Sealing:
    """Files made, rows that carry a flag, rows whose time cannot be known, and the span of times [UTC ms]."""

    files: list[SealedFile] = field(default_factory=list)
    flagged: int = 0
    untimed: int = 0
    first_ms: int | None = None
    last_ms: int | None = None

    def span(self, utc_ms: Whole, known: Mask) -> None:
        """Widen the span by these times."""
        if known.any():
            low, high = int(utc_ms[known].min()), int(utc_ms[known].max())
            self.first_ms = low if self.first_ms is None else min(low, self.first_ms)
            self.last_ms = high if self.last_ms is None else max(high, self.last_ms)


@dataclass(frozen=True, slots=True)
class _Kind:
    """Windows that can share a file: what the latest retrieval by their map tells, and that map's memory."""

    record: Record
    memory: LogMemory


def seal_memory(
    archive: Archive, journal: MemoryJournal, point: str, before: Mapping[int, Before], lines: Iterable[Line]
) -> Sealing:
    """Seal all windows of a point; what is in `before` is left out. Raises `StorageError`.

    `lines` are the ledger's: some tell when a meter's clock was measured.

    Where that happens, or the process is killed, what is sealed stays sealed and the rest waits.
    """
    sealing = Sealing()
    windows = journal.windows(point)
    if not windows:
        return sealing
    kinds, keys = _kinds(journal, windows)
    lines = tuple(lines)
    sessions = {one.number: one for one in journal.sessions(point)}
    parts: list[tuple[Key, Rows]] = []
    used: dict[int, tuple[ClockOffset, ...]] = {}
    for number in sorted({window.session for window in windows}):
        mine = [window for window in windows if window.session == number]
        kinded = [(keys[window.number], window) for window in mine]
        measured = _measured(point, sessions[number].serial, lines, kinds)
        found, used[number] = _session(sessions[number], kinded, kinds, before.get(number), measured)
        parts += found
    for key in {key for key, _ in parts}:
        rows = _joined([rows for one, rows in parts if one == key])
        about = _about(kinds[key], sessions, used, rows)
        for day, some in _days(rows):
            _seal(archive, point, kinds[key].record, day, some, about, sealing)
    journal.drop(window.number for window in windows)
    return sealing


def _seal(
    archive: Archive, point: str, record: Record, day: date, rows: Rows, about: Mapping[str, Any],
    sealing: Sealing,
) -> None:  # fmt: skip
    first = archive.journal.next_sequence(point, SOURCE)
    table = table_of(record, rows, first)
    sealing.files.append(
        archive.seal(
            table,
            point=point,
            source=SOURCE,
            date=day,
            first_sequence=first,
            last_sequence=first + len(rows) - 1,
            metadata=metadata_of(record, rows_entry(table), about),
        )
    )
    sealing.flagged += int(np.count_nonzero(flagged(table)))
    sealing.untimed += int(np.count_nonzero(~rows.times.known))
    sealing.span(rows.times.utc_ms, rows.times.known)


def _kinds(journal: MemoryJournal, windows: Sequence[Window]) -> tuple[dict[Key, _Kind], dict[int, Key]]:
    """The kinds of windows, and which is of which, by its number in the journal.

    Of several retrievals with one map the latest tells of meter and settings.
    """
    records = {plan: Record.from_text(journal.plan_text(plan)) for plan in {one.plan for one in windows}}
    found: dict[Key, _Kind] = {}
    keys: dict[int, Key] = {}
    for window in windows:
        record = records[window.plan]
        key = keys[window.number] = (record.map_sha256, len(window.words) // 2 // len(window.fits))
        columns = tuple(Column(None, word) for word in range(key[1]))
        found[key] = _Kind(replace(record, columns=columns), memory_of(record))
    return found, keys


def _measured(
    point: str, serial: str | None, lines: Sequence[Line], kinds: Mapping[Key, _Kind]
) -> list[ClockOffset]:
    """The measurements of that meter's clock: the ledger's, and those of retrievals that have no line yet."""
    found = offsets_told(lines, point, serial)
    for kind in kinds.values():
        record = kind.record
        told = record.meter.get("identity", {}).get("serial_number") or record.point.get("serial_number")
        at, offset_s = record.plan.get("clock_measured"), record.clock_offset
        if at is not None and offset_s is not None and (None if told is None else str(told)) == serial:
            found.append(ClockOffset(ms_of(at), round(offset_s * 1000)))
    return found


# ---- times


def _session(
    session: MemorySession, windows: Sequence[tuple[Key, Window]], kinds: Mapping[Key, _Kind],
    before: Before | None, offsets: Sequence[ClockOffset],
) -> tuple[list[tuple[Key, Rows]], tuple[ClockOffset, ...]]:  # fmt: skip
    """The session's records that are not sealed yet, kind by kind, with their times; the offsets used."""
    told: dict[int, tuple[int, bool]] = {}
    if before is not None:
        held = zip(before.numbers.tolist(), before.told_ms.tolist(), before.told.tolist(), strict=True)
        told = {number: (ms, there) for number, ms, there in held}
    new: list[tuple[Key, Window, NDArray[np.intp]]] = []
    for key, window in windows:
        numbers = np.frombuffer(window.numbers, "<i8")
        rows = np.array([row for row, one in enumerate(numbers.tolist()) if one not in told], np.intp)
        ms, there = _told(session, kinds[key], numbers.astype(np.int64), _words(window, key[1]))
        told |= {int(numbers[row]): (int(ms[row]), bool(there[row])) for row in rows}
        new.append((key, window, rows))
    numbers = np.array(sorted(told), np.int64)
    told_ms = np.array([told[one][0] for one in numbers.tolist()], np.int64)
    there = np.array([told[one][1] for one in numbers.tolist()], np.bool_)
    latest = kinds[windows[-1][0]]
    clock = _clock(session, latest, told_ms[there], offsets)
    times = _times(session, latest.memory, numbers, told_ms, there, clock)
    found = []
    for key, window, rows in new:
        if len(rows):
            mine = np.frombuffer(window.numbers, "<i8").astype(np.int64)[rows]
            places = np.searchsorted(numbers, mine)
            found.append((key, _rows(window, key[1], rows, mine, told_ms[places], there[places],
                                     _some(times, places))))  # fmt: skip
    return found, clock.offsets


def _words(window: Window, registers: int) -> NDArray[np.uint16]:
    return np.frombuffer(window.words, "<u2").astype(np.uint16).reshape(-1, registers)


def _told(
    session: MemorySession, kind: _Kind, numbers: Whole, words: NDArray[np.uint16]
) -> tuple[Whole, Mask]:
    """The meter's time of records [n], and where it is one: their own, else start + number × interval."""
    own = own_times(kind.memory.record, words)
    if own is not None:
        return own
    if session.started is None or session.interval is None:
        return np.zeros(len(numbers), np.int64), np.zeros(len(numbers), np.bool_)
    after = numbers - session.first + (kind.memory.marked_at is MarkedAt.END)
    return session.started + after * session.interval, np.ones(len(numbers), np.bool_)


def _clock(
    session: MemorySession, kind: _Kind, told_ms: Whole, offsets: Sequence[ClockOffset]
) -> SessionClock:
    """The meter's clock over a session, with the measurements that belong to it."""
    site = ZoneInfo(kind.record.point["time_zone"])
    clock = SessionClock(kind.memory.clock, site, session.interval)
    began = session.started if session.started is not None else int(told_ms[0]) if len(told_ms) else None
    if began is not None:
        start = times_told(np.array([began]), np.ones(1, np.bool_), np.zeros(1, np.int64), clock)
        began = int(start.utc_ms[0]) if start.known[0] else None
    return replace(clock, offsets=of_session(offsets, began))


def _times(
    session: MemorySession, memory: LogMemory, numbers: Whole, told_ms: Whole, told: Mask, clock: SessionClock
) -> Times:
    if memory.record.time is not None:
        return times_told(told_ms, told, numbers, clock)
    return times_counted(session.started, numbers - session.first, memory.marked_at, clock)


# ---- rows


def _some(times: Times, rows: NDArray[Any]) -> Times:
    return Times(times.utc_ms[rows], times.known[rows], times.flag[rows])


def _rows(
    window: Window, registers: int, rows: NDArray[np.intp], record: Whole, told_ms: Whole, told: Mask,
    times: Times,
) -> Rows:  # fmt: skip
    fits = np.frombuffer(window.fits, np.uint8).astype(np.bool_)[rows]
    session = np.full(len(rows), window.session, np.int64)
    read_at = np.full(len(rows), window.read_at, np.int64)
    return Rows(session, record, _words(window, registers)[rows], fits, told_ms, told, times, read_at)


def _joined(parts: Sequence[Rows]) -> Rows:
    times = [one.times for one in parts]
    return Rows(
        np.concatenate([one.session for one in parts]),
        np.concatenate([one.record for one in parts]),
        np.concatenate([one.words for one in parts]),
        np.concatenate([one.fits for one in parts]),
        np.concatenate([one.told_ms for one in parts]),
        np.concatenate([one.told for one in parts]),
        Times(
            np.concatenate([one.utc_ms for one in times]),
            np.concatenate([one.known for one in times]),
            np.concatenate([one.flag for one in times]),
        ),
        np.concatenate([one.read_at_ms for one in parts]),
    )


def _days(rows: Rows) -> Iterator[tuple[date, Rows]]:
    """The rows of each UTC date, by session and record."""
    days = rows.days()
    order = np.lexsort((rows.record, rows.session, days))
    for day in np.unique(days).tolist():
        yield _EPOCH_DAY + timedelta(days=day), rows.taken(order[days[order] == day])


def _about(
    kind: _Kind, sessions: Mapping[int, MemorySession], used: Mapping[int, Sequence[ClockOffset]], rows: Rows
) -> dict[str, Any]:
    """What a file tells of its memory: sessions as told, what a record is, whose time the meter shows."""
    memory = kind.memory
    mine = [sessions[number] for number in np.unique(rows.session).tolist()]
    return {
        "holds": memory.holds,
        "marked_at": memory.marked_at,
        "clock": memory.clock.zone,
        "retrieved": iso(int(rows.read_at_ms.max()) / 1000),
        "sessions": {
            str(one.number): {
                "serial_number": one.serial,
                "started_told_ms": one.started,
                "started_told": None if one.started is None else _shown(one.started),
                "interval_ms": one.interval,
                "first": one.first,
                "turn": one.turn,
                "clock_offsets": [
                    {"at": iso(offset.at_ms / 1000), "offset_s": offset.offset_ms / 1000}
                    for offset in used.get(one.number, ())
                ],
            }
            for one in mine
        },
    }


def _shown(ms: int) -> str:
    """What the meter's clock showed, without a zone."""
    return datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%S")
