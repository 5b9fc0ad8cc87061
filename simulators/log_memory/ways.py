"""The four ways to the records as the meter carries them out: window, registers, files, queue.

What a way needs written (pointer, bank, number wanted) is kept as it was told; which record it means is
decided when something is read, for by then the ring may have turned.
"""

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
from simulators.log_memory.store import Store
from simulators.refused import Refused

Span = tuple[Table, int, int]  # table, first address, the one behind the last


class Reached:
    """The records of `store` by the way its map gives. `told` is what the pointer register holds."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.memory: LogMemory = store.memory
        self.way: Way = store.memory.reached_by
        self.registers = store.memory.record.registers
        self.told = 0

    @property
    def pointer(self) -> Number | None:
        """The register that is written to say which records are wanted; None where a way needs none."""
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

    def meant(self, told: int) -> int:
        """The extended number of the record meant by a told one: one that is held, or comes next."""
        pointer = self.pointer
        assert pointer is not None
        oldest = self.store.oldest
        return oldest + (told - oldest) % self.memory.modulus(pointer)

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

    def read(self, offset: int, count: int) -> list[int]:
        """`count` registers from `offset` on within `span`."""
        first, skip = divmod(offset, self.registers)
        last = (offset + count - 1) // self.registers
        if isinstance(self.way, ByWindow):
            words = self.store.read(self.meant(self.told) + first, last - first + 1)
            if self.way.advance and offset + count == self.way.records * self.registers:
                self._move_on(self.way)
        else:
            bank = self.told if isinstance(self.way, ByRegisters) and self.way.bank is not None else 0
            per_bank = getattr(self.way, "records_per_bank", None) or self.memory.capacity
            words = self._places(bank * per_bank + first, last - first + 1)
        flat: list[int] = words.reshape(-1).tolist()
        return flat[skip : skip + count]

    def _move_on(self, way: ByWindow) -> None:
        self.told = (self.told + way.records) % self.memory.modulus(way.pointer)

    def _places(self, first: int, count: int) -> WordTable:
        if first + count > self.memory.capacity:
            raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        return self.store.words[first : first + count]

    def file(self, part: FilePart) -> tuple[int, ...]:
        """What one sub-request of function 20 asks for; Refused (02) beyond the last file or record."""
        way = self.way
        if not isinstance(way, ByFiles):
            raise Refused(ExceptionCode.ILLEGAL_FUNCTION)
        words_in = part.record * (self.registers if way.counts is Counts.RECORDS else 1)
        first, skip = divmod(words_in, self.registers)
        records = (skip + part.registers + self.registers - 1) // self.registers
        file = part.file - way.first_file
        if file < 0 or first + records > way.records_per_file or part.registers < 1:
            raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        words = self._places(file * way.records_per_file + first, records)
        return tuple(words.reshape(-1)[skip : skip + part.registers].tolist())

    def queue(self, address: int) -> tuple[int, ...]:
        """What function 24 gives at `address`: whole records, as many as a reply holds."""
        way = self.way
        if not isinstance(way, ByQueue):
            raise Refused(ExceptionCode.ILLEGAL_FUNCTION)
        if address != way.address:
            raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        first = self.store.oldest if way.advance else self.meant(self.told)
        count = max(0, min(limits.QUEUE_REGISTERS // self.registers, self.store.next - first))
        words = tuple(self.store.read(first, count).reshape(-1).tolist())
        if way.advance:
            self.store.take(count)
        return words
