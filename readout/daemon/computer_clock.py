"""How far the computer's own clock can be trusted: synchronised, unsynchronised or unset."""

import ctypes
import sys
from datetime import UTC, datetime
from enum import StrEnum

#: Before this instant the clock was certainly never set: the program is younger. Seconds since 1970.
EARLIEST = datetime(2026, 1, 1, tzinfo=UTC).timestamp()

#: What ntp_adjtime(3) returns while the kernel's clock follows no time source (TIME_ERROR).
_TIME_ERROR = 5

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


def _follows_a_source() -> bool:
    if sys.platform == "win32":
        return False
    try:
        state = ctypes.CDLL(None).ntp_adjtime(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (OSError, AttributeError):
        return False
    return 0 <= int(state) < _TIME_ERROR
