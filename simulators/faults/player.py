"""Plays a fault plan on a line: stands between the meters and whatever carries bytes back to the master.

    request ──> before(meters)  ──>  meters          which step of the plan is due; is it heard at all?
    pieces  <── deliver         <──  reply           what the step makes of the reply

The same player fits a line in a thread, a port in this program, and a tap before a stranger's meter.
"""

from collections import Counter, OrderedDict
from collections.abc import Sequence
from random import Random

from simulators.clock import Clock, WireClock
from simulators.faults.alphabet import ALPHABET, NOT_HEARD, USUAL, Scene, Timing
from simulators.faults.plan import GOOD, Plan, Step
from simulators.line.pace import UNPACED, Pace, Piece, faithful
from simulators.line.simulated import Meter

#: Earlier replies that are kept to come back as old ones, one of each shape.
KEPT = 8


class FaultPlayer:
    """One plan on one line, from its first step on. To be used by one thread.

    `played` counts what happened by letter, "." being the exchanges that went well; `too_soon` counts
    requests that came before the meter's rest was over.
    """

    def __init__(
        self, plan: Plan, *, timing: Timing = USUAL, clock: Clock | None = None, pace: Pace = UNPACED
    ) -> None:
        """Start `plan`. `timing` is the reader's patience, `pace` that of the line."""
        self.played: Counter[str] = Counter()
        self.too_soon = 0
        self._conditions = plan.conditions
        self._steps = plan.steps()
        self._timing = timing
        self._clock = WireClock() if clock is None else clock
        self._pace = pace
        # Not the seed itself: that one already chooses a random plan's faults.
        self._random = Random(f"details of {plan.conditions.seed}")
        self._earlier: OrderedDict[tuple[bytes, int], tuple[bytes, bytes]] = OrderedDict()
        self._step: Step | None = None
        self._busy_until = float("-inf")  # when the last byte from a meter is on the line
        self._last_unit: int | None = None

    def before(self, meters: Sequence[Meter]) -> Meter:
        """The meters as the line is to see them: deaf where the plan or its conditions say so."""
        return _Front(self, tuple(meters))

    def hears(self, request: bytes) -> bool:
        """Choose what happens to this exchange; False where the request reaches no meter."""
        conditions = self._conditions
        if conditions.rest or conditions.change:
            begun = self._clock.monotonic() - len(request) * self._pace.character
            other = self._last_unit is not None and self._last_unit != request[0]
            rest = max(conditions.rest, conditions.change if other else 0) / 1000
            if begun - self._busy_until < rest:
                self.too_soon += 1
                self._step = GOOD
                return False
        self._step = self._next(request)
        return not any(fault.letter == NOT_HEARD for fault in self._step)

    def deliver(self, request: bytes, reply: bytes | None) -> Sequence[Piece]:
        """What goes back to the master; a `simulators.line.Delivery`."""
        step = self._next(request) if self._step is None else self._step
        self._step = None
        pieces = self._altered(step, request, reply) if step else faithful(request, reply)
        if reply is not None:
            self._last_unit = request[0]
            self._keep(request, reply)
        if pieces and (self._conditions.rest or self._conditions.change):
            turnaround, character = self._pace.turnaround, self._pace.character
            waits = (turnaround if piece.after is None else piece.after for piece in pieces)
            sent = sum(len(piece.data) for piece in pieces) * character
            self._busy_until = self._clock.monotonic() + sum(waits) + sent
        return pieces

    def _next(self, request: bytes) -> Step:
        unit = self._conditions.unit
        step = next(self._steps) if unit is None or unit == request[0] else GOOD
        for fault in step:
            self.played[fault.letter] += 1
        if not step:
            self.played["."] += 1
        return step

    def _altered(self, step: Step, request: bytes, reply: bytes | None) -> Sequence[Piece]:
        earlier = [frame for asked, frame in self._earlier.values() if asked != request]
        scene = Scene(request, reply or b"", self._random, self._timing, earlier)
        for fault in step:
            ALPHABET[fault.letter].effect(scene, fault.numbers)
        return scene.pieces()

    def _keep(self, request: bytes, reply: bytes) -> None:
        """Of each shape the latest reply; exceptions have none that another request could mistake."""
        if reply[1] & 0x80:
            return
        shape = (reply[:3], len(reply))
        self._earlier[shape] = (request, reply)
        self._earlier.move_to_end(shape)
        if len(self._earlier) > KEPT:
            self._earlier.popitem(last=False)


class _Front:
    """Stands for all meters of a line."""

    def __init__(self, player: FaultPlayer, meters: tuple[Meter, ...]) -> None:
        self._player = player
        self._meters = meters

    def reply(self, frame: bytes) -> bytes | None:
        """The first reply that any meter gives; every meter hears the request, for it may be a broadcast."""
        if not self._player.hears(frame):
            return None
        replies = [found for meter in self._meters if (found := meter.reply(frame)) is not None]
        return replies[0] if replies else None
