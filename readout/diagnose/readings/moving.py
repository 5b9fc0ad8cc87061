"""Whether a reading that was taken several times moves as what it is said to be.

A total never runs backwards, a temperature does not leap within a second, a clock goes on evenly.
Words in a wrong order are noise in their high part: they leap from read to read, or are no number.
"""

from collections.abc import Sequence
from itertools import pairwise

from protocols.register_map.model import Kind, Value

#: A temperature between two reads some 100 ms apart changes by less [K]. Common practice, no source.
_KELVINS = 10.0
_TEMPERATURES = {"degC": 1.0, "K": 1.0, "degF": 1.8}  # steps of the unit in one kelvin
#: Anything else changes by less than this share of the larger one, or of its range.
_SHARE, _SHARE_OF_RANGE = 0.5, 0.05
#: Changes below this are never called a leap: near zero every share is large.
_SMALL = 1.0
#: A total counts on by less than this many of its steps, or than this share of itself.
_STEPS, _SHARE_OF_TOTAL = 1000, 0.01
#: A running clock may be told late by this [ms].
_LATE_MS = 2000
#: Where a total rolls over: from above this share of it to below the rest.
_NEAR_TOP = 0.9

Number = int | float | str | bool | None


def restless(value: Value, series: Sequence[Number], seconds: float) -> str:
    """What speaks against a value that was read several times within `seconds`; empty where nothing does.

    `series` are its readings in the order of time, None where the words were no number.
    """
    for before, after in pairwise(series):
        why = _between(value, before, after, seconds)
        if why:
            return why
    return ""


def _between(value: Value, before: Number, after: Number, seconds: float) -> str:
    if before is None:
        return ""
    if after is None:
        return "no number a moment later"
    if isinstance(before, str) or isinstance(after, str):
        return "" if before == after else "another text a moment later"
    if isinstance(before, bool) or value.codes or value.bits:
        return ""
    if value.number.kind in (Kind.UNIX_TIME, Kind.CALENDAR):
        return "" if 0 <= after - before <= seconds * 1000 + _LATE_MS else "does not go on as a clock does"
    if value.totaliser is not None:
        return _of_a_total(value, float(before), float(after))
    return "leaps from one read to the next" if _leaps(value, float(before), float(after)) else ""


def _of_a_total(value: Value, before: float, after: float) -> str:
    assert value.totaliser is not None
    top = value.totaliser.rolls_over_at
    if top is not None and before > _NEAR_TOP * float(top) and after < (1 - _NEAR_TOP) * float(top):
        return ""
    if after < before:
        return "runs backwards, which no total does"
    most = max(_STEPS * abs(float(value.number.scale)), _SHARE_OF_TOTAL * abs(before))
    return "leaps, which no total does" if after - before > most else ""


def _leaps(value: Value, before: float, after: float) -> bool:
    change = abs(after - before)
    if value.unit in _TEMPERATURES:
        return change > _KELVINS * _TEMPERATURES[value.unit]
    least = _SMALL
    if value.range is not None:
        least = _SHARE_OF_RANGE * float(value.range.high - value.range.low)
    return change > least and change > _SHARE * max(abs(before), abs(after))
