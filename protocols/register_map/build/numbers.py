"""Checked entries to models: addresses as sent on the wire, defaults filled in.

What cannot be built gives None, and its fault is told. A value whose scale is faulty is still built, so
that the checks between values can speak of where it lies; the map as a whole is refused all the same.
"""

from collections.abc import Mapping as MappingOf
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple, TypeVar

from protocols.modbus.tables import Table
from protocols.register_map.document import Scalar
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms import Entries, Key
from protocols.register_map.grammar import line
from protocols.register_map.grammar import values as g
from protocols.register_map.model import (
    WORDS,
    Kind,
    Number,
    Order,
    Serial,
    Value,
    Wire,
)

T = TypeVar("T")

#: The digit printed before a register's number, by table.
TABLE_DIGITS = {Table.COIL: 0, Table.DISCRETE: 1, Table.INPUT: 3, Table.HOLDING: 4}


class _Unclear(NamedTuple):
    """Why a printed number is no address: the finding's name, and its text."""

    name: str
    text: str


@dataclass
class Building:
    """What every part of the map needs: the report, how registers are counted, the orders of the wire."""

    report: Report
    numbering: line.Numbering | None = line.Numbering.FROM_0
    word_order: Order = Order.HIGH_FIRST
    byte_order: Order = Order.HIGH_FIRST
    bytes_per_register: int = 2


@dataclass(frozen=True)
class Built:
    """One value with its entries, and where its name and each of its numbers stand in the text."""

    value: Value
    name: Scalar
    entries: Entries
    #: The numbers of `Value.parts()`, each with its entries.
    parts: tuple[tuple[Number, Entries], ...]
    #: Conditions told by registers, each with its entries.
    told: tuple[tuple[Number, Entries], ...]
    #: `as NAME` wherever it stands in this value: the name and its place; key None is the value's own.
    taken: MappingOf[int | None, Scalar]


def build_serial(entries: Entries | None) -> Serial:
    """The factory settings; None for what is not said."""
    if entries is None:
        return Serial()
    return Serial(
        entries.get(line.BAUD_RATE), entries.get(line.PARITY), _whole(entries.get(line.DATA_BITS)),
        _whole(entries.get(line.STOP_BITS)), entries.get(line.UNIT_ADDRESS),
    )  # fmt: skip


def build_wire(entries: Entries | None, building: Building) -> Wire:
    """What the meter can stand, with defaults; sets how `building` reads registers."""
    if entries is None:
        return Wire()
    named = entries.get(line.NUMBERING)
    building.numbering = (
        line.Numbering(named) if named else None if entries.has(line.NUMBERING) else line.Numbering.FROM_0
    )
    building.word_order = _order(entries, g.WORD_ORDER, Order.HIGH_FIRST)
    building.byte_order = _order(entries, g.BYTE_ORDER, Order.HIGH_FIRST)
    building.bytes_per_register = _whole(entries.get(g.BYTES_PER_REGISTER)) or 2
    default = Wire()
    reply = _seconds(entries, line.REPLY_WITHIN, default.reply_within)
    tolerate = entries.get(line.TOLERATE)
    for name, node in () if tolerate is None else zip(tolerate.values, tolerate.nodes, strict=True):
        if name not in line.TOLERATED:
            known = ", ".join(line.TOLERATED)
            building.report.fault(
                node,
                f"{quoted(name)} is no departure that can be tolerated; known: {known}",
                "unknown departure",
            )
    return Wire(
        numbering=str(building.numbering or line.Numbering.FROM_0),
        word_order=building.word_order,
        byte_order=building.byte_order,
        registers_per_read=_or(entries.get(line.REGISTERS_PER_READ), default.registers_per_read),
        registers_per_file_read=_or(
            entries.get(line.REGISTERS_PER_FILE_READ), default.registers_per_file_read
        ),
        bridge=_or(entries.get(line.BRIDGE), default.bridge),
        reply_within=reply,
        late_within=_seconds(entries, line.LATE_WITHIN, max(reply, 1.0)),
        pause=_seconds(entries, line.PAUSE, default.pause),
        after_open=_seconds(entries, line.AFTER_OPEN, default.after_open),
        write_with=_whole(entries.get(line.WRITE_WITH)) or default.write_with,
        tolerate=() if tolerate is None else tolerate.values,
    )


def build_number(entries: Entries, building: Building, default: Kind | None = None) -> Number | None:
    """One number: its address as sent (or its place in a record), its width and orders.

    `default` is the kind of a register whose type need not be said.
    """
    table = next((table for table, key in g.TABLES.items() if entries.has(key)), None)
    if table is None and not entries.has(g.AT):
        return None
    if table is not None and table.of_bits:
        return _build_bit(table, entries, building)
    if not entries.has(g.TYPE) and default is None:
        what = "a field" if table is None else table.register
        building.report.fault(
            entries.node, f"{what} needs a type; one of {', '.join(g.KINDS)}", "type missing"
        )
    kind = Kind(entries.get(g.TYPE) or ((not entries.has(g.TYPE) and default) or Kind.BIT))
    words = None if kind is Kind.BIT else _words(kind, entries, building.report)
    address = entries.get(g.AT) if table is None else address_of(table, g.TABLES[table], entries, building)
    if address is None or words is None:
        return None
    addresses = words if table is None else _addresses(kind, words, address, table, entries, building)
    if addresses is None:
        return None
    # a text and a calendar are written register by register: only their own key turns them round
    by_register = kind in (Kind.TEXT, Kind.CALENDAR)
    return Number(
        table, address, kind, words, addresses,
        _order(entries, g.WORD_ORDER, Order.HIGH_FIRST if by_register else building.word_order),
        _order(entries, g.BYTE_ORDER, Order.HIGH_FIRST if kind is Kind.CALENDAR else building.byte_order),
        _or(entries.get(g.SCALE), Decimal(1)), _or(entries.get(g.OFFSET), Decimal(0)),
    )  # fmt: skip


def _addresses(
    kind: Kind, words: int, address: int, table: Table, entries: Entries, building: Building
) -> int | None:
    """How many addresses a number of so many words takes; None where they do not come out."""
    each = _whole(entries.get(g.BYTES_PER_REGISTER)) or building.bytes_per_register
    if each == 4 and words % 2:
        building.report.fault(
            entries.at(g.TYPE),
            f"{kind} has {words * 2} bytes, but each address of this meter holds 4; choose a type of 32 or "
            "64 bits, or say bytes_per_register: 2 here",
            "odd width behind four bytes",
        )
        return None
    addresses = words // 2 if each == 4 else words
    if address + addresses - 1 > g.HIGHEST_ADDRESS:
        building.report.fault(
            entries.at(g.TABLES[table]),
            f"{kind} at {address} ends at {address + addresses - 1}; the last address is {g.HIGHEST_ADDRESS}",
            "beyond the last address",
        )
        return None
    return addresses


def _build_bit(table: Table, entries: Entries, building: Building) -> Number | None:
    for key in (g.TYPE, g.WORD_ORDER, g.BYTE_ORDER, g.BYTES_PER_REGISTER, g.SCALE, g.OFFSET):
        if entries.has(key):
            building.report.fault(
                entries.at(key),
                f"a {table} is a single bit and takes no {key.name}; take it out",
                "key means nothing here",
            )
    address = address_of(table, g.TABLES[table], entries, building)
    return None if address is None else Number(table, address, Kind.BIT, 1, 1)


def _words(kind: Kind, entries: Entries, report: Report) -> int | None:
    """Width in 16-bit words; told where `registers` or `layout` are missing or disagree with it."""
    registers = entries.get(g.REGISTERS)
    if kind is Kind.TEXT:
        if not entries.has(g.REGISTERS):
            report.fault(
                entries.node,
                "a text needs its length; write registers: 6 or as many as it has",
                "text without length",
            )
        return registers
    if kind is Kind.CALENDAR:
        layout = entries.get(g.LAYOUT)
        if not entries.has(g.LAYOUT):
            report.fault(
                entries.node,
                "a calendar needs a layout such as [minute/second, day/hour, year/month]",
                "calendar unclear",
            )
        width = None if layout is None else len(entries.at(g.LAYOUT).items)  # type: ignore[union-attr]  # a list was read
    elif kind is Kind.CRC16 and not entries.has(g.AT):
        report.fault(
            entries.at(g.TYPE),
            "crc16 checks a record of the log memory; it is no value of its own",
            "checksum misplaced",
        )
        return None
    else:
        width = WORDS[kind]
    if registers is not None and width is not None and registers != width:
        report.fault(
            entries.at(g.REGISTERS),
            f"{kind} takes {width} registers, not {registers}; leave the key out",
            "length disagrees with type",
        )
    return width


def address_of(table: Table, key: Key[int], entries: Entries, building: Building) -> int | None:
    """The address as sent, from the number under `key` as the manual prints it."""
    printed = entries.get(key)
    if printed is None:
        return None
    digit = TABLE_DIGITS[table]
    found: int | _Unclear
    if building.numbering is line.Numbering.TABLE_DIGIT:
        found = _without_digit(printed, table, digit)
    elif building.numbering is line.Numbering.FROM_1:
        none = "register 0 does not exist under `numbering: from 1`; the first is 1"
        found = printed - 1 if printed else _Unclear("register 0 counted from 1", none)
    elif building.numbering is line.Numbering.FROM_0 and (_has_digit(printed, digit)):
        place = printed - digit * (10_000 if printed < 100_000 else 100_000)
        as_sent = f"address {printed} itself (then say `numbering: from 0, large numbers meant`)"
        other = as_sent if printed <= g.HIGHEST_ADDRESS else "an address beyond 65535, which does not exist"
        found = _Unclear(
            "two meanings of a number",
            f"{printed} under `numbering: from 0` may mean {table} register number {place} printed with its "
            f"table digit, address {place - 1} (then say `numbering: table digit`), or {other}",
        )
    else:
        found = printed
    if isinstance(found, int) and found > g.HIGHEST_ADDRESS:
        past = f"address {found} is past the last one; addresses go from 0 to {g.HIGHEST_ADDRESS}"
        found = _Unclear("beyond the last address", past)
    if isinstance(found, _Unclear):
        building.report.fault(entries.at(key), found.text, found.name)
        return None
    if building.numbering is line.Numbering.FROM_1 and _has_digit(printed, digit):
        building.report.warn(
            entries.at(key), f"{printed} under `numbering: from 1` is address {printed - 1}; "
            "if 4 or 3 is the table digit, say `numbering: table digit`", "table digit under from 1",
        )  # fmt: skip
    return found


def _has_digit(printed: int, digit: int) -> bool:
    """True for a number that looks as printed with this table digit: 40001 to 49999, 400001 to 465536."""
    return digit > 0 and (
        digit * 10_000 < printed < (digit + 1) * 10_000
        or digit * 100_000 < printed <= digit * 100_000 + 65_536
    )


def _without_digit(printed: int, table: Table, digit: int) -> int | _Unclear:
    if digit == 0:
        none = "coil 0 does not exist under `numbering: table digit`; the first is 1"
        return printed - 1 if printed else _Unclear("register 0 counted from 1", none)
    if _has_digit(printed, digit):
        return printed - digit * (10_000 if printed < 100_000 else 100_000) - 1
    owner = next((other for other, its in TABLE_DIGITS.items() if _has_digit(printed, its)), None)
    if owner is not None:
        both = f"{printed} is printed for the {owner} table, but the key says {table}; one of them is wrong"
        return _Unclear("digit of another table", both)
    return _Unclear(
        "no table digit",
        f"{printed} has no table digit; under `numbering: table digit` {table.register} is {digit}0001 to "
        f"{digit}9999 or {digit}00001 to {digit}65536",
    )


def _or(found: T | None, default: T) -> T:
    return default if found is None else found


def _whole(word: str | None) -> int | None:
    return None if word is None else int(word)


def _order(entries: Entries, key: Key[str], default: Order) -> Order:
    word = entries.get(key)
    return default if word is None else Order(word)


def _seconds(entries: Entries, key: Key[Decimal], default: float) -> float:
    found = entries.get(key)
    return default if found is None else float(found)
