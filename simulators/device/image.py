"""Which registers a meter has: the addresses its map lists, and the gaps between that a read may cross."""

from collections.abc import Mapping
from itertools import pairwise

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.tables import Table
from protocols.register_map.model import Column, RegisterMap, Value


class Refused(Exception):  # noqa: N818  (a meter refuses; that is no error of the program)
    """The meter answers with an exception; `code` is its number."""

    def __init__(self, code: ExceptionCode) -> None:
        super().__init__(code.name)
        self.code = code


class Image:
    """The addresses of one meter. What lies in them is not kept here."""

    def __init__(self, register_map: RegisterMap) -> None:
        """Take every register that the map speaks of; gaps up to `wire.bridge` answer zeros."""
        self.tables: frozenset[Table] = frozenset(t for t, found in register_map.listed().items() if found)
        self.owners: Mapping[Column, tuple[Value, ...]] = _owners(register_map)
        self.writable: Mapping[Column, Value] = {
            column: value for value in register_map.settings if value.writable for column in value.columns()
        }
        self._words = _word_counts(register_map)

    def columns(self, table: Table, start: int, count: int) -> list[Column]:
        """Every word behind `count` addresses from `start` on, as sent; Refused (02) outside the image."""
        found = []
        for address in range(start, start + count):
            words = self._words.get((table, address))
            if words is None:
                raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
            found += [Column(table, address, word) for word in range(words)]
        return found


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


def _word_counts(register_map: RegisterMap) -> Mapping[tuple[Table, int], int]:
    """16-bit words behind each address; an address in a gap has as many as the one before the gap."""
    found: dict[tuple[Table, int], int] = {}
    for value in (*register_map.values(), *register_map.told_conditions()):
        for column in value.columns():
            if column.table is not None:
                place = (column.table, column.address)
                found[place] = max(found.get(place, 1), column.word + 1)
    for table, listed in register_map.listed().items():
        addresses = sorted(listed)
        for before, after in pairwise(addresses):
            if after - before - 1 <= register_map.wire.bridge:
                for gap in range(before + 1, after):
                    found[table, gap] = found[table, before]
    return found
