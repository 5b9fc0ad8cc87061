"""In what two maps differ that reading could not tell apart."""

from collections.abc import Iterator

from protocols.register_map.model import Number, RegisterMap, Value

#: Differences named; the rest is counted.
NAMED_MOST = 5


def differences(one: RegisterMap, other: RegisterMap) -> str:
    """`differ only in unit of flow (m3/h, l/min)`, `do not differ in what is read`, as a clause."""
    found = list(_all(one, other))
    if not found:
        return "do not differ in what is read"
    more = len(found) - NAMED_MOST
    return f"differ only in {', '.join(found[:NAMED_MOST])}" + (f" and {more} more" if more > 0 else "")


def _all(one: RegisterMap, other: RegisterMap) -> Iterator[str]:
    if one.meter != other.meter:
        yield f"the meter's name ({one.meter}, {other.meter})"
    first, second = ({value.name: value for value in each.values()} for each in (one, other))
    for name in first.keys() & second.keys():
        yield from _of_value(first[name], second[name])
    for mine, theirs, meter in ((first, second, "first"), (second, first, "second")):
        only = [name for name in mine if name not in theirs]
        if only:
            yield f"{', '.join(only)}, only in the {meter}"
    if one.log_memory != other.log_memory:
        yield "the log memory"


def _of_value(one: Value, other: Value) -> Iterator[str]:
    for what, mine, theirs in (
        ("register", _place(one.number), _place(other.number)),
        ("type", _type(one.number), _type(other.number)),
        ("scale", one.number.scale, other.number.scale),
        ("offset", one.number.offset, other.number.offset),
        ("unit", one.unit or "none", other.unit or "none"),
        ("range", _span(one), _span(other)),
    ):
        if mine != theirs:
            yield f"{what} of {one.name} ({mine}, {theirs})"
    for what, same in (
        ("further parts", (one.plus, one.times_ten_to) == (other.plus, other.times_ten_to)),
        ("told unit", one.told_unit == other.told_unit),
        ("codes", (one.codes, one.bits, one.steps) == (other.codes, other.bits, other.steps)),
        ("reference conditions", (one.reference, one.basis) == (other.reference, other.basis)),
        ("gauge or absolute", one.gauge == other.gauge),
        ("not_available", one.not_available == other.not_available),
        ("totaliser", one.totaliser == other.totaliser),
    ):
        if not same:
            yield f"{what} of {one.name}"


def _place(number: Number) -> str:
    return f"{number.table} {number.address}"


def _type(number: Number) -> str:
    return f"{number.kind}, {number.word_order} word, {number.byte_order} byte"


def _span(value: Value) -> str:
    return "none" if value.range is None else f"{value.range.low} to {value.range.high}"
