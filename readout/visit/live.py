"""Values while somebody stands beside the meter: minutes of them, and the display beside the wire."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from protocols.register_map.model import RegisterMap, Value
from protocols.units import Dimension, Quantity, quantity_of, unit_of
from readout.errors import WrongUse
from readout.measuring_point.checks.plain import pascals, per_hour
from readout.measuring_point.conversion import converted
from readout.measuring_point.model import MeasuringPoint
from readout.visit.verdict import Check, go, no_go, to_decide, together

#: A line that brings less than this share of its rounds is not left alone.
GOOD_SHARE = 0.95
#: Pressure at the pipe against the point file: off by this share of it asks for a look.
PRESSURE_SHARE = 0.2
#: Display and wire are the same within this share: both are read in one second of a value that moves.
DISPLAY_SHARE = 0.02
#: A totaliser is known better than a flow.
TOTAL_SHARE = 0.001

Readings = Mapping[str, Mapping[str, Any]]
_FLOWS = (Dimension.VOLUME_FLOW, Dimension.MASS_FLOW)


@dataclass(frozen=True, slots=True)
class Seen:
    """One reading over the watching: lowest, mean and highest in `unit`, and how often it had which flag."""

    low: float
    mean: float
    high: float
    unit: str
    flags: Mapping[str, int]


def seen_in(rounds: Sequence[Readings]) -> dict[str, Seen]:
    """What each number did over the rounds; readings that never had a value, and words, are left out."""
    found: dict[str, Seen] = {}
    for name in dict.fromkeys(name for one in rounds for name in one):
        told = [one[name] for one in rounds if name in one]
        numbers = [float(one["value"]) for one in told if _is_number(one["value"])]
        flags: dict[str, int] = {}
        for one in told:
            if one["flag"]:
                flags[one["flag"]] = flags.get(one["flag"], 0) + 1
        if numbers or flags:
            low, high = min(numbers, default=math.nan), max(numbers, default=math.nan)
            mean = math.fsum(numbers) / len(numbers) if numbers else math.nan
            found[name] = Seen(low, mean, high, next((one["unit"] or "" for one in told), ""), flags)
    return found


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def line_check(rounds: int, good: int) -> Check:
    """How many rounds brought all values."""
    said = f"{good} of {rounds} rounds whole"
    if not rounds or good / rounds < GOOD_SHARE:
        return no_go(f"{said}: the line fails", "`line test POINT` tells what kind of fault it is")
    return go(said)


def values_check(
    seen: Mapping[str, Seen], point: MeasuringPoint, found: RegisterMap, further: Sequence[Check] = ()
) -> Check:
    """Each value within its range and plausible at this point; figures are kept with their units.

    `further` are checks of the same values that need more than them.
    """
    checks = list(further)
    for value in found.readings:
        one = seen.get(value.name)
        if one is not None:
            checks += [*_flags(value, one), *_flow(value, one, point), *_pressure(value, one, point)]
    figures = {
        name: {
            "low": _figure(one.low),
            "mean": _figure(one.mean),
            "high": _figure(one.high),
            "unit": one.unit,
        }
        for name, one in seen.items()
    }
    gauge = {value.name for value in found.readings if value.gauge}
    well = "; ".join(
        f"{name} {_plain(one.low)} to {_plain(one.high)} {one.unit}{'(g)' if name in gauge else ''}".rstrip()
        for name, one in seen.items()
        if not math.isnan(one.mean)
    )
    return together(checks, well or "no number to watch", values=figures)


def _plain(number: float) -> str:
    """Four figures; a totaliser as it counts, without an exponent."""
    return f"{number:.1f}" if abs(number) >= 1000 else f"{number:.4g}"


def _figure(number: float) -> float | None:
    return None if math.isnan(number) else float(f"{number:.6g}")


def _flags(value: Value, one: Seen) -> list[Check]:
    if not one.flags:
        return []
    said = ", ".join(f"{flag} {count} times" for flag, count in one.flags.items())
    span = "" if value.range is None else f" (its range: {value.range.low} to {value.range.high} {one.unit})"
    return [no_go(f"{value.name}: {said}{span}", "see the sensor and the map's range; `map show MAP`")]


def _flow(value: Value, one: Seen, point: MeasuringPoint) -> list[Check]:
    unit = unit_of(one.unit)
    if unit is None or unit.dimension not in _FLOWS or math.isnan(one.mean):
        return []
    if one.low == one.high == 0:
        advice = "is there demand, is the valve open, is the probe in and turned the right way?"
        return [to_decide(f"{value.name} is 0 {one.unit} all the time", advice)]
    expected = None if point.conditions is None else point.conditions.expected_flow
    if expected is None or expected.low.unit.dimension is not unit.dimension or unit.conditional:
        return []
    mean = float(per_hour(quantity(one.mean, one.unit)))
    low, high = (float(per_hour(end)) for end in (expected.low, expected.high))
    if low <= mean <= high:
        return []
    side = "below" if mean < low else "above"
    span = f"{expected.low} to {expected.high}"
    reason = f"{value.name} is {one.mean:.4g} {one.unit}, {side} what is expected ({span})"
    return [to_decide(reason, "is it a quiet hour or a peak? else see unit, diameter and word order")]


def quantity(number: float, word: str) -> Quantity:
    """A number with a unit of the table."""
    unit = unit_of(word)
    assert unit is not None
    return Quantity(Decimal(repr(number)), unit)


def _pressure(value: Value, one: Seen, point: MeasuringPoint) -> list[Check]:
    expected = None if point.conditions is None else point.conditions.pressure
    unit = unit_of(one.unit)
    if expected is None or unit is None or unit.dimension is not Dimension.PRESSURE or math.isnan(one.mean):
        return []
    if (expected.gauge is True) is not value.gauge:
        return []
    told, wanted = float(pascals(quantity(one.mean, one.unit))), float(pascals(expected))
    side = "(g)" if value.gauge else ""
    said = f"{value.name} is {one.mean:.4g} {one.unit}{side}, and {expected} are expected"
    if wanted > 0 and told < 0.05 * wanted:
        return [no_go(said, "the pipe has no pressure there: see the valve of the tapping")]
    if abs(told - wanted) > PRESSURE_SHARE * abs(wanted):
        return [to_decide(said, "ask what the network is run at, and correct the point file")]
    return []


def displayed(text: str, found: RegisterMap) -> dict[str, Quantity]:
    """`flow 253.7 m3/h; pressure 7.1 bar(g)` as quantities by the reading's name.

    Raises:
        WrongUse: a name is no reading of the map, or what follows is no number with a unit.
    """
    known = {value.name for value in found.readings}
    said: dict[str, Quantity] = {}
    for part in filter(None, (part.strip() for part in text.split(";"))):
        name, _, rest = part.partition(" ")
        if name not in known:
            raise WrongUse(
                f"'{part}': write a reading and what is shown; readings: {', '.join(sorted(known))}"
            )
        quantity = quantity_of(rest)
        if isinstance(quantity, str):
            raise WrongUse(f"'{part}': {quantity}")
        said[name] = quantity
    if not said:
        raise WrongUse("the display's answer is empty; write such as flow 253.7 m3/h")
    return said


def display_check(said: Mapping[str, Quantity], wire: Readings, seen: Mapping[str, Seen], utc: str) -> Check:
    """What the display showed beside what the wire told in the same second.

    Allowed: 2 % (0.1 % of a total), and as much as the value moved while it was watched (`seen`).
    """
    checks, kept = [], {}
    for name, shown in said.items():
        told = wire.get(name, {})
        value, word = told.get("value"), told.get("unit") or ""
        unit = unit_of(word)
        kept[name] = {
            "display": float(shown.number),
            "display_unit": shown.unit.word,
            "wire": value,
            "unit": word,
        }
        if value is None or not _is_number(value) or unit is None:
            checks.append(no_go(f"{name}: the wire tells no number now", "read it again (`read POINT`)"))
            continue
        checks.append(_beside(name, shown, float(value), word, seen.get(name)))
    return together(checks, "display and wire agree", readings=kept, read_at=utc)


def _beside(name: str, shown: Quantity, value: float, word: str, seen: Seen | None) -> Check:
    unit = unit_of(word)
    assert unit is not None
    try:
        number = float(converted(shown, unit))
    except WrongUse as error:
        return no_go(f"{name}: {error}", "the display and the map must speak of the same quantity")
    share = TOTAL_SHARE if unit.dimension is Dimension.VOLUME else DISPLAY_SHARE
    moved = 0.0 if seen is None or math.isnan(seen.mean) else seen.high - seen.low
    off = number - value
    wire = f"{value:.1f}" if abs(value) >= 100_000 else f"{value:.6g}"  # a totaliser without an exponent
    said = f"{name}: display {shown}, wire {wire} {word}"
    if abs(off) <= share * abs(value) + moved + 1e-9:
        return go(said)
    percent = f", {100 * off / value:+.1f} %" if value else ""
    advice = "read both again; else unit, scale, word order or reference conditions of the map are wrong"
    return no_go(f"{said}{percent}", advice)
