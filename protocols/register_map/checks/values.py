"""What goes together within one value, and what is allowed but probably not meant."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from protocols.register_map.build.numbers import Built
from protocols.register_map.checks.kinds import FLOATS, INTEGERS, NUMBERS, holds
from protocols.register_map.document import Node
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms import Entries, Key
from protocols.register_map.grammar import values as g
from protocols.register_map.model import Kind
from protocols.units import UNITS, Dimension, Unit, hidden_conditions, unit_of

_QUANTITIES = {dimension.value for dimension in Dimension}


def check_value(built: Built, report: Report) -> None:
    """Faults within one value."""
    _check_kind(built, report)
    _check_parts(built, report)
    _check_words(built, report)
    _check_steps(built, report)
    _check_units(built, report)


def _refuse(entries: Entries, keys: Iterable[Key[Any]], report: Report, why: str) -> None:
    for key in keys:
        if entries.has(key):
            report.fault(entries.at(key), f"{key.name} {why}; take it out", "key means nothing here")


#: Keys that mean nothing for a single bit, and those that mean nothing for what is no number.
_NOT_OF_BITS: tuple[Key[Any], ...] = (
    g.PLUS, g.TIMES_TEN_TO, g.BITS, g.NOT_AVAILABLE, g.RANGE, g.TOTALISER, g.LAYOUT, g.CODING, g.REGISTERS,
    g.UNIT, g.GAUGE,
)  # fmt: skip
_NUMBERS_ONLY: tuple[Key[Any], ...] = (
    g.SCALE, g.OFFSET, g.PLUS, g.TIMES_TEN_TO, g.CODES, g.BITS, g.RANGE, g.TOTALISER, g.UNIT, g.GAUGE,
)  # fmt: skip


def _check_kind(built: Built, report: Report) -> None:
    """Keys that mean nothing for this type."""
    entries, kind = built.entries, built.value.number.kind
    if kind is Kind.BIT:
        _refuse(entries, _NOT_OF_BITS, report, "means nothing for a single bit")
        return
    if kind not in NUMBERS:
        _refuse(entries, _NUMBERS_ONLY, report, f"means nothing for {kind}, which is no number")
    if kind is not Kind.CALENDAR:
        _refuse(entries, (g.LAYOUT, g.CODING), report, f"belongs to a calendar, not to {kind}")
    elif not entries.has(g.CODING):
        report.fault(
            entries.node,
            "a calendar needs its coding; write coding: bcd or coding: binary",
            "calendar unclear",
        )


def _check_parts(built: Built, report: Report) -> None:
    value = built.value
    for number, entries in (*built.parts[:1], *built.told, *built.parts[1:]):
        if number.scale == 0:
            report.fault(
                entries.at(g.SCALE), "scale 0 makes every value 0; leave the key out for 1", "scale 0"
            )
    for number, entries in built.parts[1:]:
        if number is value.number:
            continue
        exponent_or_unit = number is value.times_ten_to or number not in value.plus
        wanted = INTEGERS if exponent_or_unit else NUMBERS
        if number.kind not in wanted:
            kinds = "an integer type" if exponent_or_unit else "a number"
            report.fault(
                entries.at(g.TYPE),
                f"{number.kind} cannot stand here; this part must be {kinds}",
                "part of the wrong type",
            )
    for number, entries in built.told:
        if number.kind not in NUMBERS:
            report.fault(
                entries.at(g.TYPE),
                f"{number.kind} cannot tell a reference condition; take a number",
                "part of the wrong type",
            )


def _check_words(built: Built, report: Report) -> None:
    """Codes and bits stand for the raw number as sent."""
    entries, value = built.entries, built.value
    number = value.number
    if entries.has(g.CODES) and entries.has(g.BITS):
        report.fault(
            entries.at(g.BITS), "a value has codes or bits, not both; take one out", "codes and bits"
        )
    for key in (g.CODES, g.BITS):
        if not entries.has(key) or (number.kind not in NUMBERS and number.kind is not Kind.BIT):
            continue
        if number.kind in FLOATS:
            report.fault(
                entries.at(g.TYPE), f"{key.name} need an integer type, not {number.kind}", "codes of a float"
            )
        why = f"changes the number that the {key.name} are looked up by"
        _refuse(entries, (g.SCALE, g.OFFSET, g.PLUS, g.TIMES_TEN_TO), report, why)
    bits = 16 * number.words
    for bit in value.bits:
        if bit >= bits:
            report.fault(
                entries.at(g.BITS),
                f"bit {bit} lies outside {number.kind}, which has bits 0 to {bits - 1}",
                "bit outside the type",
            )
    _check_codes(value.codes, number.kind, entries.at(g.CODES), report)
    if value.told_unit is not None:
        _check_codes(value.told_unit.codes, value.told_unit.number.kind, entries.at(g.UNIT), report)


def _check_codes(codes: Iterable[int], kind: Kind, node: Node, report: Report) -> None:
    for code in codes:
        wrong = holds(kind, Decimal(code)) if kind in INTEGERS else ""
        if wrong or (kind is Kind.BIT and code not in (0, 1)):
            report.fault(node, f"code {code}: {wrong or 'a single bit is 0 or 1'}", "type cannot hold it")


def _check_steps(built: Built, report: Report) -> None:
    """Each step of a setting must be a raw number the register can take."""
    number = built.value.number
    items = built.entries.get(g.STEPS)
    if items is None or number.kind not in INTEGERS or number.scale == 0:
        return
    for step, node in zip(items.values, items.nodes, strict=True):
        wrong = holds(number.kind, (step - number.offset) / number.scale)
        if wrong:
            report.fault(node, f"step {step} cannot be written: {wrong}", "step cannot be written")


def _check_units(built: Built, report: Report) -> None:
    """Units against reference, gauge and quantity."""
    entries, value = built.entries, built.value
    referred = entries.has(g.REFERENCE)
    unit = None if value.unit is None else _known_unit(value.unit, entries.at(g.UNIT), referred, report)
    told = value.told_unit
    for code, word in () if told is None else told.codes.items():
        assert told is not None
        has = referred or code in told.references or code in built.taken
        _known_unit(word, entries.at(g.UNIT), has, report)
    if unit is None:
        return
    said = entries.get(g.GAUGE)
    if (said is True and str(value.unit).endswith("(a)")) or (
        said is False and str(value.unit).endswith("(g)")
    ):
        report.fault(
            entries.at(g.GAUGE),
            f"unit {value.unit} says the opposite; take one of the two out",
            "gauge and absolute",
        )
    if value.gauge and unit.dimension is not Dimension.PRESSURE:
        report.fault(
            entries.at(g.GAUGE),
            f"gauge belongs to a pressure; {unit.word} is a unit of {unit.dimension}",
            "unit of another quantity",
        )
    if value.quantity in _QUANTITIES and value.quantity != unit.dimension:
        report.fault(
            entries.at(g.UNIT),
            f"{unit.word} is a unit of {unit.dimension}, but the quantity is {value.quantity}",
            "unit of another quantity",
        )


def _known_unit(word: str, node: Node, referred: bool, report: Report) -> Unit | None:  # noqa: FBT001
    unit = unit_of(_without_side(word))
    if unit is None:
        near = report.nearest(word, UNITS)
        report.warn(
            node,
            f"unit {quoted(word)} is not in the table{near}; it is kept as written, but not converted",
            "unknown unit",
        )
    elif unit.conditional and not referred:
        report.fault(node, hidden_conditions(word), "hidden reference conditions")
    return unit


def _without_side(word: str) -> str:
    return word.removesuffix("(g)").removesuffix("(a)").strip()
