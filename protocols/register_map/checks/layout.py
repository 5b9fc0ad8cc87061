"""Where values lie among each other: overlaps, and whether the parts of a value fit into one read."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from protocols.modbus.tables import Table
from protocols.register_map.build.numbers import Built
from protocols.register_map.document import Node
from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries
from protocols.register_map.grammar import values as g
from protocols.register_map.model import Number, Wire

Addresses = Mapping[Table, frozenset[int]]


@dataclass(frozen=True)
class _Held:
    """Who uses a register first. `is_main`: as the number itself, not as its exponent, unit or reference."""

    number: Number
    name: str
    is_main: bool


def check_overlaps(values: Sequence[Built], report: Report) -> None:
    """Two values on one register: a fault, or a warning where both start at the same one."""
    first: dict[tuple[Table | None, int], _Held] = {}
    for built, number, entries, is_main in _numbers(values):
        own = _Held(number, built.value.name, is_main)
        addresses = range(number.address, number.address + number.addresses)
        met = [first.setdefault((number.table, address), own) for address in addresses]
        others = [other for other in met if other != own]
        astride = [other for other in others if other.number.address != number.address]
        node = entries.at(g.AT if number.table is None else g.TABLES[number.table])
        if astride:
            _tell_overlap(own, astride[0], node, report)
        elif others:
            _tell_same_start(own, others[0], node, report)


def _tell_overlap(own: _Held, other: _Held, node: Node, report: Report) -> None:
    number, held = own.number, other.number
    address = max(number.address, held.address)
    report.fault(
        node,
        f"overlaps '{other.name}': both use the {_registers(number)} {address}, but "
        f"'{other.name}' ({held.kind}) starts at {held.address} and '{own.name}' ({number.kind}) at "
        f"{number.address}; check the addresses and types",
        "overlap",
    )


def _tell_same_start(own: _Held, other: _Held, node: Node, report: Report) -> None:
    """One exponent, unit or reference register for several values is how meters are built: no word of it."""
    if own.is_main and other.is_main:
        where = "word" if own.number.table is None else "address"
        report.warn(
            node,
            f"reads the same registers as '{other.name}', from {where} {own.number.address} on",
            "same registers twice",
        )
    elif own.number.kind is not other.number.kind:
        report.warn(
            node,
            f"'{other.name}' reads the {_registers(own.number)} {own.number.address} as "
            f"{other.number.kind}, this as {own.number.kind}",
            "read as two types",
        )


def _numbers(values: Iterable[Built]) -> Iterable[tuple[Built, Number, Entries, bool]]:
    for built in values:
        for index, (number, entries) in enumerate(built.parts):
            yield built, number, entries, index == 0
        for number, entries in built.told:
            yield built, number, entries, False


def _registers(number: Number) -> str:
    return "record's word" if number.table is None else f"{number.table} register at address"


def _table(number: Number) -> Table:
    assert number.table is not None
    return number.table


def listed(values: Iterable[Built]) -> Addresses:
    """Every address the map speaks of; a read may span them for nothing."""
    found: dict[Table, set[int]] = {table: set() for table in Table}
    for _, number, _, _ in _numbers(values):
        found[_table(number)].update(range(number.address, number.address + number.addresses))
    return {table: frozenset(addresses) for table, addresses in found.items()}


def check_reach(built: Built, wire: Wire, spoken_of: Addresses, report: Report) -> None:
    """One read must hold each part alone, and all parts together unless the map says `parts: apart`."""
    for number, entries in (*built.parts, *built.told):
        most = wire.registers_per_read
        if not _table(number).of_bits and number.words > most:
            node: Node = entries.at(g.REGISTERS if entries.has(g.REGISTERS) else g.TYPE)
            report.fault(
                node,
                f"{number.kind} is {number.words} registers wide, but registers_per_read is {most}; "
                "no read can hold it",
                "wider than a read",
            )
            return
    if built.value.apart:
        if len(built.parts) == 1:
            report.fault(
                built.entries.at(g.PARTS),
                "parts: apart, but the value has one part only; take the key out",
                "parts apart of one",
            )
        return
    why = _apart([number for number, _ in built.parts], wire, spoken_of)
    if why:
        report.fault(
            built.name,
            f"the parts of '{built.value.name}' cannot come from one read: {why}; "
            "if the meter has them so, say `parts: apart`",
            "parts of several reads",
        )


def _apart(parts: Sequence[Number], wire: Wire, spoken_of: Addresses) -> str:
    """Why parts cannot come from one read, or nothing."""
    tables = sorted({_table(part).value for part in parts})
    if len(tables) > 1:
        return f"they lie in different tables ({' and '.join(tables)})"
    first = min(part.address for part in parts)
    end = max(part.address + part.addresses for part in parts)
    each = max(part.words // part.addresses for part in parts)
    if (end - first) * each > wire.registers_per_read and not _table(parts[0]).of_bits:
        return (
            f"from {first} to {end - 1} they span {(end - first) * each} registers, and "
            f"registers_per_read is {wire.registers_per_read}"
        )
    unlisted = sum(1 for address in range(first, end) if address not in spoken_of[_table(parts[0])])
    if unlisted > wire.bridge:
        return f"{unlisted} unlisted registers lie between them, and bridge is {wire.bridge}"
    return ""
