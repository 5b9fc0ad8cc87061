"""Outcomes that were handed out already, and what came behind them that makes them doubtful.

A reply is handed out as soon as its last byte is there: waiting 50 ms behind each would cost a line half of
its speed. So the line listens on while it must be silent anyway, and in all idle time it is given
(`Line.settle`). What comes before the next request is sent is seen, always. What comes later, and has the
shape of the reply to that request, is taken for it; it is found as soon as the line has a surplus reply
without any request open, and then every reply of that shape since the last one of another shape, or since
the line was last listened to for 50 ms and quiet, is doubtful. So a meter that answers twice is believed only
if its second replies always come more than 3.5 characters late and there is never any idle time.
"""

from collections import OrderedDict
from dataclasses import dataclass, replace

from readout.bus.line.owed import Shape
from readout.bus.outcome import Outcome, Status

#: Doubts, and outcomes of one shape in a row, that are remembered.
KEPT = 1000


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why an outcome is not to be trusted."""

    cause: str
    text: str
    came: bytes


class Doubts:
    """Of one line. An outcome is known by its `sent`: two requests never go out at the same instant."""

    def __init__(self) -> None:
        self._run: list[float] = []
        self._kind: tuple[int, Shape] | None = None
        self._found: OrderedDict[float, Doubt] = OrderedDict()
        self._handed_over = float("-inf")

    def good(self, unit: int, shape: Shape, sent: float) -> None:
        """A value is about to be handed out."""
        kind = (unit, shape)
        if kind != self._kind or len(self._run) >= KEPT:
            self._kind, self._run = kind, []
        self._run.append(sent)

    def in_step(self) -> None:
        """The line was listened to for long enough and quiet: no reply is one behind."""
        self._run = []

    def broken(self) -> None:
        """Something else than a value came: replies cannot be one behind any more."""
        self._kind, self._run = None, []

    def cast(self, doubt: Doubt, *, all_alike: bool) -> tuple[int, int]:
        """On the last outcome, or on all of its shape in a row. How many, and how many of them too late."""
        met = self._run if all_alike else self._run[-1:]
        for sent in met:
            self._found[sent] = doubt
        while len(self._found) > KEPT:
            self._found.popitem(last=False)
        late = sum(sent <= self._handed_over for sent in met)
        self.broken()
        return len(met), late

    def weighed(self, outcomes: tuple[Outcome, ...]) -> tuple[Outcome, ...]:
        """The outcomes as they stand now. After this they are final."""
        if outcomes:
            self._handed_over = max(self._handed_over, max(outcome.sent for outcome in outcomes))
        if not self._found:
            return outcomes
        return tuple(self._weighed(outcome) for outcome in outcomes)

    def _weighed(self, outcome: Outcome) -> Outcome:
        doubt = self._found.get(outcome.sent)
        if doubt is None or outcome.status is not Status.OK:
            return outcome
        return replace(
            outcome,
            status=Status.WRONG_REPLY,
            cause=doubt.cause,
            text=doubt.text,
            received=outcome.received + doubt.came,
            words=(),
            reply=None,
        )
