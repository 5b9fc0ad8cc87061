"""A register map as frozen data: what a meter offers, where it lies, how its words become values.

Nothing here reads text or decodes words. `protocols.register_map.parse` builds these models from YAML,
`protocols.values` turns words into values by them. Addresses are as sent on the wire, counted from 0,
whatever the manual prints; decimal numbers stay exact (`Decimal`) as written.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from protocols.modbus.tables import Table

if TYPE_CHECKING:
    from protocols.register_map.memory_model import LogMemory


class Order(StrEnum):
    """Which end of a value comes first on the wire."""

    HIGH_FIRST = "high first"
    LOW_FIRST = "low first"


class Kind(StrEnum):
    """How the words of one number are to be read."""

    BIT = "bit"  # a coil or discrete; never written in a map
    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"
    INT48 = "int48"
    UINT48 = "uint48"
    INT64 = "int64"
    UINT64 = "uint64"
    FLOAT32 = "float32"
    FLOAT64 = "float64"
    BCD16 = "bcd16"
    BCD32 = "bcd32"
    SIGN16 = "sign16"  # sign and magnitude
    TEXT = "text"
    UNIX_TIME = "unix time"
    CALENDAR = "calendar"
    CRC16 = "crc16"


#: Width in 16-bit words of every kind with a fixed width.
WORDS: Mapping[Kind, int] = {
    Kind.BIT: 1, Kind.INT16: 1, Kind.UINT16: 1, Kind.BCD16: 1, Kind.SIGN16: 1, Kind.CRC16: 1,
    Kind.INT32: 2, Kind.UINT32: 2, Kind.FLOAT32: 2, Kind.BCD32: 2, Kind.UNIX_TIME: 2,
    Kind.INT48: 3, Kind.UINT48: 3, Kind.INT64: 4, Kind.UINT64: 4, Kind.FLOAT64: 4,
}  # fmt: skip


class Column(NamedTuple):
    """One 16-bit word as it was sent: a table, an address, and which word of that address.

    `table` None means a log record: then `address` counts the words of the record (the field's `at`).
    `word` is 0 except behind the addresses of a meter that keeps 32 bits in each (`bytes_per_register: 4`).
    """

    table: Table | None
    address: int
    word: int = 0


@dataclass(frozen=True, slots=True)
class Number:
    """One run of registers and how it becomes one number (before units, codes and flags).

    The number is raw × scale + offset. `words` is its width in 16-bit words, `addresses` how many Modbus
    addresses that takes: the same, or half of it where the meter keeps 32 bits behind each address.
    """

    table: Table | None
    address: int
    kind: Kind
    words: int
    addresses: int
    word_order: Order = Order.HIGH_FIRST
    byte_order: Order = Order.HIGH_FIRST
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)

    def columns(self) -> tuple[Column, ...]:
        """The words of this number in the order in which they are sent."""
        each = self.words // self.addresses
        return tuple(
            Column(self.table, self.address + i, w) for i in range(self.addresses) for w in range(each)
        )


@dataclass(frozen=True, slots=True)
class Condition:
    """One reference condition: fixed (`text`, as written: "20 degC") or told by the meter (`told`)."""

    text: str | None = None
    told: "Value | None" = None


@dataclass(frozen=True, slots=True)
class Reference:
    """The temperature and pressure a volume is referred to. `taken_from` names the reading of `as NAME`."""

    temperature: Condition
    pressure: Condition
    taken_from: str | None = None


@dataclass(frozen=True, slots=True)
class ToldUnit:
    """A unit the meter tells: `number` is read with the value, `codes` gives the unit each number means."""

    number: Number
    codes: Mapping[int, str]
    references: Mapping[int, Reference] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NotAvailable:
    """Raw forms that mean "no reading": numbers before scaling, or register words as sent."""

    numbers: tuple[Decimal, ...] = ()
    words: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Totaliser:
    """A running total; `rolls_over_at` in the value's own unit, None where the map does not say."""

    rolls_over_at: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """A valid span, both ends included; outside is flagged, never dropped."""

    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Value:
    """One reading, setting, identity entry or record field.

    value = (number + Σ plus) × 10^times_ten_to. With `apart` the parts come from several reads.
    """

    name: str
    number: Number
    plus: tuple[Number, ...] = ()
    times_ten_to: Number | None = None
    apart: bool = False
    unit: str | None = None
    told_unit: ToldUnit | None = None
    codes: Mapping[int, str] = field(default_factory=dict)
    bits: Mapping[int, str] = field(default_factory=dict)
    steps: tuple[Decimal, ...] = ()
    not_available: NotAvailable = NotAvailable()
    range: Span | None = None
    quantity: str | None = None
    basis: str | None = None  # of a velocity: actual | reference
    reference: Reference | None = None
    gauge: bool = False
    totaliser: Totaliser | None = None
    layout: tuple[tuple[str, str], ...] = ()  # calendar: (high byte, low byte) of each register
    coding: str | None = None  # calendar: bcd | binary
    crc_order: Order = Order.LOW_FIRST
    writable: bool = False
    line: int = 0  # where the map's text says it, for messages

    def parts(self) -> tuple[Number, ...]:
        """Every number that must come from the same read: main, further parts, exponent, unit."""
        found = [self.number, *self.plus]
        if self.times_ten_to is not None:
            found.append(self.times_ten_to)
        if self.told_unit is not None:
            found.append(self.told_unit.number)
        return tuple(found)

    def set_bits(self, raw: int, registers: int) -> list[str]:
        """Words of the bits set in `raw`, a number of so many registers, maybe below 0; else as `bit7`."""
        bits = raw % (1 << 16 * registers)
        return [self.bits.get(bit, f"bit{bit}") for bit in range(bits.bit_length()) if bits >> bit & 1]

    def columns(self) -> tuple[Column, ...]:
        """Every word this value needs, each once, parts in their order."""
        return tuple(dict.fromkeys(column for part in self.parts() for column in part.columns()))


@dataclass(frozen=True, slots=True)
class Serial:
    """Factory settings of the meter's serial line; None where the map does not say."""

    baud_rate: int | None = None
    parity: str | None = None  # none | even | odd
    data_bits: int | None = None
    stop_bits: int | None = None
    unit_address: int | None = None


@dataclass(frozen=True, slots=True)
class Wire:
    """What this meter can stand. Times in seconds."""

    numbering: str = "from 0"
    word_order: Order = Order.HIGH_FIRST
    byte_order: Order = Order.HIGH_FIRST
    registers_per_read: int = 125
    registers_per_file_read: int = 121
    bridge: int = 0
    reply_within: float = 0.5
    late_within: float = 1.0
    pause: float = 0.0
    after_open: float = 0.0
    write_with: int = 16
    tolerate: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RegisterMap:
    """The whole map. `text` is its exact text, `sha256` the hash of the file's bytes."""

    meter: str
    map_version: str | None
    fluid: str | None
    principle: str | None
    serial: Serial
    wire: Wire
    readings: tuple[Value, ...]
    settings: tuple[Value, ...]
    identity: tuple[Value, ...]
    text: str
    sha256: str
    log_memory: "LogMemory | None" = None

    def values(self) -> Iterator[Value]:
        """Readings, then settings, then identity."""
        yield from self.readings
        yield from self.settings
        yield from self.identity

    def reading(self, name: str) -> Value:
        """The reading of that name; KeyError where there is none."""
        for value in self.readings:
            if value.name == name:
                return value
        raise KeyError(name)

    def told_conditions(self) -> tuple[Value, ...]:
        """Reference conditions that the meter tells in registers, each once."""
        found: dict[Number, Value] = {}
        for value in self.readings:
            references = [value.reference, *(value.told_unit.references.values() if value.told_unit else ())]
            for reference in references:
                if reference is not None:
                    for condition in (reference.temperature, reference.pressure):
                        if condition.told is not None:
                            found.setdefault(condition.told.number, condition.told)
        return tuple(found.values())

    def listed(self) -> Mapping[Table, frozenset[int]]:
        """Per table, every address that the map speaks of: these may be read; others only as `bridge`."""
        found: dict[Table, set[int]] = {table: set() for table in Table}
        for value in (*self.values(), *self.told_conditions()):
            for column in value.columns():
                if column.table is not None:
                    found[column.table].add(column.address)
        return {table: frozenset(addresses) for table, addresses in found.items()}
