"""How far the computer's own clock can be trusted: synchronised, unsynchronised or unset."""

import ctypes
import secrets
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from functools import cache
from pathlib import Path

from readout.clock import Clock, iso
from readout.plan.schedule import STEP_S, Instant, Schedule, look
from storage.journal import ClockNow

#: Before this instant the clock was certainly never set: the program is younger. Seconds since 1970.
EARLIEST = datetime(2026, 1, 1, tzinfo=UTC).timestamp()

#: What ntp_adjtime(3) returns while the kernel's clock follows no time source (TIME_ERROR).
_TIME_ERROR = 5

#: How long a look at whether the clock follows a source holds [s].
_LOOK_S = 10.0

#: More than sizeof(struct timex) on every Linux and macOS build.
_TIMEX_BYTES = 512


class ClockQuality(StrEnum):
    """The words of the archive's `clock` column."""

    SYNCHRONISED = "synchronised"
    UNSYNCHRONISED = "unsynchronised"
    UNSET = "unset"


def clock_quality(utc: float) -> ClockQuality:
    """The quality of a computer clock that shows `utc` (seconds since 1970) now.

    Linux and macOS tell whether the kernel's clock follows a time source. Windows does not tell a
    program without a service query, so there a set clock counts as unsynchronised.
    """
    if utc < EARLIEST:
        return ClockQuality.UNSET
    return ClockQuality.SYNCHRONISED if _follows_a_source() else ClockQuality.UNSYNCHRONISED


def unset_told(utc: float) -> str | None:
    """For when recording begins at `utc` (seconds since 1970); None where the clock was set."""
    if clock_quality(utc) is not ClockQuality.UNSET:
        return None
    return (
        f"this computer's clock is not set (it shows {iso(utc)}): rows wait in the journal, and get their "
        "times when it is set before the computer is switched off, else never: let it reach a time server, "
        "or set it (`timedatectl set-time`)"
    )


def _follows_a_source() -> bool:
    if sys.platform == "win32":
        return False
    try:
        state = _this_program().ntp_adjtime(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (OSError, AttributeError):
        return False
    return 0 <= int(state) < _TIME_ERROR


@cache
def _this_program() -> ctypes.CDLL:
    """Where the C library's functions are found; looking for it costs 100 times what asking it does."""
    return ctypes.CDLL(None)


@cache
def boot_id() -> str:
    """What tells this start of the computer from any other: times since a start compare only within one.

    Linux names it (random(4)). Elsewhere it is this process's own name, so that times from before the clock
    was set are put right only if it is set while the process runs.
    """
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return secrets.token_hex(16)


def slept_s() -> float:
    """Seconds the computer was suspended since it started: the monotonic clock leaves them out.

    Only Linux tells (clock_gettime(2), CLOCK_BOOTTIME); 0 elsewhere.
    """
    if sys.platform != "linux":
        return 0.0
    return max(0.0, time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC))


@dataclass(frozen=True, slots=True)
class RowTimes:
    """A row's times in ms: `due_ms` and `time_ms` since 1970, `since_boot_ms` since the start `boot`.

    `time_ms` is None where nothing came.
    """

    due_ms: int
    time_ms: int | None
    quality: str
    boot: str
    since_boot_ms: int


class RowClock:
    """Tells a line's rows their times. For one thread."""

    def __init__(self) -> None:
        self._looked = float("-inf")
        self._quality = ClockQuality.UNSET

    def times(self, by: Schedule, due_ms: int, ended: float | None, now: Instant) -> RowTimes:
        """The times of a round that was due at `due_ms` by the schedule `by`, ended at `ended` [monotonic s].

        A round belongs wholly to one setting of the clock: where it was stepped between the round's due time
        and `now`, to the setting before. Under a clock that is not set the due time is what that clock says,
        without what due times may run ahead of it.
        """
        told = by.anchor if abs(now.step_since(by.anchor)) >= STEP_S else now
        quality = self._quality_of(told, now)
        if quality is ClockQuality.UNSET:
            due_ms -= by.ahead_ms
        since_1970_s = told.utc_s - told.monotonic_s
        return RowTimes(
            due_ms=due_ms,
            time_ms=None if ended is None else round((ended + since_1970_s) * 1000),
            quality=quality.value,
            boot=boot_id(),
            since_boot_ms=due_ms - round((since_1970_s - slept_s()) * 1000),
        )

    def _quality_of(self, told: Instant, now: Instant) -> ClockQuality:
        """Whether the clock was set is seen at once; whether it follows a source is asked now and then."""
        if told.utc_s < EARLIEST:
            return ClockQuality.UNSET
        if now.monotonic_s - self._looked > _LOOK_S:
            self._looked, self._quality = now.monotonic_s, clock_quality(told.utc_s)
        return self._quality


def clock_now(clock: Clock) -> ClockNow:
    """Both clocks at this moment and what they are worth, for putting earlier times right."""
    now = look(clock)
    since_boot = round((now.monotonic_s + slept_s()) * 1000)
    return ClockNow(boot_id(), round(now.utc_s * 1000), since_boot, clock_quality(now.utc_s).value)
