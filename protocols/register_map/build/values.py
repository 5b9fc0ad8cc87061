"""Checked entries to whole values: units, references, codes, what is not available."""

import re
from decimal import Decimal

from protocols.register_map.build.numbers import Building, Built, build_number
from protocols.register_map.checks.kinds import holds
from protocols.register_map.document import Scalar
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms import Entries, Items, exact_number
from protocols.register_map.grammar import values as g
from protocols.register_map.model import (
    Condition,
    NotAvailable,
    Number,
    Order,
    Reference,
    Span,
    ToldUnit,
    Totaliser,
    Value,
)
from protocols.units import unit_of

_HEX_WORDS = re.compile(r"[0-9A-Fa-f]{4}(?: [0-9A-Fa-f]{4})*\Z")
_NUMBER = re.compile(r"[-+0-9.]")

Told = list[tuple[Number, Entries]]


def build_value(name: Scalar, entries: Entries, building: Building) -> Built | None:
    """One value of the map; None where it cannot be said what it reads."""
    number = build_number(entries, building)
    plus = _parts(entries, building)
    exponent_entries = entries.get(g.TIMES_TEN_TO)
    exponent = None if exponent_entries is None else build_number(exponent_entries, building)
    told: Told = []
    taken: dict[int | None, Scalar] = {}
    unit, told_unit, unit_entries = _unit(entries, building, told, taken)
    reference = _reference(entries, building, told, taken, None)
    if number is None:
        return None
    codes, bits, steps = entries.get(g.CODES), entries.get(g.BITS), entries.get(g.STEPS)
    value = Value(
        name=name.text,
        number=number,
        plus=tuple(part for part, _ in plus),
        times_ten_to=exponent,
        apart=entries.get(g.PARTS) == "apart",
        unit=unit,
        told_unit=told_unit,
        codes=codes or {},
        bits=bits or {},
        steps=() if steps is None else steps.values,
        not_available=_not_available(entries, number, building.report),
        range=_span(entries, building.report),
        quantity=entries.get(g.QUANTITY),
        basis=entries.get(g.BASIS),
        reference=reference,
        gauge=entries.get(g.GAUGE) is True or (unit or "").endswith("(g)"),
        totaliser=_totaliser(entries),
        layout=_layout(entries, building.report),
        coding=entries.get(g.CODING),
        crc_order=Order(entries.get(g.ORDER) or Order.LOW_FIRST),
        writable=entries.get(g.WRITE) == "allowed",
        line=name.line,
    )
    parts = [(number, entries), *plus]
    if exponent is not None and exponent_entries is not None:
        parts.append((exponent, exponent_entries))
    if told_unit is not None and unit_entries is not None:
        parts.append((told_unit.number, unit_entries))
    return Built(value, name, entries, tuple(parts), tuple(told), taken)


def _parts(entries: Entries, building: Building) -> Told:
    items = entries.get(g.PLUS)
    found: Told = []
    for each in () if items is None else items.values:
        number = build_number(each, building)
        if number is not None:
            found.append((number, each))
    return found


def _unit(
    entries: Entries, building: Building, told: Told, taken: dict[int | None, Scalar]
) -> tuple[str | None, ToldUnit | None, Entries | None]:
    unit = entries.get(g.UNIT)
    if not isinstance(unit, Entries):
        return unit, None, None
    place = unit.get(g.UNIT_REGISTER) or unit
    beside = [key.name for key in (g.TYPE, g.WORD_ORDER, g.BYTE_ORDER, g.BYTES_PER_REGISTER) if unit.has(key)]
    if unit.has(g.UNIT_REGISTER) and beside:
        building.report.fault(
            unit.node,
            f"beside register stands {', '.join(beside)}; write it inside register",
            "key means nothing here",
        )
    number = build_number(place, building)
    codes: dict[int, str] = {}
    references: dict[int, Reference] = {}
    for code, meant in (unit.get(g.UNIT_CODES) or {}).items():
        if not isinstance(meant, Entries):
            codes[code] = meant
            continue
        word = meant.get(g.CODE_UNIT)
        if word is not None:
            codes[code] = word
        reference = _reference(meant, building, told, taken, code)
        if reference is not None:
            references[code] = reference
    return None, None if number is None else ToldUnit(number, codes, references), place


def _reference(
    entries: Entries, building: Building, told: Told, taken: dict[int | None, Scalar], code: int | None
) -> Reference | None:
    """The reference that stands here; `as NAME` is left to `references.resolve` and noted in `taken`."""
    found = entries.get(g.REFERENCE)
    if isinstance(found, str):
        node = entries.at(g.REFERENCE)
        taken[code] = Scalar(found.removeprefix("as "), node.line, node.column)
        return None
    if not isinstance(found, Entries):
        return None
    temperature = _condition(found.get(g.TEMPERATURE), "reference_temperature", building, told)
    pressure = _condition(found.get(g.PRESSURE), "reference_pressure", building, told)
    return None if temperature is None or pressure is None else Reference(temperature, pressure)


def _condition(found: str | Entries | None, name: str, building: Building, told: Told) -> Condition | None:
    if isinstance(found, str):
        return Condition(text=found)
    if found is None:
        return None
    number = build_number(found, building)
    unit = found.get(g.TOLD_UNIT_TEXT)
    if number is None:
        return None
    told.append((number, found))
    meant = unit_of(unit.removesuffix("(a)")) if unit is not None else None
    wanted = "temperature" if name.endswith("temperature") else "pressure"
    if unit is not None and (meant is None or meant.dimension != wanted):
        building.report.fault(
            found.at(g.TOLD_UNIT_TEXT), f"{quoted(unit)} is no unit of {wanted}", "unit of another quantity"
        )
    return Condition(told=Value(name=name, number=number, unit=unit, line=found.node.line))


def _not_available(entries: Entries, number: Number, report: Report) -> NotAvailable:
    items: Items[str] | None = entries.get(g.NOT_AVAILABLE)
    if items is None:
        return NotAvailable()
    numbers: list[Decimal] = []
    words: list[tuple[int, ...]] = []
    for node in items.nodes:
        assert isinstance(node, Scalar)
        if _HEX_WORDS.match(node.text) and not (node.plain and node.text.isdecimal()):
            found = tuple(int(word, 16) for word in node.text.split())
            if len(found) == number.words:
                words.append(found)
            else:
                wanted = " ".join(["7F7F", "FFFF", "FFFF", "FFFF"][: number.words])
                report.fault(
                    node,
                    f"{len(found)} words, but {number.kind} has {number.words}; "
                    f"write such as '{wanted}', as sent",
                    "words of another width",
                )
        elif node.plain and _NUMBER.match(node.text):
            raw = exact_number(node, report, "write the raw number, before scaling")
            wrong = "" if raw is None else holds(number.kind, raw)
            if wrong:
                report.fault(node, wrong, "type cannot hold it")
            elif raw is not None:
                numbers.append(raw)
        else:
            report.fault(
                node,
                f"{quoted(node.text)} is neither a raw number such as 65535 nor register words in hex "
                "such as '7F7F FFFF'",
                "no raw form",
            )
    return NotAvailable(tuple(numbers), tuple(words))


def _span(entries: Entries, report: Report) -> Span | None:
    items = entries.get(g.RANGE)
    if items is None or not items.whole:
        return None
    low, high = items.values
    if low >= high:
        report.fault(
            entries.at(g.RANGE),
            f"the range begins at {low} and ends at {high}; write the lower one first",
            "range upside down",
        )
        return None
    return Span(low, high)


def _totaliser(entries: Entries) -> Totaliser | None:
    found = entries.get(g.TOTALISER)
    if isinstance(found, Entries):
        return Totaliser(found.get(g.ROLLS_OVER_AT))
    return Totaliser() if found else None


def _layout(entries: Entries, report: Report) -> tuple[tuple[str, str], ...]:
    items = entries.get(g.LAYOUT)
    if items is None:
        return ()
    found: list[tuple[str, str]] = []
    seen: set[str] = set()
    for text, node in zip(items.values, items.nodes, strict=True):
        high, low = text.split("/")
        for word in (high, low):
            if word not in g.CALENDAR_WORDS:
                near = report.nearest(word, g.CALENDAR_WORDS)
                report.fault(
                    node,
                    f"{quoted(word)} is no part of a moment{near}; {', '.join(g.CALENDAR_WORDS)}",
                    "calendar unclear",
                )
            elif word in seen:
                report.fault(node, f"{word} stands twice in the layout", "calendar unclear")
            elif word != "none":
                seen.add(word)
        found.append((high, low))
    missing = [word for word in ("year", "month", "day") if word not in seen]
    if missing and items.whole:
        report.fault(
            entries.at(g.LAYOUT),
            f"the layout has no {' and no '.join(missing)}; a moment needs its date",
            "calendar unclear",
        )
    return tuple(found)
