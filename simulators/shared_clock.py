"""One simulated time for the threads of a whole program: weeks pass in minutes, in the same order each time.

Every thread that waits by the clock takes part. Time stands while any of them works, and then jumps to the
first instant that one of them waits for; that one goes on, alone, until it waits again. So a program of many
threads runs like a list of events: nothing depends on how the operating system mixes them.
"""

import math
from bisect import insort
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event, Lock, Thread, current_thread
from typing import NamedTuple

#: How often a thread that waits for its turn looks whether the one whose turn it is has ended [s, real time].
_LOOK_S = 0.05


@dataclass(eq=False, slots=True)
class _Member:
    """A thread that takes part. It waits until an instant, or for an event, behind its closed gate."""

    thread: Thread
    until: float = 0.0
    event: Event | None = None
    gate: Lock = field(default_factory=Lock)


class _Act(NamedTuple):
    at: float
    order: int
    act: Callable[[], object]


class SharedClock:
    """Has the methods of `simulators.clock.FakeClock`, for several threads at once.

    >>> clock = SharedClock(threads=2)
    >>> clock.at(clock.monotonic() + 3600, lambda: clock.step_utc(-7.0))
    """

    def __init__(self, threads: int, utc: float = 1_777_852_800.0, monotonic: float = 1000.0) -> None:
        """Start at `utc` (default 2026-05-04T00:00Z) and `monotonic`, both in seconds.

        Time stands until `threads` threads have waited by it.
        """
        self._now, self._ahead = monotonic, utc - monotonic
        self._lock = Lock()
        self._members: dict[Thread, _Member] = {}
        self._turn: _Member | None = None
        self._missing = threads
        self._acts: list[_Act] = []
        self._ordered = 0

    def gather(self, threads: int) -> None:
        """Begin anew with other threads: time stands until so many have waited. Call it while none waits."""
        self._members, self._turn, self._missing = {}, None, threads

    def monotonic(self) -> float:
        """Seconds on a clock that never steps."""
        return self._now

    def utc(self) -> float:
        """Seconds since 1970-01-01T00:00Z."""
        return self._now + self._ahead

    def sleep_until(self, deadline: float) -> None:
        """Wait until `monotonic()` has reached `deadline`; return at once where it has passed."""
        if deadline > self._now:
            self._wait(deadline, None)

    def wait(self, event: Event, until: float) -> bool:
        """Wait until `event` is set or `monotonic()` has reached `until`; whether the event is set."""
        if not event.is_set() and until > self._now:
            self._wait(until, event)
        return event.is_set()

    def at(self, moment: float, act: Callable[[], object]) -> None:
        """Have `act` called when `monotonic()` reaches `moment`; it must not wait."""
        self._ordered += 1
        insort(self._acts, _Act(moment, self._ordered, act))

    def step_utc(self, seconds: float) -> None:
        """Set the wall clock forward or back; `monotonic` stays."""
        self._ahead += seconds

    def _wait(self, until: float, event: Event | None) -> None:
        thread = current_thread()
        with self._lock:
            me = self._members.get(thread)
            if me is None:
                me = self._members[thread] = _Member(thread)
                me.gate.acquire()
                self._missing -= 1
            me.until, me.event = until, event
            if self._missing <= 0 and self._pass_on(me):
                return
        while not me.gate.acquire(timeout=_LOOK_S):
            with self._lock:
                if self._turn is not None and not self._turn.thread.is_alive():
                    del self._members[self._turn.thread]
                    if self._pass_on(me):
                        return

    def _pass_on(self, caller: _Member) -> bool:
        """Let time go on to the next instant that matters, and give the turn to whoever waits for it.

        True where that is the caller, whose gate stays closed.
        """
        while True:
            first, ready = caller, math.inf
            for member in self._members.values():
                until = member.until
                if member.event is not None and member.event.is_set():
                    until = self._now
                if until < ready:
                    first, ready = member, until
            if self._acts and self._acts[0].at <= ready:
                act = self._acts.pop(0)
                self._now = max(self._now, act.at)
                act.act()
                continue
            if math.isinf(ready):
                raise RuntimeError("every thread waits for something that will never be")
            self._now = max(self._now, ready)
            self._turn = first
            if first is caller:
                return True
            first.gate.release()
            return False
