"""The meter's time to UTC, over a whole session in the order of its records.

A meter's clock may show UTC, a fixed offset or the site's zone with its doubled and its missing hour; it may
never have been set, start again at 2000, be put forward or back. The order of the records is certain, their
time is not: so an hour that exists twice is told apart by the records around it, a time that cannot be is
null, and nothing is ever sorted by time. Local times are ms since 1970 as the clock's figures read, UTC is
ms since 1970-01-01T00:00Z.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import IntEnum
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.memory_model import MarkedAt, MeterClock
from protocols.values.moments import EPOCH

Milliseconds = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: A clock that shows less was never set: meters that lose their time begin at 1970, 2000 or their own year
#: of make. 2010-01-01T00:00.
EARLIEST_MS = 1_262_304_000_000


class TimeFlag(IntEnum):
    """What is to be said of a record's time; the archive keeps the word, null for `NONE`."""

    NONE = 0
    UNSET = 1  # the clock was not set: no UTC
    INVALID = 2  # no time at all, or one that the site's clocks skip: no UTC
    DST_FIRST = 3  # in the hour that exists twice, the first time
    DST_SECOND = 4
    DST_AMBIGUOUS = 5  # in that hour, and nothing tells which: no UTC
    STEPPED_FORWARD = 6  # more time passed on the clock than number × interval since the record before
    STEPPED_BACK = 7


#: The words kept in the archive's `time_flag` column.
TIME_FLAG_WORDS: Mapping[TimeFlag, str] = {
    flag: flag.name.lower().replace("_", " ") for flag in TimeFlag if flag is not TimeFlag.NONE
}


@dataclass(frozen=True, slots=True)
class ClockOffset:
    """Meter minus computer [ms], measured at a moment [UTC ms] of a computer whose clock is right."""

    at_ms: int
    offset_ms: int


@dataclass(frozen=True, slots=True)
class Times:
    """Of n records: `utc_ms` int64 [n], meaningful where `known` [n]; one `flag` uint8 [n] each."""

    utc_ms: Milliseconds
    known: Mask
    flag: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class SessionClock:
    """What is known of a session's time: the clock's zone, the site's, its interval and its measured errors.

    `interval_ms` None: not known, then steps cannot be told. `offsets` in the order of their moments.
    """

    clock: MeterClock
    site: ZoneInfo | None = None
    interval_ms: int | None = None
    offsets: tuple[ClockOffset, ...] = ()
    earliest_ms: int = EARLIEST_MS


def times_told(told_ms: Milliseconds, available: Mask, numbers: Milliseconds, clock: SessionClock) -> Times:
    """The UTC of records that tell their own time.

    `told_ms` [n] by the meter's clock, where `available` [n]; `numbers` [n], rising.
    """
    flag = np.where(available, np.where(told_ms < clock.earliest_ms, TimeFlag.UNSET, 0), TimeFlag.INVALID)
    usable = flag == TimeFlag.NONE
    if clock.clock.offset_s is not None:
        utc, known = told_ms - 1000 * clock.clock.offset_s, usable.copy()
    else:
        utc, known, flag = _by_site(told_ms, usable, numbers, flag, clock)
    steps = _steps(utc, known, numbers, clock.interval_ms)
    flag = np.where(steps > 0, TimeFlag.STEPPED_FORWARD, np.where(steps < 0, TimeFlag.STEPPED_BACK, flag))
    utc, known = _corrected(utc, known, steps, clock)
    return Times(np.where(known, utc, 0), known, flag.astype(np.uint8))


def times_counted(
    started_ms: int | None, places: Milliseconds, marked_at: MarkedAt, clock: SessionClock
) -> Times:
    """The UTC of records that tell no time: started + n × interval, at an interval's end one more.

    `places` [n] count the session's records from 0. A start that is no time, was not set, or lies in the
    doubled hour leaves them all without.
    """
    count = len(places)
    if started_ms is None or clock.interval_ms is None:
        nothing = np.zeros(count, np.int64)
        return Times(nothing, nothing > 0, np.full(count, TimeFlag.INVALID, np.uint8))
    one = np.array([started_ms], np.int64)
    start = times_told(one, np.ones(1, np.bool_), np.zeros(1, np.int64), _uncorrected(clock))
    after = places + (1 if marked_at is MarkedAt.END else 0)
    utc = start.utc_ms[0] + after * clock.interval_ms
    known = np.full(count, start.known[0])
    utc, known = _corrected(utc, known, np.zeros(count, np.int64), clock)
    return Times(np.where(known, utc, 0), known, np.full(count, start.flag[0], np.uint8))


def _uncorrected(clock: SessionClock) -> SessionClock:
    return SessionClock(clock.clock, clock.site, clock.interval_ms, (), clock.earliest_ms)


def candidates(local_ms: int, zone: ZoneInfo) -> tuple[int, ...]:
    """Moments [UTC ms] at which a zone's clocks show a time: two in a doubled hour, none in a missing one.

    Python converts a time that does not exist without a word; so each conversion is made back again.
    """
    shown = (EPOCH + timedelta(milliseconds=local_ms)).replace(tzinfo=None)
    found: list[int] = []
    for fold in (0, 1):
        moment = shown.replace(tzinfo=zone, fold=fold).astimezone(UTC)
        utc = _ms(moment)
        if moment.astimezone(zone).replace(tzinfo=None) == shown and utc not in found:
            found.append(utc)
    return tuple(sorted(found))


def _ms(moment: datetime) -> int:
    return (moment - EPOCH) // timedelta(milliseconds=1)


def _by_site(
    told: Milliseconds, usable: Mask, numbers: Milliseconds, flag: NDArray[np.int_], clock: SessionClock
) -> tuple[Milliseconds, Mask, NDArray[np.int_]]:
    """Local times of the site's zone; the doubled hour by what lies before it, else by what comes after."""
    if clock.site is None:
        return told, np.zeros(len(told), np.bool_), np.where(usable, TimeFlag.DST_AMBIGUOUS, flag)
    utc, flag = told.copy(), flag.copy()
    choices = [candidates(int(one), clock.site) if use else () for one, use in zip(told, usable, strict=True)]
    known = np.array([len(choice) == 1 for choice in choices], np.bool_)
    for row, choice in enumerate(choices):
        if len(choice) == 1:
            utc[row] = choice[0]
        elif usable[row] and not choice:
            flag[row] = TimeFlag.INVALID
    doubled = [row for row, choice in enumerate(choices) if len(choice) == 2]
    if clock.interval_ms is None:
        _by_descent(told, doubled, choices, utc, known, flag)
    for rows, step in ((doubled, -1), (doubled[::-1], 1)):
        for row in rows:
            if not known[row]:
                found = _chosen(row, step, choices[row], utc, known, numbers, clock.interval_ms)
                if found is not None:
                    utc[row], known[row] = choices[row][found], True
                    flag[row] = (TimeFlag.DST_FIRST, TimeFlag.DST_SECOND)[found]
    for row in doubled:
        if not known[row]:
            flag[row] = TimeFlag.DST_AMBIGUOUS
    return utc, known, flag


def _by_descent(
    told: Milliseconds, doubled: Sequence[int], choices: Sequence[tuple[int, ...]], utc: Milliseconds,
    known: Mask, flag: NDArray[np.int_],
) -> None:  # fmt: skip
    """Where figures go back once within a run of doubled times, the run passes from the first hour to the
    second there; the only thing that order alone can tell."""
    runs: list[list[int]] = []
    for row in doubled:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    for run in runs:
        falls = [row for row in run[1:] if told[row] <= told[row - 1]]
        if len(falls) == 1:
            for row in run:
                second = int(row >= falls[0])
                utc[row], known[row] = choices[row][second], True
                flag[row] = (TimeFlag.DST_FIRST, TimeFlag.DST_SECOND)[second]


def _chosen(
    row: int, step: int, choice: tuple[int, ...], utc: Milliseconds, known: Mask, numbers: Milliseconds,
    interval_ms: int | None,
) -> int | None:  # fmt: skip
    """Which of two moments fits the nearest known record on one side; None where neither or both do."""
    other = row + step
    while 0 <= other < len(known) and not known[other]:
        other += step
    if not 0 <= other < len(known):
        return None
    anchor = int(utc[other])
    if interval_ms is None:
        # without an interval only the order speaks, and only where it leaves one
        fitting = [place for place, one in enumerate(choice) if (one > anchor) == (step < 0)]
        return fitting[0] if len(fitting) == 1 else None
    due = anchor + int(numbers[row] - numbers[other]) * interval_ms
    off = [abs(one - due) for one in choice]
    if off[0] == off[1] or min(off) * 2 > interval_ms:
        return None
    return 0 if off[0] < off[1] else 1


def _steps(utc: Milliseconds, known: Mask, numbers: Milliseconds, interval_ms: int | None) -> Milliseconds:
    """Milliseconds [n] by which the clock moved beyond number × interval since the known record before."""
    found = np.zeros(len(utc), np.int64)
    rows = np.flatnonzero(known)
    if interval_ms is None or len(rows) < 2:
        return found
    moved = np.diff(utc[rows]) - np.diff(numbers[rows]) * interval_ms
    found[rows[1:]] = np.where(np.abs(moved) * 2 > interval_ms, moved, 0)
    return found


def _corrected(
    utc: Milliseconds, known: Mask, steps: Milliseconds, clock: SessionClock
) -> tuple[Milliseconds, Mask]:
    """UTC less the clock's error, and where it can be known.

    Between two measurements the error is interpolated (a crystal 20 ppm off gains 16 s in nine days). A clock
    that was set in between has two errors: the first measurement holds before, the second after, and what
    lies between two such steps cannot be known. A gap in recording also looks like a step forward: it is
    taken for a set clock only where the two measurements differ by as much.
    """
    if not clock.offsets:
        return utc, known
    offsets = sorted(clock.offsets, key=lambda one: one.at_ms)
    first, last = offsets[0], offsets[-1]
    drift = last.offset_ms - first.offset_ms
    half = (clock.interval_ms or 0) / 2
    was_set = (steps < 0) | ((steps > 0) & (len(offsets) > 1) & (np.abs(steps - drift) <= half))
    rows = np.flatnonzero(was_set)
    if not len(rows):
        if last.at_ms == first.at_ms:
            return utc - last.offset_ms, known
        meter = np.array([one.at_ms + one.offset_ms for one in offsets], np.float64)
        error = np.interp(utc.astype(np.float64), meter, [float(one.offset_ms) for one in offsets])
        return utc - np.rint(error).astype(np.int64), known
    place = np.arange(len(utc))
    before, after = place < rows[0], place >= rows[-1]
    measured_before = len(offsets) > 1
    known = known & (after | (before & measured_before))
    return np.where(after, utc - last.offset_ms, utc - first.offset_ms), known


def flag_words(flags: Sequence[int]) -> list[str | None]:
    """The flags as the archive keeps them."""
    return [TIME_FLAG_WORDS.get(TimeFlag(flag)) for flag in flags]
