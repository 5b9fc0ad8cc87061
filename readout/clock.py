"""Time as an object: monotonic for waiting, UTC for stamping, never one for the other.

`SystemClock` is the computer's. Whatever waits or stamps takes a clock, so that tests jump a fake one.
"""

import math
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from threading import Event


class Clock(Protocol):
    """What the acting side needs of time. Seconds; `monotonic` has no epoch, `utc` counts from 1970."""

    def monotonic(self) -> float:
        """Seconds on a clock that never steps; only differences mean something."""
        ...

    def utc(self) -> float:
        """Seconds since 1970-01-01T00:00Z as the computer knows them; may step."""
        ...

    def sleep_until(self, deadline: float) -> None:
        """Wait until `monotonic()` has reached `deadline`; return at once where it has passed."""
        ...


class WaitingClock(Clock, Protocol):
    """A clock by which one thread can wait for another."""

    def wait(self, event: "Event", until: float) -> bool:
        """Wait until `event` is set or `monotonic()` has reached `until`; whether the event is set."""
        ...


#: The end of a wait is spun, not slept: the kernel's timer wakes 50 to 150 µs late, which on a fast line
#: is more than the share of the silence that may be lost (bench/line.py measures it).
SPIN = 0.0002


class SystemClock:
    """The computer's own clocks."""

    def monotonic(self) -> float:
        """See `Clock`."""
        return time.monotonic()

    def utc(self) -> float:
        """See `Clock`."""
        return time.time()

    def sleep_until(self, deadline: float) -> None:
        """See `Clock`; at most a few µs late where the machine is idle."""
        left = deadline - time.monotonic()
        if left > SPIN:
            time.sleep(left - SPIN)
        while time.monotonic() < deadline:
            pass

    def wait(self, event: "Event", until: float) -> bool:
        """See `WaitingClock`."""
        return event.wait(None if math.isinf(until) else max(0.0, until - time.monotonic()))


def iso(seconds: float) -> str:
    """Seconds since 1970 as ISO 8601 in UTC with milliseconds: `2026-05-04T06:00:00.000Z`."""
    moment = datetime.fromtimestamp(round(seconds, 3), UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"


def ms_of(text: str) -> int:
    """An ISO 8601 moment with its zone as whole ms since 1970 UTC; ValueError where it is none."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)
