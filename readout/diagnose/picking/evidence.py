"""What speaks for and against one map, value by value and in sentences.

A register that holds 0 tells nothing, for many meters answer zeros where they have nothing, and a small
number tells little. What counts for a map are its telling registers: words from 0100 hexadecimal on (all four
digits of decimal ones), of values that could have failed a check and did not.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from protocols.register_map.model import WORDS, Kind, Value
from protocols.values.flags import Flag
from readout.clock import iso
from readout.diagnose.picking.answers import Answers, Given, Had
from readout.diagnose.picking.memory import extent_oddity, oddity_of
from readout.diagnose.picking.planning import NEXT, OLDEST, Candidate
from readout.diagnose.readings.display import Fit
from readout.diagnose.readings.judging import USUAL, Reading, as_mapped

#: Named at most in one sentence; the rest is counted.
NAMED_MOST = 3
#: Words from here on are telling; smaller ones lie in many registers of many meters.
SMALL, SMALL_DIGITS = 0x0100, 0x1000
_BCD_DIGITS = {Kind.BCD16: 4, Kind.BCD32: 8}


class Check(StrEnum):
    """What a value can be held against, as the words behind `3 by`."""

    TEXT = "readable text"
    TIME = "a plausible time"
    CODE = "known codes"
    BITS = "known bits"
    STEP = "steps"
    RANGE = "range"
    UNIT = "the unit it tells"
    DIGITS = "decimal digits"
    TOTAL = "where the total rolls over"
    USUAL = "what is usual for the unit"
    SIZE = "the size of floats"
    MISSING = "forms for no reading"
    MEMORY = "the log memory"


@dataclass(frozen=True, slots=True)
class Judged:
    """One value: how it was `had`; `check` it passed, or the `oddity`, a clause, that speaks against it.

    `telling`: how many of its registers tell something, where it passed a check.
    """

    value: Value
    had: Had
    reading: Reading | None = None
    check: Check | None = None
    oddity: str = ""
    telling: int = 0


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything about one map."""

    candidate: Candidate
    values: tuple[Judged, ...]

    def of(self, given: Given) -> list[Judged]:
        """The values whose registers came to that."""
        return [one for one in self.values if one.had.given is given]

    @property
    def odd(self) -> list[Judged]:
        """Values that make no sense."""
        return [one for one in self.values if one.oddity]

    @property
    def sensible(self) -> list[Judged]:
        """Values that passed a check."""
        return [one for one in self.values if one.check is not None and not one.oddity]

    @property
    def telling(self) -> int:
        """Registers that hold something which only makes sense so."""
        return sum(one.telling for one in self.values)

    @property
    def checkable(self) -> bool:
        """Whether the map says anything that a reading could be held against."""
        return any(check_of(one.value) is not None for one in self.values)


def evidence(candidate: Candidate, answers: Answers, now_ms: int) -> Evidence:
    """Judge every value of a map by what the meter answered. `now_ms`: the computer's time, ms since 1970."""
    had = [(value, answers.had(value, candidate.blocks)) for value in candidate.values]
    judged = [_judged(candidate, value, one, now_ms) for value, one in had]
    return Evidence(candidate, tuple(_with_extent(candidate, judged)))


def _with_extent(candidate: Candidate, judged: Sequence[Judged]) -> list[Judged]:
    """The oldest and the next record of a memory judged together, where both were read; the others as is."""
    told = {
        one.value.name: one.reading.value
        for one in judged
        if one.reading is not None and one.value.name in (OLDEST, NEXT)
    }
    wrong = extent_oddity(candidate.map, told.get(OLDEST), told.get(NEXT))
    if wrong is None:
        return list(judged)
    if wrong:
        return [replace(one, oddity=wrong) if one.value.name == NEXT else one for one in judged]
    return [
        replace(one, check=Check.MEMORY, telling=_telling(one.value, one.had))
        if one.value.name in told
        else one
        for one in judged
    ]


def check_of(value: Value) -> Check | None:
    """What the map says of a value that a reading can be held against; None where anything would pass."""
    number = value.number
    if number.kind is Kind.TEXT:
        return Check.TEXT
    if number.kind in (Kind.UNIX_TIME, Kind.CALENDAR):
        return Check.TIME
    if number.kind is Kind.BIT:
        return None
    for there, check in (
        (value.codes, Check.CODE),
        (value.bits, Check.BITS),
        (value.steps, Check.STEP),
        (value.range is not None and _is_narrow(value), Check.RANGE),
        (value.told_unit, Check.UNIT),
        (number.kind in _BCD_DIGITS, Check.DIGITS),
        (_rolls_over(value), Check.TOTAL),
        (value.unit in USUAL and value.range is None, Check.USUAL),
        (number.kind in (Kind.FLOAT32, Kind.FLOAT64), Check.SIZE),
    ):
        if there:
            return check
    return None


def sentences(found: Evidence) -> tuple[list[str], list[str]]:
    """What speaks for the map, and what against it."""
    refused, unanswered = found.of(Given.REFUSED), found.of(Given.UNANSWERED)
    return _for(found, complete=not refused and not unanswered), [
        *_missing(refused, "not given by the meter"),
        *_missing(unanswered, "without a reply that can be trusted"),
        *_odd(found.odd),
    ]


def _judged(candidate: Candidate, value: Value, had: Had, now_ms: int) -> Judged:
    if had.given is not Given.WORDS:
        return Judged(value, had)
    reading = as_mapped(value, had.words, now_ms)
    assert reading is not None  # every word was given
    filled = any(had.words.values())
    telling = _telling(value, had)
    wrong = oddity_of(candidate.map, value.name, reading.value)
    if wrong is not None:
        return Judged(value, had, reading, Check.MEMORY, wrong, 0 if wrong else telling)
    if reading.value is None:
        return _without(value, had, reading, telling)
    check = check_of(value)
    if not filled and value.number.kind in (Kind.TEXT, Kind.UNIX_TIME, Kind.CALENDAR):
        return Judged(value, had, reading)  # a text or a time that was never set
    if reading.fit > Fit.PLAUSIBLE:
        return Judged(value, had, reading, check, _clause(value, reading, ", ".join(reading.why)))
    if value.steps and not _is_step(value, reading):
        return Judged(value, had, reading, check, _clause(value, reading, "none of its steps"))
    if value.bits and _unnamed(value, reading):
        check = None  # reserved bits are set on many meters, and say nothing
    end = _rolls_over(value)
    if end is not None and isinstance(reading.value, int | float) and reading.value >= end:
        return Judged(value, had, reading, check, _clause(value, reading, f"it rolls over at {end:.12g}"))
    return Judged(value, had, reading, check, "", 0 if check is None else telling)


def _telling(value: Value, had: Had) -> int:
    """How many of the registers tell something: of a float all or none, for its size lies in one of them."""
    words = had.words.values()
    kind = value.number.kind
    large = sum(word >= (SMALL_DIGITS if kind in _BCD_DIGITS else SMALL) for word in words)
    return len(words) if large and kind in (Kind.FLOAT32, Kind.FLOAT64) else large


def _without(value: Value, had: Had, reading: Reading, telling: int) -> Judged:
    """A value that is not there: the form that the map lists, or words that are none of its kind."""
    listed = value.not_available.numbers or value.not_available.words
    if reading.flag is Flag.NOT_AVAILABLE and listed:
        return Judged(value, had, reading, Check.MISSING, "", telling)
    if any(reading.words) and (value.number.kind in _BCD_DIGITS or reading.flag is Flag.INVALID_TIME):
        kind = "time" if reading.flag is Flag.INVALID_TIME else "decimal digits"
        words = " ".join(f"{word:04X}" for word in reading.words)
        return Judged(value, had, reading, None, f"{value.name} reads {words}: no {kind}")
    return Judged(value, had, reading)


def _rolls_over(value: Value) -> float | None:
    """Where a total begins again at 0, in its unit; None where it is none, or the map does not say."""
    end = None if value.totaliser is None else value.totaliser.rolls_over_at
    return None if end is None else float(end)


def _is_narrow(value: Value) -> bool:
    """Whether a range leaves out half of what the registers could hold: else it tells nothing."""
    number = value.number
    if value.range is None or number.kind in (Kind.FLOAT32, Kind.FLOAT64) or value.plus:
        return True
    digits = _BCD_DIGITS.get(number.kind)
    most = 10**digits if digits else 1 << 16 * WORDS.get(number.kind, number.words)
    return 2 * (value.range.high - value.range.low) <= most * abs(number.scale)


def _is_step(value: Value, reading: Reading) -> bool:
    assert isinstance(reading.value, int | float)
    return any(abs(reading.value - float(step)) <= 1e-6 * abs(float(step)) for step in value.steps)


def _unnamed(value: Value, reading: Reading) -> bool:
    assert isinstance(reading.value, int)
    bits = reading.value % (1 << 16 * value.number.words)
    return any(bits >> bit & 1 and bit not in value.bits for bit in range(bits.bit_length()))


def plain_value(one: Judged) -> int | float | str | bool | None:
    """The value as a JSON type; a float32 as the shortest decimal that gives it back."""
    if one.reading is None:
        return None
    found = one.reading.value
    return float(str(np.float32(found))) if _is_float32(one.value) and found is not None else found


# ---- sentences


def _for(found: Evidence, *, complete: bool) -> list[str]:
    said = []
    reads = len(found.candidate.blocks)
    if complete and reads:
        words = {1: "answers its only read", 2: "answers both reads"}
        said.append(words.get(reads, f"answers all {reads} reads"))
    kinds = Counter(one.check for one in found.sensible)
    if kinds:
        several = ", ".join(f"{n} by {kind}" for kind, n in kinds.items())
        said.append(f"{len(found.sensible)} of {len(found.values)} values make sense ({several})")
    texts = [
        f'{one.value.name} reads "{one.reading.value}"'
        for one in found.sensible
        if one.reading is not None and one.check is Check.TEXT
    ]
    return [*said, *texts[:NAMED_MOST]]


def _missing(values: Sequence[Judged], how: str) -> list[str]:
    """One sentence for each reason, with the names of the values that share it."""
    by_reason: dict[str, list[str]] = {}
    for one in values:
        by_reason.setdefault(one.had.why, []).append(one.value.name)
    return [f"{several(names)}: {how} ({why.splitlines()[0]})" for why, names in by_reason.items()]


def _odd(values: Sequence[Judged]) -> list[str]:
    said = [one.oddity for one in values[:NAMED_MOST]]
    more = len(values) - len(said)
    if more > 0:
        said.append("1 other value makes no sense" if more == 1 else f"{more} other values make no sense")
    return said


def several(names: Sequence[str]) -> str:
    """`flow, total, state and 4 more`."""
    shown = ", ".join(names[:NAMED_MOST])
    more = len(names) - NAMED_MOST
    return f"{shown} and {more} more" if more > 0 else shown


def _is_float32(value: Value) -> bool:
    """Whether the value has no more digits than a float32."""
    plain = not value.plus and value.times_ten_to is None and value.number.scale == 1
    return value.number.kind is Kind.FLOAT32 and plain and not value.number.offset


def _clause(value: Value, reading: Reading, why: str) -> str:
    unit = f" {reading.unit}" if reading.unit not in (None, "1") else ""
    return f"{value.name} reads {_shown(value, reading)}{unit}: {why}"


def _shown(value: Value, reading: Reading) -> str:
    found = reading.value
    if isinstance(found, str):
        return f'"{found}"'
    if value.number.kind in (Kind.UNIX_TIME, Kind.CALENDAR):
        assert isinstance(found, int)
        return iso(found / 1000).replace("T", " ").replace(".000Z", " UTC")
    if _is_float32(value):
        return str(np.float32(found or 0))
    return f"{found:.12g}"
