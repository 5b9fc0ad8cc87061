"""Outcomes that were handed out already, and what came behind them that makes them doubtful.

A reply is handed out as soon as its last byte is there: waiting 50 ms behind each would cost a line half of
its speed. So the line listens on while it must be silent anyway, and in all idle time it is given
(`Line.settle`). What comes before the next request is sent is seen, always. What comes later, and has the
shape of the reply to that request, is taken for it; it is found as soon as the line has a surplus reply
without any request open, and then every reply of that shape since the last one of another shape, or since
the line was last listened to for 50 ms and quiet, is doubtful.

A run of such replies that ends in a damaged or a wrong one was never proven in step: that one may have made
up for one too many. All of it but its first value is doubtful then. Not where it ends in silence, or in a
refusal: a reply one behind would have come instead.

A second reply late, and the reply to the next request lost, leave nothing to count. So a line is listened to
for 50 ms before the same shape is asked again once it has shown a reply too many, and where the request
before was asked twice in a row (its two replies cannot be told apart, so the third might be one behind). And
while a line is `YOUNG`, a reply that equals the last one, but answers another request, is not taken before
the line was listened to and the same is asked again: a second reply equals the first.

What is left: a first second reply ever, more than 3.5 characters late, on a line that was heard to be quiet
behind 20 replies, to a request followed at once by one of the same shape whose own reply is lost. And the
same request asked again within 50 ms may get the value of the time before.
"""

from collections import OrderedDict
from dataclasses import dataclass, replace

from readout.bus.line.owed import Shape
from readout.bus.outcome import Outcome, Status

#: Doubts, and outcomes of one shape in a row, that are remembered.
KEPT = 1000
#: Quiet times behind a reply after which a line is known not to double replies.
YOUNG = 20


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why an outcome is not to be trusted."""

    cause: str
    text: str
    came: bytes


#: Of values that were never listened behind, and that something else than a value followed.
UNPROVEN = Doubt(
    "never proven in step",
    "several replies of one shape came in a row, and then none that fits: which request each of them "
    "answered cannot be told. Try: the advice for the reply that failed.",
    b"",
)


@dataclass(frozen=True, slots=True)
class _Value:
    """When it was asked for [monotonic s], the request, and the whole reply."""

    sent: float
    request: bytes
    reply: bytes


class Doubts:
    """Of one line. An outcome is known by its `sent`: two requests never go out at the same instant."""

    def __init__(self) -> None:
        self._run: list[_Value] = []
        self._kind: tuple[int, Shape] | None = None
        self._quiet = 0
        self._found: OrderedDict[float, Doubt] = OrderedDict()
        self._handed_over = float("-inf")

    def good(self, unit: int, shape: Shape, sent: float, request: bytes, reply: bytes) -> bool:
        """A value is about to be handed out. Whether it may be the last reply once more."""
        kind, value = (unit, shape), _Value(sent, request, reply)
        before = self._run[-1] if self._run and kind == self._kind else None
        if kind != self._kind or len(self._run) >= KEPT:
            self._kind, self._run = kind, []
        self._run.append(value)
        young = self._quiet < YOUNG
        return young and before is not None and before.reply == reply and before.request != request

    def in_step(self) -> None:
        """The line was listened to for long enough and quiet: no reply is one behind."""
        self._quiet += bool(self._run)
        self._run = []

    @property
    def unit(self) -> int:
        """Whose values may still become doubtful; 0: nobody's."""
        return self._kind[0] if self._kind is not None else 0

    def follows(self, unit: int, shape: Shape) -> bool:
        """Whether a reply too many to the last request would look like the reply to this one."""
        return bool(self._run) and self._kind == (unit, shape)

    def twice(self, request: bytes) -> bool:
        """Whether the last request was asked twice in a row, and this is another one."""
        last = self._run[-2:]
        return len(last) > 1 and last[0].request == last[1].request != request

    def ended(self) -> None:
        """Silence or a refusal came: the reply before was not one behind."""
        self._kind, self._run = None, []

    def broken(self) -> tuple[int, int]:
        """Something damaged or wrong came. How many values are doubtful now, and how many too late."""
        return self._cast(UNPROVEN, self._run[1:])

    def cast(self, doubt: Doubt, *, all_alike: bool) -> tuple[int, int]:
        """On the last outcome, or on all of its shape in a row. How many, and how many of them too late."""
        return self._cast(doubt, self._run if all_alike else self._run[-1:])

    def _cast(self, doubt: Doubt, met: list[_Value]) -> tuple[int, int]:
        for value in met:
            self._found[value.sent] = doubt
        while len(self._found) > KEPT:
            self._found.popitem(last=False)
        late = sum(value.sent <= self._handed_over for value in met)
        self.ended()
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
