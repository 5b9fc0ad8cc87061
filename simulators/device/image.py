"""Which registers a meter has: the addresses its map lists, and the gaps between that a read may cross."""

from collections.abc import Mapping, Sequence

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.tables import Table
from protocols.register_map.model import Column, RegisterMap, Value
from simulators.refused import Refused

Span = tuple[Table, int, int]  # table, first address, the one behind the last
#: Longer runs of registers are kept as a run, which costs time at every read instead of memory.
LONG = 1024
#: Reads whose registers are remembered.
REMEMBERED = 256


class Image:
    """The addresses of one meter. What lies in them is not kept here."""

    def __init__(self, register_map: RegisterMap, memory: Sequence[Span] = ()) -> None:
        """Take every register that the map speaks of, and those of its log memory.

        Gaps of up to `wire.bridge` addresses between them answer zeros.
        """
        self.owners: Mapping[Column, tuple[Value, ...]] = _owners(register_map)
        self.writable: Mapping[Column, Value] = {
            column: value for value in register_map.settings if value.writable for column in value.columns()
        }
        self._found: dict[tuple[Table, int, int], tuple[Column, ...]] = {}
        self._words = _word_counts(register_map)
        self._spans: dict[Table, list[tuple[int, int]]] = {table: [] for table in Table}
        tables = set()
        for table, listed in register_map.listed().items():
            own = {(first, end) for of, first, end in memory if of is table}
            spans = sorted({(address, address + 1) for address in listed} | own)
            self._bridge(table, spans, register_map.wire.bridge)
            for first, end in own:
                self._take(table, first, end)
            tables |= {table} if spans else set()
        self.tables: frozenset[Table] = frozenset(tables)

    def columns(self, table: Table, start: int, count: int) -> Sequence[Column]:
        """Every word behind `count` addresses from `start` on, as sent; Refused (02) outside the image."""
        wanted = (table, start, count)
        if wanted not in self._found:  # masters ask for the same registers over and over
            if len(self._found) > REMEMBERED:
                self._found.clear()
            self._found[wanted] = self._columns(table, start, count)
        return self._found[wanted]

    def _columns(self, table: Table, start: int, count: int) -> tuple[Column, ...]:
        found: list[Column] = []
        for address in range(start, start + count):
            words = self._words.get((table, address))
            if words is None:
                if not any(first <= address < end for first, end in self._spans[table]):
                    raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
                words = 1
            found += [Column(table, address, word) for word in range(words)]
        return tuple(found)

    def _take(self, table: Table, first: int, end: int) -> None:
        """A run of the memory's registers: one by one, but for those that are tens of thousands."""
        if end - first > LONG:
            self._spans[table].append((first, end))
            return
        for address in range(first, end):
            self._words.setdefault((table, address), 1)

    def _bridge(self, table: Table, spans: Sequence[tuple[int, int]], bridge: int) -> None:
        """Fill the gaps; an address there has as many words as the one before the gap."""
        end = None
        for first, behind in spans:
            if end is not None and 0 < first - end <= bridge:
                for gap in range(end, first):
                    self._words[table, gap] = self._words.get((table, end - 1), 1)
            end = behind if end is None else max(end, behind)


def _owners(register_map: RegisterMap) -> Mapping[Column, tuple[Value, ...]]:
    """Who speaks for each word; settings and identity come before readings, told conditions last."""
    values = (
        *register_map.settings,
        *register_map.identity,
        *register_map.readings,
        *register_map.told_conditions(),
    )
    found: dict[Column, tuple[Value, ...]] = {}
    for value in values:
        for column in value.columns():
            found[column] = (*found.get(column, ()), value)
    return found


def _word_counts(register_map: RegisterMap) -> dict[tuple[Table, int], int]:
    """16-bit words behind each address that the map lists."""
    found: dict[tuple[Table, int], int] = {}
    for value in (*register_map.values(), *register_map.told_conditions()):
        for column in value.columns():
            if column.table is not None:
                place = (column.table, column.address)
                found[place] = max(found.get(place, 1), column.word + 1)
    return found
