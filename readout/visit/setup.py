"""The meter before it is trusted: settings against the point file, its clock, what its state says."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from readout.measuring_point.comparison.compare import CLOCK_S, Finding
from readout.measuring_point.model import MeasuringPoint, Owner
from readout.visit.verdict import Check, go, no_go, to_decide, together

#: An effect on the flow [%] that one does not leave behind: half a per cent is 0.25 % of the diameter.
EFFECT_PERCENT = 0.5
_FAULTS = re.compile(r"fault|error|fail|defect|supply|battery|power|voltage|empty pipe", re.IGNORECASE)


def is_ours(point: MeasuringPoint) -> bool:
    """Whether the meter may be written at all."""
    return point.meter.owner is not Owner.CUSTOMER


def settings_check(
    point: MeasuringPoint, findings: Sequence[Finding], settings: Mapping[str, Any], writable: Sequence[str]
) -> Check:
    """The meter's settings against the point file.

    A difference with an effect on the flow is no go where the meter can be set right, else to be decided:
    it can be reckoned with afterwards, as long as somebody knows. `settings` are kept as found.
    """
    told = {name: {"value": one["value"], "unit": one["unit"]} for name, one in settings.items()}
    checks = [_setting(point, one, writable) for one in findings if one.setting != "clock"]
    lacking = sorted(name for name, one in settings.items() if one["value"] is None)
    if lacking:
        advice = "read them again (`meter show`), or note them from the meter's keypad"
        checks.append(to_decide(f"not told by the meter: {', '.join(lacking)}", advice))
    well = "as the point file says" if told else "the map names none to compare"
    return together(checks, well, settings=told)


def _setting(point: MeasuringPoint, found: Finding, writable: Sequence[str]) -> Check:
    effect = found.effect_percent
    if found.doubtful:
        return no_go(
            found.text, "compare with the meter's keypad and `map try FILE PORT`; then correct the map"
        )
    if effect is None or abs(effect) < EFFECT_PERCENT or found.setting == "low_flow_cut_off":
        return to_decide(found.text, "decide whether the figures may stay like this")
    if not is_ours(point):
        advice = "have its owner set it right, or accept it: the figures are corrected afterwards"
        return to_decide(found.text, advice)
    if found.setting in writable:
        return no_go(
            found.text, f"`meter set POINT {found.setting} VALUE --archive DIR`, or correct the file"
        )
    return no_go(found.text, "set it right at the meter's keypad, or correct the point file")


def clock_check(offset_s: float | None, *, has_clock: bool, can_set: bool) -> Check:
    """The meter's clock [s, meter minus computer], where it was to be set and has been, or cannot be."""
    if not has_clock:
        return go("the map names no clock of the meter")
    if offset_s is None:
        advice = (
            "set it at the keypad or with `meter set POINT clock now`, and see that this computer's is set"
        )
        return no_go("the meter's clock shows no time, or could not be compared", advice)
    if abs(offset_s) <= CLOCK_S:
        return go(f"agrees with this computer's ({offset_s:+.1f} s)", clock_offset_s=offset_s)
    side = "ahead of" if offset_s > 0 else "behind"
    reason = f"{abs(offset_s):.0f} s {side} this computer's"
    if can_set:
        return to_decide(
            reason, "set it (answer set_clock: yes), or accept it: times are corrected by the offset",
            clock_offset_s=offset_s,
        )  # fmt: skip
    return to_decide(
        reason, "it may not be set from here; accept it (times are corrected by the offset), or set it there",
        clock_offset_s=offset_s,
    )  # fmt: skip


def supply_check(states: Mapping[str, Any]) -> Check:
    """What the meter's readings of states say: `states` by name, lists of words or one word."""
    said = {
        name: [value] if isinstance(value, str) else list(value)
        for name, value in states.items()
        if isinstance(value, str | list)
    }
    if not said:
        return go("the map has no reading of a state: see the meter's own lamps and battery", states={})
    bad = [f"{name}: {word}" for name, words in said.items() for word in words if _FAULTS.search(word)]
    if bad:
        return no_go("; ".join(bad), "see supply, battery and sensor at the meter", states=said)
    words = [f"{name}: {', '.join(words) or 'none'}" for name, words in said.items()]
    return go("; ".join(words), states=said)
