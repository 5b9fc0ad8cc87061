"""Reads what ways of reading are tried on: the registers of every value, their neighbours, the other table.

Only read requests are made here; nothing is ever written. A meter that refuses a neighbour is asked for less;
one that stays silent on neighbours is soon asked for none. The words of a value come from one read wherever
the meter gives it, so that no reading is put together from two instants.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from protocols.errors import RequestError
from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.register_map.memory_model import ByWindow
from protocols.register_map.model import Column, RegisterMap, Value
from readout.diagnose.readings.ways import MOST_WORDS, OTHER_TABLE
from readout.errors import FellShort

#: After so many reads of neighbours without any reply none is asked for: each costs the line a silence.
SILENT_MOST = 3
#: After so many damaged replies only the map's own registers are asked for: the line is at fault.
DAMAGED_MOST = 10

Span = tuple[int, int]  # first address, the one behind the last


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a read: `words` as sent, None where the meter did not give them.

    `silent`: nothing came at all; `damaged`: something came that cannot be trusted; else the meter refused.
    `text` says what came.
    """

    words: Sequence[int] | None
    silent: bool = False
    text: str = ""
    damaged: bool = False


#: Reads registers with so many 16-bit words behind each address.
Ask = Callable[[ReadRequest, int], Answer]


@dataclass
class Sampler:
    """Reads one meter for one map. `notes` are sentences about what was odd on the way."""

    map: RegisterMap
    ask: Ask
    notes: list[str] = field(default_factory=list)
    #: Why a value's own registers were not given, by its name.
    why: dict[str, str] = field(default_factory=dict)
    _refused: set[tuple[Table, int]] = field(default_factory=set)
    _silent: int = 0
    _damaged: int = 0
    _good: int = 0
    _noted: bool = False
    _last: str = ""
    #: Reads that brought words, by the name of the value they were made for.
    _given: dict[str, list[tuple[Table, Span, int]]] = field(default_factory=dict)
    _for: str = ""

    @property
    def heard(self) -> bool:
        """Whether the meter has given anything at all."""
        return self._good > 0

    @property
    def last(self) -> str:
        """Why the last read that brought nothing did so."""
        return self._last

    def again(self, value: Value) -> Mapping[Column, int]:
        """The registers that were given for a value before, read once more by the same requests."""
        found: dict[Column, int] = {}
        self._for = value.name
        for table, span, each in list(self._given.get(value.name, ())):
            found |= self._read(table, span, each) or {}
        return found

    def registers(self, value: Value) -> Mapping[Column, int]:
        """The words of a value's registers, of their neighbours and of the other table, as far as given.

        Raises:
            FellShort: the meter has given nothing so far, and stays silent, or is not understood.
        """
        found: dict[Column, int] = {}
        self._for = value.name
        each = value.number.words // value.number.addresses
        for span in _spans(value):
            table = value.number.table
            assert table is not None
            words = self._around(table, span, each)
            found |= words
            if not all(Column(table, address) in words for address in range(*span)):
                self.why.setdefault(value.name, self._last)
            if self._good == 0 and self._silent + self._damaged >= SILENT_MOST:
                raise FellShort(self._last)
            elsewhere = OTHER_TABLE[table]
            barred = any(self._barred(elsewhere, address) for address in range(*span))
            if self._may_go_on and not barred and self._read(elsewhere, span, each) is not None:
                found |= self._around(elsewhere, span, each)
        return found

    @property
    def _may_go_on(self) -> bool:
        """Whether registers beside those of the map are still worth asking for."""
        return self._silent < SILENT_MOST and self._damaged < DAMAGED_MOST

    def _around(self, table: Table, span: Span, each: int) -> dict[Column, int]:
        """The span with as many neighbours as the meter gives, in one read where it does."""
        low, high = span
        if not self._may_go_on:
            return self._read(table, span, each) or {}
        wide = low - 1, max(high + 1, low + MOST_WORDS // each + 1)
        for tried in dict.fromkeys(self._within(table, one, span, each) for one in _windows(span, wide)):
            words = self._read(table, tried, each)
            if words is not None:
                return words | self._singly(table, wide, tried, each)
            if not self._may_go_on:
                return self._read(table, span, each) or {}
        return self._singly(table, wide, (low - 1, low - 1), each)

    def _singly(self, table: Table, wide: Span, had: Span, each: int) -> dict[Column, int]:
        """The rest of a window, register by register, as far as it joins what was had."""
        found: dict[Column, int] = {}
        for address in [*range(had[1], wide[1]), *range(had[0] - 1, wide[0] - 1, -1)]:
            if self._may_go_on and self._within(table, (address, address + 1), (address, address), each):
                found |= self._read(table, (address, address + 1), each) or {}
        return found

    def _within(self, table: Table, window: Span, span: Span, each: int) -> Span:
        """A window cut to addresses that exist, may be read and are not known to be refused."""
        low, high = max(window[0], 0), min(window[1], 0x10000)
        while low < span[0] and any(self._barred(table, at) for at in range(low, span[0])):
            low += 1
        while high > span[1] and any(self._barred(table, at) for at in range(span[1], high)):
            high -= 1
        most = 2000 if table.of_bits else self.map.wire.registers_per_read // each
        while high - low > most and high > span[1]:
            high -= 1
        while high - low > most and low < span[0]:
            low += 1
        return low, high

    def _barred(self, table: Table, address: int) -> bool:
        """Whether the register is refused, or reading it would move the meter's log memory on."""
        if (table, address) in self._refused:
            return True
        memory = self.map.log_memory
        way = None if memory is None else memory.reached_by
        if memory is None or not isinstance(way, ByWindow) or not way.advance or table is not way.data.table:
            return False
        return 0 <= address - way.data.address < way.records * memory.record.registers

    def _read(self, table: Table, span: Span, each: int) -> dict[Column, int] | None:
        """The words of one read; None where the meter did not give them."""
        if span[0] >= span[1]:
            return None
        try:
            request = ReadRequest(table, span[0], span[1] - span[0])
        except RequestError as error:
            self._last = str(error)
            return None
        answer = self.ask(request, each)
        if answer.words is None:
            self._last = answer.text
            self._silent += answer.silent
            self._damaged += answer.damaged
            if not (answer.silent or answer.damaged) and request.count == 1:
                self._refused.add((table, span[0]))
            self._note_end()
            return None
        self._good += 1
        self._note_end()
        asked = self._given.setdefault(self._for, [])
        if (table, span, each) not in asked:
            asked.append((table, span, each))
        places = [(address, word) for address in range(*span) for word in range(each)]
        return {
            Column(table, address, word): sent
            for (address, word), sent in zip(places, answer.words, strict=True)
        }

    def _note_end(self) -> None:
        if self._noted or not self._good or self._may_go_on:
            return
        self._noted = True
        why = "the meter stays silent on registers beside those of the map"
        if self._damaged >= DAMAGED_MOST:
            why = f"{self._damaged} replies were damaged (see `line test`)"
        self.notes.append(f"{why}, so no more of them were asked for")


def _windows(span: Span, wide: Span) -> Iterable[Span]:
    """What is asked for in turn: all, without the register before, without those behind, the value alone."""
    yield wide
    yield span[0], wide[1]
    yield wide[0], span[1]
    yield span


def _spans(value: Value) -> list[Span]:
    """The stretches that each come from one read: one, or one a part where the parts are read apart."""
    parts = [(part.address, part.address + part.addresses) for part in value.parts()]
    if value.apart:
        return list(dict.fromkeys(parts))
    return [(min(low for low, _ in parts), max(high for _, high in parts))]
