"""When a round is due: whole multiples of the interval in UTC, waited for on the monotonic clock.

The same points are due on every computer and after every restart (every 10 s means :00, :10, :20 …), and a
wall clock that steps neither floods the line nor makes one due time count twice. Nothing here waits or looks
at a clock: the caller brings an `Instant` and gets a `Due`.
"""

import math
from dataclasses import dataclass, replace

from readout.clock import Clock
from readout.errors import WrongUse

#: Shortest interval between rounds [ms].
SHORTEST_MS = 100

#: A wall clock that moved this much against the monotonic one has been stepped [s]; less is slewed
#: (by at most 0.5 ms a second on Linux, adjtimex) and followed silently. NTP's own border is 0.128 s.
STEP_S = 0.128

#: How far the last due time may lie ahead of a wall clock put back until the schedule stops waiting for it
#: [ms]. Up to here rounds pause and every due time stays true; beyond, rounds go on at their pace under due
#: times that run ahead of the wall clock, because a recorder silent for an hour is worse than a label.
WAITED_OUT_MS = 60_000

#: Reads of the clock pair tried until one is tight enough, and how tight [s].
_TRIES, _TIGHT_S = 5, 0.001


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment on both clocks, in seconds: UTC since 1970, and the monotonic clock."""

    utc_s: float
    monotonic_s: float

    @property
    def utc_ms(self) -> int:
        """Whole milliseconds since 1970, rounded down."""
        return int(self.utc_s * 1000 // 1)

    def step_since(self, earlier: "Instant") -> float:
        """Seconds by which the wall clock has moved beyond the time that has passed."""
        return (self.utc_s - earlier.utc_s) - (self.monotonic_s - earlier.monotonic_s)


def look(clock: Clock) -> Instant:
    """Both clocks at one moment; looks again where the process was held up between the two."""
    tightest, found = math.inf, None
    for _ in range(_TRIES):
        before = clock.monotonic()
        utc = clock.utc()
        after = clock.monotonic()
        if found is None or after - before < tightest:
            tightest, found = after - before, Instant(utc, (before + after) / 2)
        if tightest <= _TIGHT_S:
            break
    assert found is not None
    return found


@dataclass(frozen=True, slots=True)
class Grid:
    """The due times: every multiple of `every_ms` since 1970-01-01T00:00Z, in ms."""

    every_ms: int

    def __post_init__(self) -> None:
        if self.every_ms < SHORTEST_MS:
            raise WrongUse(
                f"An interval of {self.every_ms} ms is too short; the shortest is {SHORTEST_MS} ms."
            )

    def first(self, at_ms: int) -> int:
        """The first due time at or after `at_ms`."""
        return -(-at_ms // self.every_ms) * self.every_ms

    def after(self, due_ms: int) -> int:
        """The first due time after `due_ms`."""
        return (due_ms // self.every_ms + 1) * self.every_ms

    def missed(self, last_ms: int, until_ms: int) -> range:
        """Due times after `last_ms`, up to and including `until_ms`."""
        return range(self.after(last_ms), until_ms + 1, self.every_ms)


@dataclass(frozen=True, slots=True)
class Due:
    """The next round: `due_ms` names it, `deadline_s` on the monotonic clock starts it.

    `skipped` are due times that passed while an earlier round held the line: rows without a reading.
    `jumped` are due times that a wall clock put forward leapt over: they never came, so they are no rows.
    `step_s` is the step found (0.0: none). `then` is the schedule once this round has been started.
    """

    due_ms: int
    deadline_s: float
    skipped: range
    jumped: range
    step_s: float
    then: "Schedule"


@dataclass(frozen=True, slots=True)
class Schedule:
    """What has been due so far. Asking changes nothing: ask as often as you like, keep `Due.then` to go on.

    `anchor` is the moment of the last answer, `last_ms` the last due time given, `started_s` its deadline,
    `ahead_ms` by how much due times run ahead of the wall clock (see `WAITED_OUT_MS`).
    """

    grid: Grid
    anchor: Instant
    last_ms: int | None = None
    started_s: float = float("-inf")
    ahead_ms: int = 0

    def next(self, now: Instant) -> Due:
        """The round to wait for.

        A due time passed by less than half an interval is run at once, so that rounds that last a little
        longer than the interval do not lose every second one; older ones are skipped, never caught up.
        """
        step_s = now.step_since(self.anchor)
        stepped = abs(step_s) >= STEP_S
        if self.last_ms is None:
            due_ms = self.grid.first(now.utc_ms)
            return self._due(now, due_ms, range(0), range(0), step_s if stepped else 0.0)
        if stepped:
            return self._after_step(now, self.last_ms, step_s)
        shown_ms = now.utc_ms + self.ahead_ms
        missed = self.grid.missed(self.last_ms, shown_ms)
        if missed and shown_ms - missed[-1] < self.grid.every_ms / 2:
            return self._due(now, missed[-1], missed[:-1], range(0), 0.0)
        due_ms = self.grid.after(missed[-1] if missed else self.last_ms)
        return self._due(now, due_ms, missed, range(0), 0.0)

    def deadline_s(self, now: Instant) -> float:
        """The `deadline_s` of `next(now)`, for a few µs: a line asks it of all its points at every round."""
        if self.last_ms is None or abs(now.step_since(self.anchor)) >= STEP_S:
            return self.next(now).deadline_s
        every_ms = self.grid.every_ms
        shown_ms = now.utc_ms + self.ahead_ms
        due_ms = max(self.last_ms, shown_ms) // every_ms * every_ms
        if due_ms <= self.last_ms or shown_ms - due_ms >= every_ms / 2:
            due_ms += every_ms
        return now.monotonic_s + max(0.0, (due_ms - self.ahead_ms) / 1000 - now.utc_s)

    def _after_step(self, now: Instant, last_ms: int, step_s: float) -> Due:
        """Settle what was due by the clock as it was, then go on by the clock as it is now."""
        unstepped_ms = now.utc_ms - round(step_s * 1000) + self.ahead_ms
        skipped = self.grid.missed(last_ms, unstepped_ms)
        settled_ms = skipped[-1] if skipped else last_ms
        earliest_ms = self.grid.after(settled_ms)
        natural_ms = self.grid.first(now.utc_ms)
        # The new clock's next due time may come right after the last round; two in a row help nobody.
        half_s = self.grid.every_ms / 2000
        while now.monotonic_s + (natural_ms / 1000 - now.utc_s) < self.started_s + half_s:
            natural_ms += self.grid.every_ms
        due_ms = max(earliest_ms, natural_ms)
        ahead_ms = 0
        if settled_ms - now.utc_ms > WAITED_OUT_MS:
            ahead_ms = due_ms - natural_ms
        jumped = range(earliest_ms, due_ms, self.grid.every_ms)
        return replace(self, ahead_ms=ahead_ms)._due(now, due_ms, skipped, jumped, step_s)

    def _due(self, now: Instant, due_ms: int, skipped: range, jumped: range, step_s: float) -> Due:
        """The answer, with the deadline worked out afresh from both clocks, so that no error adds up."""
        wait_s = max(0.0, (due_ms - self.ahead_ms) / 1000 - now.utc_s)
        deadline_s = now.monotonic_s + wait_s
        then = replace(self, anchor=now, last_ms=due_ms, started_s=deadline_s)
        return Due(due_ms, deadline_s, skipped, jumped, step_s, then)


def start(grid: Grid, now: Instant) -> Schedule:
    """A schedule without a past: its first due time is the first at or after `now`."""
    return Schedule(grid, now)
