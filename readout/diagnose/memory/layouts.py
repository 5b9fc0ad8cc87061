"""Ways to read a memory besides the map's own: orders turned round, other epochs, codings and widths.

A map says how words become numbers; each layout here says what of it to turn. The map's own layout turns
nothing. Only what can make a difference in this memory is tried.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from itertools import chain, combinations

from protocols.register_map.memory_model import ByQueue, ByRegisters, ByWindow, LogMemory, SessionTable, Way
from protocols.register_map.model import Kind, Number, Order, Value

#: Wider records than the map says are tried up to so many registers more.
WIDER = 4
#: The year that unix time counts from.
UNIX = 1970
#: Years whose 1 January 00:00 UTC clocks count seconds from, with those seconds since 1970: the Unix epoch
#: first; 2000, 1990 and 1980 are common in instruments, 1904 and 1900 come from old computers and from NTP.
EPOCHS = {UNIX: 0, 2000: 946_684_800, 1990: 631_152_000, 1980: 315_532_800, 1904: -2_082_844_800,
          1900: -2_208_988_800}  # fmt: skip


class Turn(Enum):
    """What of the map is read the other way; the value says it to a person."""

    WORDS = "the other word order"
    BYTES = "the other byte order"
    CALENDAR_BYTES = "the bytes of the calendar the other way"
    CODING = "the other coding of the calendar"


#: What readings have in common with the memory.
ORDERS = frozenset({Turn.WORDS, Turn.BYTES})


@dataclass(frozen=True, slots=True)
class Layout:
    """One way to read: what is turned, the year the clock's seconds count from, registers of a record."""

    turned: frozenset[Turn]
    epoch: int
    registers: int

    def is_own(self, memory: LogMemory) -> bool:
        """Whether the map says just this."""
        return not self.turned and self.epoch == UNIX and self.registers == memory.record.registers

    def number(self, number: Number) -> Number:
        """A number's registers as this layout reads them."""
        if number.kind is Kind.TEXT:
            return number
        if number.kind is Kind.CALENDAR:
            turned = Turn.CALENDAR_BYTES in self.turned
            return replace(number, byte_order=_other(number.byte_order)) if turned else number
        if Turn.WORDS in self.turned and number.words > 1:
            number = replace(number, word_order=_other(number.word_order))
        if Turn.BYTES in self.turned and number.kind is not Kind.CRC16:
            number = replace(number, byte_order=_other(number.byte_order))
        return number

    def value(self, value: Value) -> Value:
        """A field as this layout reads it."""
        coding = value.coding
        if Turn.CODING in self.turned and coding is not None:
            coding = "binary" if coding == "bcd" else "bcd"
        told = value.told_unit
        return replace(
            value,
            number=self.number(value.number),
            plus=tuple(self.number(part) for part in value.plus),
            times_ten_to=None if value.times_ten_to is None else self.number(value.times_ten_to),
            told_unit=None if told is None else replace(told, number=self.number(told.number)),
            coding=coding,
        )

    def memory(self, memory: LogMemory) -> LogMemory:
        """The whole memory, its counters and the way to its records too, as this layout reads it."""
        record = replace(
            memory.record,
            registers=self.registers,
            fields=tuple(self.value(field) for field in memory.record.fields),
            told=self._optional(memory.record.told),
        )
        return replace(
            memory,
            record=record,
            oldest=self._optional(memory.oldest),
            next=self._optional(memory.next),
            count=self._optional(memory.count),
            sessions=None if memory.sessions is None else self._sessions(memory.sessions),
            reached_by=self._way(memory),
        )

    def _optional(self, number: Number | None) -> Number | None:
        return None if number is None else self.number(number)

    def _sessions(self, table: SessionTable) -> SessionTable:
        fields = {name: self.value(field) for name, field in table.fields.items()}
        return replace(table, count=self.number(table.count), fields=fields)

    def _way(self, memory: LogMemory) -> Way:
        way = memory.reached_by
        if isinstance(way, ByWindow):
            return replace(way, pointer=self.number(way.pointer), echo=self._optional(way.echo))
        if isinstance(way, ByRegisters):
            return replace(way, bank=self._optional(way.bank))
        if isinstance(way, ByQueue):
            return replace(way, next_wanted=self._optional(way.next_wanted))
        return way


def layouts(memory: LogMemory) -> Iterator[Layout]:
    """Every layout worth trying, the map's own first."""
    numbers = list(_numbers(memory))
    kinds = {number.kind for number in numbers}
    turns = []
    plain = [number for number in numbers if number.kind not in (Kind.TEXT, Kind.CALENDAR, Kind.CRC16)]
    if any(number.words > 1 for number in plain):
        turns.append(Turn.WORDS)
    if plain:
        turns.append(Turn.BYTES)
    if Kind.CALENDAR in kinds:
        turns += [Turn.CALENDAR_BYTES, Turn.CODING]
    epochs = list(EPOCHS) if Kind.UNIX_TIME in kinds else [UNIX]
    every = chain.from_iterable(combinations(turns, count) for count in range(len(turns) + 1))
    for turned in every:
        for epoch in epochs:
            for registers in widths(memory):
                yield Layout(frozenset(turned), epoch, registers)


def widths(memory: LogMemory) -> list[int]:
    """Widths to try: the map's own, and others where a record tells by itself whether it is one."""
    record = memory.record
    own = record.registers
    if record.time is None and record.number is None and record.check is None:
        return [own]
    ends = [part.address + part.words for field in record.fields for part in field.parts()]
    return [own, *(width for width in range(max(ends), own + WIDER + 1) if width != own)]


def _numbers(memory: LogMemory) -> Iterator[Number]:
    fields = [*memory.record.fields]
    if memory.sessions is not None:
        fields += memory.sessions.fields.values()
    for field in fields:
        yield from field.parts()


def orders_of(memory: LogMemory) -> tuple[set[Order], set[Order]]:
    """The word orders and byte orders that the numbers of a record and of a session have."""
    plain = [n for n in _numbers(memory) if n.kind not in (Kind.TEXT, Kind.CALENDAR, Kind.CRC16)]
    return {n.word_order for n in plain if n.words > 1}, {n.byte_order for n in plain}


def _other(order: Order) -> Order:
    return Order.LOW_FIRST if order is Order.HIGH_FIRST else Order.HIGH_FIRST
