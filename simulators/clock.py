"""Time as an object: the computer's own, for lines that keep pace, and one that tests move by hand.

Both have the three methods that whatever waits or stamps asks for: `monotonic` and `utc` in seconds,
`sleep_until` a monotonic instant.
"""

import math
import time
from threading import Event
from typing import Protocol

#: The last stretch of a wait is spun, not slept: the kernel wakes a sleeper 50 to 150 µs late, which at
#: 115200 baud is more than one character.
SPIN = 0.0002


class Clock(Protocol):
    """What a simulated meter and its line need of time. Seconds."""

    def monotonic(self) -> float:
        """Seconds on a clock that never steps; only differences mean something."""
        ...

    def utc(self) -> float:
        """Seconds since 1970-01-01T00:00Z."""
        ...

    def sleep_until(self, deadline: float) -> None:
        """Wait until `monotonic()` has reached `deadline`; return at once where it has passed."""
        ...


class WireClock:
    """The computer's clocks, with waits that end within a few µs of their deadline on an idle machine."""

    def monotonic(self) -> float:
        """See `Clock`."""
        return time.monotonic()

    def utc(self) -> float:
        """See `Clock`."""
        return time.time()

    def sleep_until(self, deadline: float) -> None:
        """See `Clock`."""
        left = deadline - time.monotonic()
        if left > SPIN:
            time.sleep(left - SPIN)
        while time.monotonic() < deadline:
            pass


class FakeClock:
    """A clock that stands still until it is moved: a week of polling passes in milliseconds.

    A wait moves it to its deadline at once. `slept` keeps the deadlines of all waits that were not over
    already, in seconds of `monotonic()`.
    """

    def __init__(self, utc: float = 1_777_852_800.0, monotonic: float = 1000.0) -> None:
        """Start at `utc` (default 2026-05-04T00:00Z) and `monotonic`, both in seconds."""
        self._utc = utc
        self._monotonic = monotonic
        self.slept: list[float] = []

    def monotonic(self) -> float:
        """See `Clock`."""
        return self._monotonic

    def utc(self) -> float:
        """See `Clock`."""
        return self._utc

    def sleep_until(self, deadline: float) -> None:
        """See `Clock`; never really waits."""
        if deadline > self._monotonic:
            self.slept.append(deadline)
            self._utc += deadline - self._monotonic
            self._monotonic = deadline

    def wait(self, event: Event, until: float) -> bool:
        """Really wait for another thread, as many seconds as `until` is ahead; the clock stands meanwhile."""
        return event.wait(None if math.isinf(until) else max(0.0, until - self._monotonic))

    def advance(self, seconds: float) -> None:
        """Let `seconds` pass on both clocks; ValueError below zero, for `monotonic` never goes back."""
        if seconds < 0:
            raise ValueError(
                f"{seconds} s: a monotonic clock cannot go back; use step_utc for the wall clock"
            )
        self._monotonic += seconds
        self._utc += seconds

    def step_utc(self, seconds: float) -> None:
        """Set the wall clock forward or back, as a time service or a person does; `monotonic` stays."""
        self._utc += seconds
