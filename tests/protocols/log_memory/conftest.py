"""A model of a meter with a memory: as simple as it can be, and knowing nothing of how the walker asks.

Record n is a function of n (`record_words`), so that every word handed out can be held against it. Faults
are set from outside: a reply that is lost after the meter has acted, a window that repeats, a pointer that
takes its time, a ring that is written while it is read.
"""

from collections.abc import Callable
from functools import lru_cache
from types import SimpleNamespace

import pytest

from protocols.log_memory.walk.walker import Walker
from protocols.modbus.crc import crc16
from protocols.modbus.replies import ExceptionReply, FileRecords, Queue, Registers, Reply, Written
from protocols.modbus.requests import (
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    ReadWriteRegisters,
    Request,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map

CAPACITY = 12
#: Where the model keeps what: number of the oldest, of the next, and how many (uint16 each) from input 50 on.
EXTENT = "oldest: {input: 50}\n  next: {input: 51}\n  count: {input: 52}\n  number_wraps_at: 24"
WAYS = {
    "window": "{window: {pointer: {holding: 10}, echo: {holding: 100}, data: {holding: 101}, records: 3}}",
    "window by function 23": "{window: {pointer: {holding: 10}, echo: {holding: 100}, data: {holding: 101}, "
    "records: 3, write_and_read: allowed}}",
    "window that moves on": "{window: {pointer: {holding: 100}, data: {holding: 101}, records: 3, "
    "advance: by read}}",
    "window, pointer read back": "{window: {pointer: {holding: 10}, data: {holding: 101}, records: 3}}",
    "registers": "{registers: {input: 1000}}",
    "banks": "{registers: {input: 1000, bank: {holding: 10}, records_per_bank: 5}}",
    "files": "{files: {first_file: 3, records_per_file: 5}}",
    "files that count records": "{files: {first_file: 3, records_per_file: 5, counts: records}}",
    "queue": "{queue: {address: 600, next_wanted: {holding: 10}}}",
}
FIELDS = {
    "plain": "low: {at: 0, type: uint16, unit: 1}, high: {at: 1, type: uint16, unit: 1}, "
    "flow: {at: 2, type: uint16, unit: 1}",
    "numbered": "number: {at: 0, type: uint16}, high: {at: 1, type: uint16, unit: 1}, "
    "flow: {at: 2, type: uint16, unit: 1}",
    "checked": "number: {at: 0, type: uint16}, high: {at: 1, type: uint16, unit: 1}, "
    "check: {at: 2, type: crc16}",
}
WRAPS = 24


def map_text(way: str, fields: str = "plain", *, ring: bool = False, extra: str = "", empty: str = "") -> str:
    full = "overwrite oldest" if ring else "stop"
    return (
        "register_map: 1\nmeter: Hollow Mere model\nwire: {bridge: 4, registers_per_read: 16}\nlog_memory:\n"
        f"  capacity: {CAPACITY}\n  when_full: {full}\n  {extra or EXTENT}\n"
        f"  record: {{registers: 3, {empty} fields: {{{FIELDS[fields]}}}}}\n  reached_by: {WAYS[way]}\n"
    )


@lru_cache
def map_of(text: str) -> RegisterMap:
    parsed = parse_map(text.encode(), "model.yaml")
    assert parsed.map is not None, "\n".join(map(str, parsed.faults))
    return parsed.map


def record_words(number: int, fields: str = "plain") -> tuple[int, ...]:
    """Three words: the number as the meter counts it, something of it, and more of it or the check."""
    first = (number % WRAPS, (number * 7919) % 65521)
    if fields == "checked":
        sum_ = crc16(b"".join(word.to_bytes(2, "big") for word in first))
        return (*first, int.from_bytes(sum_.to_bytes(2, "little"), "big"))
    return (*first, (number * 104_729 + 5) % 65521)


class Meter:
    """Registers, files and a queue over places of three words; `written` records so far, from number 0."""

    def __init__(self, register_map: RegisterMap, fields: str = "plain", written: int = 0) -> None:
        memory = register_map.log_memory
        assert memory is not None
        self.memory, self.fields = memory, fields
        self.way = type(memory.reached_by).__name__
        self.written = 0
        self.places: dict[int, tuple[int, ...]] = {}
        self.pointer = 0
        self.shown = 0  # where the window really stands, while the pointer is slow
        self.slow = 0
        self.requests: list[Request] = []
        for _ in range(written):
            self.record()

    def record(self, words: tuple[int, ...] | None = None) -> None:
        """One more record: stopped when full, or over the oldest."""
        if self.written < CAPACITY or self.memory.is_ring:
            self.places[self.written % CAPACITY] = words or record_words(self.written, self.fields)
            self.written += 1

    @property
    def oldest(self) -> int:
        return max(0, self.written - CAPACITY)

    def answer(self, request: Request) -> Reply:
        self.requests.append(request)
        match request:
            case ReadRequest(table=table, start=start, count=count):
                return self._read(table, start, count)
            case WriteRegisters(start=start, words=words):
                self._write(start, words)
                return Written(start, len(words))
            case WriteRegister(address=address, word=word):
                self._write(address, (word,))
                return Written(address, 1)
            case ReadWriteRegisters():
                self._write(request.write_start, request.words)
                return self._read(Table.HOLDING, request.read_start, request.read_count)
            case ReadFileRecords(parts=parts):
                return FileRecords(tuple(self._file(one.file, one.record, one.registers) for one in parts))
            case ReadQueue():
                first = self._number(self.pointer)
                numbers = range(first, min(first + 10, self.written))
                return Queue(tuple(word for n in numbers for word in self.places[n % CAPACITY]))
        raise AssertionError(request)

    def _number(self, told: int) -> int:
        """The record meant by a told number: the one held, or about to come."""
        return self.oldest + (told - self.oldest) % WRAPS

    def _write(self, start: int, words: tuple[int, ...]) -> None:
        assert start in (10, 100), "only the pointer may be written"
        (self.pointer,) = words
        if not self.slow:
            self.shown = self.pointer

    def _read(self, table: Table, start: int, count: int) -> Reply:
        if self.slow:
            self.slow -= 1
        elif self.way == "ByWindow" and 100 <= start < 200 and self.shown != self.pointer:
            self.shown = self.pointer
        words = tuple(self._word(table, address) for address in range(start, start + count))
        window = self.memory.reached_by
        if getattr(window, "advance", False) and start <= 109 < start + count:
            self.pointer = self.shown = (self.shown + 3) % WRAPS
        return Registers(words)

    def _word(self, table: Table, address: int) -> int:
        if table is Table.INPUT and address in (50, 51, 52):
            return (self.oldest % WRAPS, self.written % WRAPS, self.written - self.oldest)[address - 50]
        if table is Table.HOLDING and address == 10:
            return self.pointer
        if table is Table.HOLDING and 100 <= address < 110:
            if address == 100:
                return self.shown
            number = self._number(self.shown) + (address - 101) // 3
            return self.places.get(number % CAPACITY, (0, 0, 0))[(address - 101) % 3]
        if table is Table.INPUT and address >= 1000:
            bank = self.pointer * 5 if getattr(self.memory.reached_by, "bank", None) else 0
            return self.places.get(bank + (address - 1000) // 3, (0, 0, 0))[(address - 1000) % 3]
        return 0xDEAD  # bridged; nobody may take it for a record

    def _file(self, file: int, record: int, registers: int) -> tuple[int, ...]:
        counts_records = getattr(self.memory.reached_by, "counts", "") == "records"
        first = (file - 3) * 5 + (record if counts_records else record // 3)
        places = [self.places.get(first + i, (0, 0, 0)) for i in range(registers // 3)]
        return tuple(word for place in places for word in place)


def drive(walker: Walker, reply_to: Callable[[Request], Reply | None], most: int = 2000) -> list[object]:
    """Answer every step; all batches in the order they were handed out."""
    batches: list[object] = []
    for _ in range(most):
        step = walker.next()
        if step is None:
            return batches
        batches += walker.take(reply_to(step.request)).batches
    raise AssertionError("the walk does not end")


@pytest.fixture(scope="session")
def model() -> SimpleNamespace:
    """Everything above, for tests that cannot import it."""
    return SimpleNamespace(
        Meter=Meter, map_of=map_of, map_text=map_text, record_words=record_words, drive=drive,
        capacity=CAPACITY, busy=ExceptionReply(3, 6),
    )  # fmt: skip
