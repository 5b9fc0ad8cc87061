"""A row for each run of registers: the manual's own number, the address on the wire, and the meaning."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from protocols.modbus.requests import READ_FUNCTIONS
from protocols.modbus.tables import Table
from protocols.register_map.model import Condition, Kind, Number, Reference, RegisterMap, Value
from protocols.register_map.numbering import as_printed
from protocols.register_map.orders import letters

#: Kinds whose words make no number: written register by register.
_NO_NUMBER = frozenset({Kind.TEXT, Kind.CALENDAR})
#: The function that writes one coil (AP V1.1b3, 6.5).
WRITE_COIL = 5


@dataclass(frozen=True, slots=True)
class Row:
    """A run of registers, as words for a reader; what does not apply is empty.

    `printed` as the map's numbering writes it, `sent` as on the wire from 0 (in a record: its place there).
    `part` is what a further part of a value is for: added, power of ten, unit. `table`, `first` and `count`
    are those of `sent`, None in a record.
    """

    name: str
    printed: str
    sent: str
    function: str
    type: str
    order: str
    formula: str
    unit: str
    range: str
    reference: str
    access: str
    remarks: tuple[str, ...]
    part: str = ""
    table: Table | None = None
    first: int = 0
    count: int = 0


class Rows:
    """Makes the rows of one map."""

    def __init__(self, register_map: RegisterMap) -> None:
        self._map = register_map
        self._numbering = register_map.wire.numbering

    def printed(self, table: Table, address: int, count: int = 1) -> str:
        """Register numbers as the manual prints them; hexadecimal where the map writes that one so."""
        first = as_printed(table, address, self._numbering)
        last = as_printed(table, address + count - 1, self._numbering)
        written = rf"\b{table}['\"]?:\s*0x0*{first:X}\b"
        if re.search(written, self._map.text, re.IGNORECASE):
            first_text, last_text = f"0x{first:04X}", f"0x{last:04X}"
        else:
            first_text, last_text = str(first), str(last)
        return first_text if count == 1 else f"{first_text}-{last_text}"

    def place(self, table: Table, address: int, count: int = 1) -> str:
        """As printed and as sent, for a sentence: `40021 (holding 20)`."""
        printed, sent = self.printed(table, address, count), _sent(table, address, count)
        return sent if sent == f"{table} {printed}" else f"{printed} ({sent})"

    def of_value(self, value: Value) -> Iterator[Row]:
        """One row for the value, one for each further part."""
        unit = value.unit or ("told by the meter" if value.told_unit else "")
        if unit and value.gauge and not unit.endswith("(g)"):
            unit += "(g)"
        function, access = self._access(value)
        yield self._row(
            value.name, value.number, unit=unit, function=function, access=access,
            span="" if value.range is None else f"{value.range.low} to {value.range.high}",
            reference=self._conditions(value), remarks=self._remarks(value),
        )  # fmt: skip
        for part in value.plus:
            yield self._row("", part, part="added")
        if value.times_ten_to is not None:
            yield self._row("", value.times_ten_to, part="power of ten")
        if value.told_unit is not None:
            yield self._row("", value.told_unit.number, part="unit", remarks=self._units(value))

    def of_number(self, name: str, number: Number, *, written: bool = False) -> Row:
        """A row for registers of the log memory; some are written while records are fetched."""
        if not written or number.table is None:
            return self._row(name, number)
        function = f"{READ_FUNCTIONS[number.table]}, {self._map.wire.write_with}"
        return self._row(
            name, number, function=function, access="read, write", remarks=["written unasked when fetching"]
        )

    def told(self, reference: Reference) -> str:
        """Reference conditions in words: as written, or the registers that tell them."""
        both = (("temperature", reference.temperature), ("pressure", reference.pressure))
        return ", ".join(self._condition(name, one) for name, one in both)

    def _row(
        self, name: str, number: Number, *, unit: str = "", function: str = "", access: str = "read",
        span: str = "", reference: str = "", remarks: Sequence[str] = (), part: str = "",
    ) -> Row:  # fmt: skip
        table, first, count = number.table, number.address, number.addresses
        if table is None:
            printed, function, access = "", "", ""
            sent = f"{first}" if count == 1 else f"{first}-{first + count - 1}"
        else:
            printed, sent = self.printed(table, first, count), _sent(table, first, count)
            function = function or str(READ_FUNCTIONS[table])
        wide = () if number.words == count else (f"{16 * number.words // count} bits behind each address",)
        return Row(
            name, printed, sent, function, str(number.kind), order_of(number), formula_of(number), unit,
            span, reference, access, (*remarks, *wide), part, table, first, count,
        )  # fmt: skip

    def _access(self, value: Value) -> tuple[str, str]:
        table = value.number.table
        if table is None:
            return "", ""
        reads = READ_FUNCTIONS[table]
        if not value.writable:
            return str(reads), "read"
        writes = WRITE_COIL if table is Table.COIL else self._map.wire.write_with
        return f"{reads}, {writes}", "read, write"

    def _conditions(self, value: Value) -> str:
        if value.reference is not None:
            return self.told(value.reference)
        return f"{value.basis} conditions" if value.basis else ""

    def _condition(self, name: str, one: Condition) -> str:
        if one.told is None:
            return one.text or ""
        number = one.told.number
        assert number.table is not None  # conditions are told in registers of the meter
        return f"{name} in {self.place(number.table, number.address, number.addresses)}"

    def _units(self, value: Value) -> list[str]:
        told = value.told_unit
        assert told is not None
        return [
            f"{code} = {unit}{f' at {self.told(told.references[code])}' if code in told.references else ''}"
            for code, unit in told.codes.items()
        ]

    def _remarks(self, value: Value) -> list[str]:
        found = ["parts read apart"] if value.apart else []
        missing = [str(number) for number in value.not_available.numbers]
        missing += [" ".join(f"{word:04X}" for word in words) for words in value.not_available.words]
        if missing:
            found.append(f"no reading: {', '.join(missing)}")
        if value.codes:
            found.append(", ".join(f"{number} = {word}" for number, word in value.codes.items()))
        if value.bits:
            found.append(", ".join(f"bit {bit} = {word}" for bit, word in value.bits.items()))
        if value.layout:
            words = [high if high == low else f"{high}/{low}" for high, low in value.layout]
            found.append(f"{', '.join(words)}, {value.coding}")
        if value.totaliser is not None:
            end = value.totaliser.rolls_over_at
            found.append("running total" + (f", rolls over at {end}" if end is not None else ""))
        if value.steps:
            found.append(f"only {', '.join(str(step) for step in value.steps)}")
        if value.number.kind is Kind.CRC16:
            found.append(f"over the record's words before it, {value.crc_order}")
        return found


def order_of(number: Number) -> str:
    """The bytes as they arrive, A the most significant; empty for bits, and for words that make no number."""
    if number.kind in (Kind.BIT, Kind.CRC16):
        return ""
    if number.kind in _NO_NUMBER:
        return letters(1, number.word_order, number.byte_order) + " each"
    return letters(number.words, number.word_order, number.byte_order)


def formula_of(number: Number) -> str:
    """How the raw number becomes the value: `raw x 0.1 - 40`; empty for what is no number."""
    if number.kind in _NO_NUMBER or number.kind in (Kind.BIT, Kind.UNIX_TIME, Kind.CRC16):
        return ""
    formula = "raw" if number.scale == 1 else f"raw x {_plain(number.scale)}"
    if number.offset:
        formula += f" {'+' if number.offset > 0 else '-'} {_plain(abs(number.offset))}"
    return formula


def _plain(number: Decimal) -> str:
    return f"{number:f}" if abs(number.adjusted()) < 7 else str(number)


def _sent(table: Table, address: int, count: int) -> str:
    return f"{table} {address}" if count == 1 else f"{table} {address}-{address + count - 1}"
