"""The four ways to the records as the meter carries them out: window, registers, files, queue.

What a way needs written (pointer, bank, number wanted) is kept as it was told; which record it means is
decided when something is read, for by then the ring may have turned.
"""

from collections.abc import Callable, Sequence

import numpy as np

from protocols.modbus import limits
from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.requests import FilePart
from protocols.modbus.tables import Table
from protocols.register_map.memory_model import (
    ByFiles,
    ByQueue,
    ByRegisters,
    ByWindow,
    Counts,
    LogMemory,
    Way,
)
from protocols.register_map.model import Number
from protocols.values.words import WordTable
from simulators.log_memory.faults import MemoryFaults
from simulators.log_memory.faults.kinds import Fault
from simulators.log_memory.kept.store import Store
from simulators.refused import Refused, Silent

Span = tuple[Table, int, int]  # table, first address, the one behind the last


class Reached:
    """The records of `store` by the way its map gives. `registers` is their width as it is now."""

    def __init__(self, store: Store, faults: MemoryFaults, before: Callable[[Sequence[int]], None]) -> None:
        """`before` is told the numbers of records about to be read; it may refuse, or erase them."""
        self.store = store
        self.memory: LogMemory = store.memory
        self.way: Way = store.memory.reached_by
        self.registers = store.memory.record.registers
        self.touched: Sequence[int] = ()  # the records of the last read
        self._faults = faults
        self._before = before
        self._told = 0
        self._old = 0  # where the window stands while it lags behind what it was told
        self._lag = 0  # reads until it follows

    # ---- the register that says which records are wanted

    @property
    def pointer(self) -> Number | None:
        """That register; None where a way needs none."""
        match self.way:
            case ByWindow(pointer=pointer):
                return pointer
            case ByRegisters(bank=bank):
                return bank
            case ByQueue(next_wanted=wanted):
                return wanted
        return None

    @property
    def echo(self) -> Number | None:
        """The register that tells where the window stands."""
        return self.way.echo if isinstance(self.way, ByWindow) else None

    def standing(self) -> int:
        """What pointer and echo tell."""
        return self._old if self._lag else self._told

    def point(self, told: int) -> None:
        """Take a written number, unless something goes wrong with it."""
        wanted = self._wanted(told)
        if self._faults.due(Fault.POINTER_IGNORED, wanted):
            return
        lag = self._faults.due(Fault.WINDOW_LAGS, wanted)
        if lag is not None:
            self._old, self._lag = self.standing(), int(lag.number)
        self._told = told

    def read_ended(self) -> None:
        """A read of the window, or of where it stands, is over."""
        self._lag = max(0, self._lag - 1)

    def _wanted(self, told: int) -> Sequence[int]:
        """The records that a pointer may be about."""
        if isinstance(self.way, ByRegisters):
            per_bank = self.way.records_per_bank or self.memory.capacity
            return self._numbers(told * per_bank, min(per_bank, self.memory.capacity - told * per_bank))
        first = self._meant(told)
        return range(first, first + (self.way.records if isinstance(self.way, ByWindow) else 1))

    def _meant(self, told: int) -> int:
        """The extended number of the record meant by a told one: the nearest to those that are held."""
        assert self.pointer is not None
        modulus = self.memory.modulus(self.pointer)
        earliest = max(0, self.store.next - modulus // 2 - self.memory.capacity // 2)
        return earliest + (told - earliest) % modulus

    # ---- window and registers

    def span(self) -> Span | None:
        """The registers in which records are read."""
        match self.way:
            case ByWindow() as way:
                size = way.records * self.registers
            case ByRegisters() as way:
                size = (way.records_per_bank or self.memory.capacity) * self.registers
            case _:
                return None
        return way.data.table, way.data.address, min(way.data.address + size, limits.ADDRESSES)

    def prepare(self, offset: int, count: int) -> None:
        """Let happen what happens before `read`: an echo in the same reply then tells of the same window."""
        self.touched = self._touched(*self._rows(offset, count))
        self._move_pointer()
        self._before(self.touched)

    def read(self, offset: int, count: int) -> list[int]:
        """`count` registers from `offset` on within `span`; `prepare` comes first."""
        first, records = self._rows(offset, count)
        numbers = self._touched(first, records)
        if isinstance(self.way, ByWindow):
            words = self.store.read(self._meant(self.standing()) + first, records)
            if self.way.advance and offset + count == self.way.records * self.registers:
                self._move_on(self.way)
        else:
            words = self.store.words[self._place(first) : self._place(first) + records].copy()
        self._lose_reply()
        return self._flat(self._altered(words, numbers), offset % self.registers, count)

    def _move_pointer(self) -> None:
        """Another master points elsewhere, before what is about to be read."""
        if self.pointer is not None and (fault := self._faults.due(Fault.POINTER_MOVES, self.touched)):
            self._told = (self._told + int(fault.number)) % self.memory.modulus(self.pointer)

    def _rows(self, offset: int, count: int) -> tuple[int, int]:
        """The first record, within window or bank, that these registers touch, and how many they touch."""
        first = offset // self.registers
        return first, (offset + count - 1) // self.registers - first + 1

    def _touched(self, first: int, records: int) -> Sequence[int]:
        """The extended numbers of records of the window, or at places of the bank."""
        if isinstance(self.way, ByWindow):
            at = self._meant(self.standing()) + first
            return range(at, at + records)
        return self._numbers(self._place(first), records)

    def _place(self, first: int) -> int:
        """The place of a record of the bank."""
        way = self.way
        if not isinstance(way, ByRegisters) or way.records_per_bank is None:
            return first
        return self._told * way.records_per_bank + first

    def _move_on(self, way: ByWindow) -> None:
        if not self._faults.due(Fault.REPEATS, self.touched):
            self._told = (self._told + way.records) % self.memory.modulus(way.pointer)

    def _numbers(self, first: int, count: int) -> Sequence[int]:
        """The extended numbers of records at places; Refused (02) behind the last."""
        if first + count > self.memory.capacity:
            raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        return [self.store.number_at(place) for place in range(first, first + count)]

    # ---- files and queue

    def file(self, part: FilePart) -> tuple[int, ...]:
        """What one sub-request of function 20 asks for; Refused (02) beyond the last file or record."""
        way = self.way
        assert isinstance(way, ByFiles)
        words_in = part.record * (self.registers if way.counts is Counts.RECORDS else 1)
        first, skip = divmod(words_in, self.registers)
        records = (skip + part.registers + self.registers - 1) // self.registers
        file = part.file - way.first_file
        if file < 0 or first + records > way.records_per_file or part.registers < 1:
            raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        place = file * way.records_per_file + first
        self.touched = self._numbers(place, records)
        self._before(self.touched)
        words = self._altered(self.store.words[place : place + records].copy(), self._numbers(place, records))
        self._lose_reply()
        return tuple(self._flat(words, skip, part.registers))

    def queue(self, address: int) -> tuple[int, ...]:
        """What function 24 gives at `address`: whole records, as many as a reply holds."""
        way = self.way
        assert isinstance(way, ByQueue)
        if address != way.address:
            raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        self.touched = self._queued(way)
        self._move_pointer()
        self._before(self.touched)
        self.touched = self._queued(way)
        first, count = self.touched.start, len(self.touched)
        words = self._altered(self.store.read(first, count), self.touched)
        if way.advance and not self._faults.due(Fault.REPEATS, self.touched):
            self.store.take(count)
        self._lose_reply()
        return tuple(self._flat(words, 0, count * self.registers))

    def _queued(self, way: ByQueue) -> range:
        first = self.store.oldest if way.advance else self._meant(self.standing())
        return range(
            first, max(first, min(first + limits.QUEUE_REGISTERS // self.registers, self.store.next))
        )

    # ---- what goes wrong with what is read

    def _altered(self, words: WordTable, numbers: Sequence[int]) -> WordTable:
        fault = self._faults.due(Fault.OTHER_VALUE, numbers)
        if fault is not None and len(words):
            self.store.spoil_value(words, 0 if fault.at is None else numbers.index(fault.at))
        return words

    def _flat(self, words: WordTable, skip: int, count: int) -> list[int]:
        """Registers in a row, as wide as records are now: words of a new layout come first."""
        more = self.registers - words.shape[1]
        if more > 0:
            words = np.concatenate([np.zeros((len(words), more), np.uint16), words], axis=1)
        flat: list[int] = words[:, : self.registers].reshape(-1).tolist()
        return flat[skip : skip + count]

    def _lose_reply(self) -> None:
        if self._faults.due(Fault.REPLY_LOST, self.touched):
            raise Silent
