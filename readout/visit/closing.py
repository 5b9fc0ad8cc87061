"""The end of a measurement: settings as left, the clock's course, the totaliser against the log."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from protocols.units import Quantity
from readout.measuring_point.conversion import converted
from readout.visit.verdict import Check, go, to_decide

#: Total and log agree within this share; both come from one meter, so it is rounding and edges only.
TOTAL_SHARE = 0.02
#: The log must cover this share of the time between the two readings of the total.
LEAST_COVERED = 0.98
#: A quartz clock is good for 100 ppm and this [s]; beyond, somebody set it or it stopped.
CLOCK_PPM, CLOCK_S = 100.0, 3.0


def left_check(found: Mapping[str, Any], left: Mapping[str, Any]) -> Check:
    """Settings as left against those as found: `{name: {value, unit}}`; a clock runs and is not compared."""
    if not found:
        return go("no settings were kept at the start", settings=dict(left))
    changed = [
        f"{name} was {_said(found[name])}, is {_said(left[name])}"
        for name in sorted(found.keys() & left.keys())
        if name != "clock" and found[name]["value"] != left[name]["value"]
    ]
    if not changed:
        return go("as they were after the start", settings=dict(left))
    advice = "find out who changed it and when; a diameter is corrected by `point amend`"
    return to_decide("; ".join(changed), advice, settings=dict(left))


def _said(one: Mapping[str, Any]) -> str:
    return f"{one['value']} {one['unit'] or ''}".rstrip()


def course_check(before_s: float | None, now_s: float | None, lasted_s: float) -> Check:
    """The meter's clock against this computer's now and at the start [s, meter minus computer]."""
    if now_s is None:
        return go("the meter's clock could not be compared")
    said = f"{now_s:+.1f} s against this computer's"
    if before_s is None:
        return go(said, clock_offset_s=now_s)
    moved = now_s - before_s
    if abs(moved) <= CLOCK_S + CLOCK_PPM * 1e-6 * lasted_s:
        return go(f"{said}, {moved:+.1f} s since the start", clock_offset_s=now_s)
    advice = "was it set, or was the meter without supply? see `time_flag` of the records, then accept it"
    return to_decide(f"{said}: it moved {moved:+.0f} s since the start", advice, clock_offset_s=now_s)


@dataclass(frozen=True, slots=True)
class Logged:
    """The flow as the archive has it between two instants: mean, and covered time of all the time [s]."""

    mean: Quantity
    covered_s: float
    lasted_s: float


def total_check(before: Quantity | None, after: Quantity | None, logged: Logged | None, step: float) -> Check:
    """What the totaliser went on by against mean flow × time of the log.

    `step`: the least that the totaliser can tell, in the unit of `after`.
    """
    if before is None or after is None:
        return go("no totaliser was read at both ends, so there is nothing to compare")
    went_on = float(after.number - converted(before, after.unit))
    if logged is None:
        return go(f"the total went on by {went_on:.6g} {after.unit.word}; no log of a flow beside it")
    if logged.lasted_s <= 0 or logged.covered_s < LEAST_COVERED * logged.lasted_s:
        share = 100 * logged.covered_s / logged.lasted_s if logged.lasted_s > 0 else 0
        return go(
            f"the total went on by {went_on:.6g} {after.unit.word}; the log covers {share:.0f} % of that "
            "time, too little to compare"
        )
    amount = _amount(logged.mean, after, logged.lasted_s)
    if amount is None:
        return go(f"{logged.mean.unit.word} and {after.unit.word} are not compared")
    unit = after.unit.word
    said = f"the total went on by {went_on:.6g} {unit}, the flow of the log makes {amount:.6g} {unit}"
    figures = {"total": went_on, "log": float(f"{amount:.6g}"), "unit": after.unit.word}
    edges = 4 * abs(amount) / logged.lasted_s  # seconds on either side that belong to one only
    if abs(went_on - amount) <= TOTAL_SHARE * max(abs(went_on), abs(amount)) + 2 * step + edges:
        return go(said, **figures)
    percent = f" ({100 * (amount - went_on) / went_on:+.1f} %)" if went_on else ""
    advice = "see units and reference conditions of both in the map, and whether the total was reset"
    return to_decide(f"{said}{percent}: they do not agree", advice, **figures)


def _amount(mean: Quantity, total: Quantity, seconds: float) -> float | None:
    """Mean flow × time in the unit of the total; None for other dimensions."""
    from decimal import Decimal

    from protocols.units import Dimension, unit_of
    from readout.measuring_point.checks.plain import per_hour

    cubic = unit_of("m3")
    if cubic is None or total.unit.dimension is not cubic.dimension:
        return None
    if mean.unit.dimension is not Dimension.VOLUME_FLOW or mean.unit.conditional or total.unit.conditional:
        return None
    amount = per_hour(mean) * Decimal(repr(seconds)) / 3600
    return float(converted(Quantity(amount, cubic), total.unit))
