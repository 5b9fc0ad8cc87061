"""What the meter says of its memory: sessions, extent, whether it records; and the reads that tell it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from protocols.log_memory.numbers import extended, held, memory_modulus
from protocols.log_memory.records import columns, whole
from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.register_map.memory_model import LogMemory, SessionTable
from protocols.register_map.model import Number, Value, Wire
from protocols.values.decode import Words, decode

#: Milliseconds of the units an interval may be told in.
UNIT_MS = {"us": 0.001, "ms": 1, "s": 1000, "min": 60_000, "h": 3_600_000, "d": 86_400_000}

#: A manual's capacity may be a little off; a memory that tells of this many times as much is read wrongly.
MOST_TIMES = 10


@dataclass(frozen=True, slots=True)
class Session:
    """One session as the meter tells it.

    `started_ms`: since 1970 by the meter's own clock; None where it is no moment or not told. `interval_ms`
    None where not told. `first` is the number of its first record as told.
    """

    started_ms: int | None
    interval_ms: int | None
    records: int
    first: int

    def range_after(self, known_end: int, modulus: int | None) -> range:
        """Its records as extended numbers: on the turn that ends at or after `known_end`."""
        if modulus is None:
            return range(self.first, self.first + self.records)
        end = extended(self.first + self.records, modulus, max(known_end, self.first + self.records))
        return range(end - self.records, end)


@dataclass(frozen=True, slots=True)
class MemoryState:
    """One look at the memory. Numbers are as told; None where the map names no register for them."""

    oldest: int | None = None
    next: int | None = None
    count: int | None = None
    recording: bool | None = None
    registers: int | None = None  # width of a record, as the meter tells it
    sessions: tuple[Session, ...] = ()

    def all_sessions(self, memory: LogMemory) -> tuple[Session, ...] | None:
        """Its sessions; the whole memory as one where it has none. None where nothing tells the extent."""
        if memory.sessions is not None:
            return self.sessions
        if self.next is None and self.count is None:
            return None
        modulus = memory_modulus(memory) or memory.capacity + 1
        if self.next is None:
            return (Session(None, None, self.count or 0, self.oldest or 0),)
        first = 0 if self.oldest is None else self.oldest
        records = held(first, self.next, modulus, memory.capacity, self.count)
        return (Session(None, None, records, first),)

    def full(self, memory: LogMemory) -> bool:
        """Whether every place of the memory is taken."""
        sessions = self.all_sessions(memory)
        return sessions is not None and sum(one.records for one in sessions) >= memory.capacity

    def unbelievable(self, memory: LogMemory) -> str | None:
        """Why what it tells of its records cannot be, in a sentence; None where it can.

        Sessions of a ring with `oldest` tell what they were begun with, so of them nothing is judged.
        """
        records = sum(one.records for one in self.all_sessions(memory) or ())
        if (memory.is_ring and memory.oldest is not None) or records <= MOST_TIMES * memory.capacity:
            return None
        return (
            f"The meter seems to tell of {records} records, and the map says that it has places for "
            f"{memory.capacity}: word order, types or capacity in the map are wrong, or it is another "
            "meter's map."
        )


class StateReader:
    """Reads one `MemoryState`: `next()` is the request to send, None once `state` is whole.

    Registers that one read can hold are read together: what is told together belongs to one moment.
    """

    def __init__(self, memory: LogMemory, wire: Wire) -> None:
        self._memory, self._wire = memory, wire
        self._words: dict[tuple[Table, int], int] = {}
        self._waiting = covering(heads(memory), wire)
        self._table_asked = memory.sessions is None
        self.state: MemoryState | None = None
        if not self._waiting:
            self.state = MemoryState()

    def next(self) -> ReadRequest | None:
        """The next read."""
        return self._waiting[0] if self._waiting else None

    def take(self, words: Sequence[int]) -> None:
        """The registers that answer the read `next` gave."""
        request = self._waiting.pop(0)
        for place, word in enumerate(words):
            self._words[request.table, request.start + place] = word
        if self._waiting:
            return
        sessions = self._memory.sessions
        if sessions is not None and not self._table_asked:
            self._table_asked = True
            count = min(self._number(sessions.count) or 0, sessions.most or 0xFFFF)
            self._waiting = _table_reads(sessions, count, self._wire.registers_per_read)
        if not self._waiting:
            self.state = self._found()

    def _found(self) -> MemoryState:
        memory = self._memory
        recording = None
        if memory.recording is not None:
            recording = self._word_of(memory.recording) == "recording"
        return MemoryState(
            oldest=self._number(memory.oldest),
            next=self._number(memory.next),
            count=self._number(memory.count),
            recording=recording,
            registers=self._number(memory.record.told),
            sessions=() if memory.sessions is None else self._sessions(memory.sessions),
        )

    def _number(self, number: Number | None) -> int | None:
        if number is None or number.table is None:
            return None
        places = range(number.address, number.address + number.addresses)
        return whole(number, [self._words[number.table, place] for place in places])

    def _word_of(self, value: Value) -> str | None:
        here = np.ones(1, np.bool_)
        words = {
            column: Words(np.array([self._words[column.table, column.address]], np.uint16), here)
            for column in value.columns()
            if column.table is not None
        }
        return value.codes.get(int(decode(value, words).data[0]))

    def _sessions(self, sessions: SessionTable) -> tuple[Session, ...]:
        count = min(self._number(sessions.count) or 0, sessions.most or 0xFFFF)
        place, size = sessions.table, sessions.registers
        rows = [
            [self._words[place.table, place.address + entry * size + word] for word in range(size)]
            for entry in range(count)
        ]
        return _told_sessions(sessions, rows)


def _told_sessions(table: SessionTable, rows: Sequence[Sequence[int]]) -> tuple[Session, ...]:
    if not rows:
        return ()
    words = columns(np.array(rows, dtype=np.uint16))
    told = {name: decode(field, words) for name, field in table.fields.items()}

    def at(name: str, row: int) -> float | None:
        found = told.get(name)
        return found.data[row].item() if found is not None and found.available[row] else None

    interval = table.fields.get("interval")
    unit_ms = UNIT_MS.get(interval.unit or "s", 1000) if interval is not None else 0
    sessions: list[Session] = []
    after = 0
    for row in range(len(rows)):
        started, every, records = at("started", row), at("interval", row), int(at("records", row) or 0)
        first = at("first", row)
        first_told = after if first is None else int(first)
        sessions.append(
            Session(
                None if started is None else int(started),
                None if every is None else round(every * unit_ms),
                records,
                first_told,
            )
        )
        after = first_told + records
    return tuple(sessions)


def heads(memory: LogMemory) -> list[Number]:
    """Everything but the table of sessions, whose length one of these tells."""
    found = [memory.oldest, memory.next, memory.count, memory.record.told]
    if memory.recording is not None:
        found += memory.recording.parts()
    if memory.sessions is not None:
        found.append(memory.sessions.count)
    return [number for number in found if number is not None]


def covering(numbers: Iterable[Number], wire: Wire) -> list[ReadRequest]:
    """Reads that hold each number whole, in as few as the meter's limits allow."""
    spans = sorted({(n.table, n.address, n.address + n.addresses) for n in numbers if n.table is not None})
    reads: list[tuple[Table, int, int]] = []
    for table, start, end in spans:
        last = reads[-1] if reads else None
        if last is not None and last[0] is table and not table.of_bits:
            near = start - last[2] <= wire.bridge and max(end, last[2]) - last[1] <= wire.registers_per_read
            if near:
                reads[-1] = (table, last[1], max(end, last[2]))
                continue
        reads.append((table, start, end))
    return [ReadRequest(table, start, end - start) for table, start, end in reads]


def _table_reads(sessions: SessionTable, count: int, most: int) -> list[ReadRequest]:
    """Reads of whole entries, so that no entry is put together from two moments."""
    entries = most // sessions.registers
    reads = []
    for first in range(0, count, entries):
        records = min(entries, count - first)
        start = sessions.table.address + first * sessions.registers
        reads.append(ReadRequest(sessions.table.table, start, records * sessions.registers))
    return reads
