"""What each way makes of the registers that were read, and how the results rank.

Readings that fit the display come first, as equals: nothing here prefers one of them. Ways that read the same
number out of the same registers are one reading: an int32 and a uint32 differ only once the number turns
negative, a uint32 and a uint16 only once it grows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from protocols.register_map.model import Column, Kind, Order, Value
from protocols.values.decode import Words, decode
from protocols.values.flags import FLAG_WORDS, Flag
from readout.diagnose.memory.judging import LARGEST, LATEST_MS, OLDEST_MS, TIMES_SMALLER
from readout.diagnose.readings.display import Display, Fit
from readout.diagnose.readings.moving import restless
from readout.diagnose.readings.ways import EXTENDED, FLOATS, SIGNED, Form, Way, forms, moved, own_way, places

#: Spans that instruments of the trade are built for, by unit; outside needs a second look. Common practice.
USUAL: Mapping[str, tuple[float, float]] = {
    "degC": (-90, 600), "degF": (-130, 1200), "K": (100, 900), "%": (-10, 110), "mA": (-25, 25),
}  # fmt: skip

#: Kinds for a total that grows on for years, and what one in litres or grams hardly comes to: a million m³ in
#: ml is 10^12. Words in a wrong order are mostly far above. Common practice, no source.
_WIDE = frozenset({Kind.INT48, Kind.UINT48, Kind.INT64, Kind.UINT64, Kind.FLOAT64})
_LARGEST_TOTAL = 1e13

#: The words as sent, by their place.
Registers = Mapping[Column, int]


@dataclass(frozen=True, slots=True)
class Reading:
    """One number (or text, or moment [ms since 1970]) and the ways that read it.

    `value` is None where the words are none of that kind. `ways`: the one that turns least first; `places` as
    the first of them counts. `power` is the power of ten missing to what the display shows, 0 where none is.
    `why` says what speaks against it. `later` are the same way's values in further reads; `restless` where
    they do not move as such a value does.
    """

    value: int | float | str | bool | None
    unit: str | None
    flag: Flag
    words: tuple[int, ...]
    ways: tuple[Way, ...]
    fit: Fit = Fit.PLAUSIBLE
    power: int = 0
    why: tuple[str, ...] = ()
    later: tuple[int | float | str | bool | None, ...] = ()
    restless: bool = False

    @property
    def way(self) -> Way:
        """The way that turns least, with the scale that the display calls for."""
        first = self.ways[0]
        if not self.power:
            return first
        return replace(first, form=replace(first.form, scale=_times_ten(first.form.scale, self.power)))


@dataclass(frozen=True, slots=True)
class Tried:
    """One value of the map. `mapped` is as the map reads it, None where its registers were not given.

    `readings` are all that the registers allow, best first; `mapped` is one of them.
    """

    value: Value
    display: Display | None
    mapped: Reading | None
    readings: tuple[Reading, ...]

    @property
    def first(self) -> tuple[Reading, ...]:
        """The best candidates, equals: those that fit the display, else those that come nearest to it.

        Where some of them move as the value should, those that do not are none of them.
        """
        if not self.readings or self.readings[0].fit >= Fit.ODD:
            return ()
        best = self.readings[0]
        return tuple(one for one in self.readings if one.fit is best.fit and one.restless is best.restless)

    @property
    def holds(self) -> bool:
        """Whether the map's own reading is what the display shows, or, without one, makes sense."""
        wanted = Fit.PLAUSIBLE if self.display is None else Fit.NEAR
        return self.mapped is not None and not self.mapped.power and self.mapped.fit <= wanted

    @property
    def in_thousands(self) -> bool:
        """Whether the map's own reading is 1000 times what the display shows, or near that."""
        return self.mapped is not None and self.mapped.power == -3


@dataclass(frozen=True, slots=True)
class Later:
    """Further reads of the registers of one value: what came each time, and how long all took [s]."""

    reads: tuple[Registers, ...] = ()
    seconds: float = 0.0


def tried(
    value: Value, registers: Registers, display: Display | None, now_ms: int, later: Later | None = None
) -> Tried:
    """Every way to read a value, judged and ranked. `now_ms`: the computer's time, ms since 1970 UTC."""
    own = own_way(value)
    later = later or Later()
    first = _read(value, registers)
    by_way = {one.ways[0]: one for one, _ in first}
    series = [
        by_way if read == registers else {one.ways[0]: one for one, _ in _read(value, read)}
        for read in later.reads
    ]
    grouped = [
        _with_later(value, one, series, display, now_ms, later.seconds)
        for one in _grouped(value, first, series)
    ]
    if any(one.fit is Fit.FITS for one in grouped):  # then a slipped point or a moving value explains nothing
        grouped = [one if one.fit is Fit.FITS else _set_aside(one) for one in grouped]
    # Low word first and one register late read nearly the same number: the register as listed comes before.
    grouped.sort(
        key=lambda one: (one.fit, one.restless, one.ways[0].turns(value), one.ways[0].place.shift != 0)
    )
    mapped = next((one for one in grouped if own in one.ways), None)
    return Tried(value, display, mapped, tuple(grouped))


def _with_later(
    value: Value, one: Reading, series: Sequence[Mapping[Way, Reading]], display: Display | None, now_ms: int,
    seconds: float,
) -> Reading:  # fmt: skip
    """A reading judged, with what further reads say of it: the display was read off at some instant."""
    again = [read[one.ways[0]] for read in series if one.ways[0] in read]
    best = _judged(value, one, display, now_ms)
    if not again:
        return best
    if display is not None and best.fit in (Fit.NEAR, Fit.ODD):
        for other in again:
            seen = _judged(value, replace(other, ways=one.ways), display, now_ms)
            best = seen if seen.fit in (Fit.FITS, Fit.NEAR) and seen.fit < best.fit else best
    later = tuple(other.value for other in again)
    why = restless(value, (one.value, *later), seconds)
    best = replace(best, later=later, restless=bool(why))
    if not why:
        return best
    return replace(best, fit=max(best.fit, Fit.ODD) if display is None else best.fit, why=(*best.why, why))


def as_mapped(value: Value, registers: Registers, now_ms: int) -> Reading | None:
    """A value as the map alone reads it, judged without a display; None where words are missing."""
    columns = value.columns()
    if not all(column in registers for column in columns):
        return None
    there = np.ones(1, np.bool_)
    words = {column: Words(np.array([registers[column]], np.uint16), there) for column in columns}
    decoded = decode(value, words)
    data = decoded.data[0]
    plain: Any = data.item() if hasattr(data, "item") else data
    unit = value.unit if decoded.unit is None else decoded.unit[0]
    sent = tuple(registers[column] for column in columns)
    number = plain if decoded.available[0] else None
    one = Reading(number, unit, Flag(decoded.flag[0]), sent, (own_way(value),))
    return _judged(value, one, None, now_ms)


def _set_aside(one: Reading) -> Reading:
    if one.fit in (Fit.SCALED, Fit.NEAR):
        return replace(one, fit=Fit.ODD, power=0, why=("not what the display shows",))
    return one


#: A word that a number comes from: address, place behind it, what was sent.
Used = tuple[int, int, int]


def _read(value: Value, registers: Registers) -> list[tuple[Reading, tuple[Used, ...]]]:
    """Every way over the registers that were given, with the words it comes from.

    All places of one form are decoded together.
    """
    found: list[tuple[Reading, tuple[Used, ...]]] = []
    for form in forms(value):
        base = Way(form, own_way(value).place).value(value)
        columns = base.columns()
        ways, rows = [], []
        for place in places(value):
            sent = [registers.get(moved(column, place)) for column in columns]
            if None not in sent:
                ways.append(Way(form, place))
                rows.append(sent)
        if not rows:
            continue
        table = np.array(rows, np.uint16)
        there = np.ones(len(rows), np.bool_)
        decoded = decode(base, {column: Words(table[:, at], there) for at, column in enumerate(columns)})
        for row, way in enumerate(ways):
            data = decoded.data[row]
            plain: Any = data.item() if hasattr(data, "item") else data
            words = tuple(table[row].tolist())
            unit = value.unit if decoded.unit is None else decoded.unit[row]
            shift = way.place.shift
            used = tuple((c.address + shift, c.word, word) for c, word in zip(columns, words, strict=True))
            number = plain if decoded.available[row] else None
            one = Reading(number, unit, Flag(decoded.flag[row]), words, (way,))
            found.append((one, used))
    return found


# ---- judging


def _judged(value: Value, one: Reading, display: Display | None, now_ms: int) -> Reading:
    if one.value is None:
        return replace(one, fit=Fit.NOTHING, why=(FLAG_WORDS.get(one.flag, "no number"),))
    why = _oddities(value, one, now_ms)
    number = one.value
    is_moment = value.number.kind in (Kind.UNIX_TIME, Kind.CALENDAR)
    if display is None or is_moment:
        return replace(one, fit=Fit.ODD if why else Fit.PLAUSIBLE, why=why)
    fit = display.fit(number)
    if fit is Fit.FITS or isinstance(number, str):
        return replace(one, fit=fit, why=why if fit is Fit.FITS else ("not what the display shows",))
    power = display.power(number)
    if power is not None and _scalable(value):
        return replace(one, fit=Fit.SCALED, power=power, why=())
    if fit is Fit.NEAR:
        return replace(one, fit=fit, why=why)
    power = display.near_power(number) if _scalable(value) and own_way(value) in one.ways else None
    if power is not None:  # the map is right but for its scale, and the value has moved on since
        return replace(one, fit=Fit.NEAR, power=power)
    return replace(one, fit=Fit.ODD, why=(*why, "not what the display shows"))


def _scalable(value: Value) -> bool:
    """Whether a scale alone moves the decimal point of the value."""
    number = value.number
    plain = not (value.plus or value.codes or value.bits or number.offset)
    return plain and number.kind is not Kind.BIT


def _oddities(value: Value, one: Reading, now_ms: int) -> tuple[str, ...]:
    """What speaks against a reading that is one."""
    found = one.value
    if isinstance(found, str):
        odd = not found or "\\x" in found or not found.isascii()
        return ("no text that a meter would send",) if odd else ()
    if value.number.kind in (Kind.UNIX_TIME, Kind.CALENDAR):
        assert isinstance(found, int)
        far = found < now_ms - OLDEST_MS or found > now_ms + LATEST_MS
        return ("far from the computer's time",) if far else ()
    if one.flag is not Flag.NONE:
        span = f" {value.range.low} to {value.range.high}" if value.range is not None else ""
        return (f"{FLAG_WORDS[one.flag]}{span if one.flag in (Flag.BELOW_RANGE, Flag.ABOVE_RANGE) else ''}",)
    if value.codes or value.bits or isinstance(found, bool):
        return ()
    assert found is not None
    if found and abs(found) < TIMES_SMALLER:  # inside every range that begins at 0
        return ("of another size than numbers are",)
    if value.range is not None:
        return ()
    span_of_unit = USUAL.get(value.unit or "")
    if span_of_unit is not None and not span_of_unit[0] <= found <= span_of_unit[1]:
        return (f"outside what is usual in {value.unit}",)
    if abs(found) > _largest(value):
        return ("of another size than numbers are",)
    return ()


def _largest(value: Value) -> float:
    """What a number is hardly above; a running total that is wide grows for years, in litres or grams."""
    end = None if value.totaliser is None else value.totaliser.rolls_over_at
    if end is not None:
        return max(LARGEST, float(end))
    wide = value.number.kind in _WIDE and value.totaliser is not None
    return _LARGEST_TOTAL if wide else LARGEST


# ---- ways that read the same


def _grouped(
    value: Value,
    found: Sequence[tuple[Reading, tuple[Used, ...]]],
    series: Sequence[Mapping[Way, Reading]] = (),
) -> list[Reading]:
    """Ways that read the same number out of the same registers together, the one that turns least first.

    Ways that parted in a further read are two readings.
    """
    single = not value.plus and value.times_ten_to is None and value.told_unit is None
    groups: dict[object, list[Reading]] = {}
    for one, used in found:
        way = one.ways[0]
        words = _significant(used, way.form) if single else used
        later = tuple(read[way].value if way in read else None for read in series)
        same = way if one.value is None else (one.value, one.unit, frozenset(words), later)
        groups.setdefault(same, []).append(one)
    prefer_signed = _prefers_signed(value)

    def rank(one: Reading) -> tuple[int, bool, int]:
        way = one.ways[0]
        signed = way.form.kind in SIGNED
        return way.turns(value), signed is not prefer_signed, len(one.words)

    grouped = []
    for members in groups.values():
        if len(members) == 1:  # most ways read a number of their own
            grouped += members
            continue
        members.sort(key=rank)
        grouped.append(replace(members[0], ways=tuple(one.ways[0] for one in members)))
    return grouped


def _prefers_signed(value: Value) -> bool:
    if value.range is not None:
        return value.range.low < 0
    return value.totaliser is None and value.number.kind in SIGNED - FLOATS


def _significant(used: Sequence[Used], form: Form) -> Sequence[Used]:
    """The words that make the number; leading ones that only extend it are left out."""
    if not any(word for *_, word in used):
        return ()
    if form.kind not in EXTENDED:
        return used
    if form.word_order is Order.LOW_FIRST:
        used = used[::-1]
    sign = 0x80 if form.byte_order is Order.LOW_FIRST else 0x8000
    while len(used) > 1 and used[0][-1] == 0:
        used = used[1:]
    while form.kind in SIGNED and len(used) > 1 and used[0][-1] == 0xFFFF and used[1][-1] & sign:
        used = used[1:]
    return used


def _times_ten(scale: Decimal, power: int) -> Decimal:
    """A scale with its point moved, written plainly: 0.1, 10, 1."""
    moved_point = scale.scaleb(power).normalize()
    return moved_point.quantize(Decimal(1)) if moved_point == moved_point.to_integral_value() else moved_point
