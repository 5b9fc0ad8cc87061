"""One point of a line as the line's thread keeps it."""

from dataclasses import dataclass, field
from typing import Protocol

from readout.bus.exchange import Line
from readout.bus.outcome import Status
from readout.daemon.identity import Met
from readout.plan.schedule import Grid, Schedule
from readout.poll.round import PolledPoint, Round, poll


class Ask(Protocol):
    """Makes a round over one meter."""

    def __call__(self, line: Line, point: PolledPoint, *, first_only: bool = False) -> Round:
        """As `readout.poll.round.poll`."""
        ...


@dataclass(frozen=True, slots=True)
class Introduced:
    """What came of asking a meter who it is: whether it is the point's own, and how the round ended.

    `failed`: as in `readout.poll.round.Round`.
    """

    met: Met
    status: Status = Status.OK
    text: str = ""
    failed: str = ""


@dataclass
class RecordedPoint:
    """One point of a line as its thread keeps it. `plan` is the journal's id of the record its rows have.

    `ask` makes a round, as `readout.poll.round.poll` does. `silent` counts rounds in a row without any reply;
    `asked` and `heard_out` are when it was last asked, and last with all the patience its map wants
    [monotonic s]; `usual_s` is about how long it takes to answer [s].
    """

    polled: PolledPoint
    grid: Grid
    plan: str
    rounds_left: int | None = None
    ask: Ask = poll
    silent: int = 0
    asked: float = float("-inf")
    heard_out: float = float("-inf")
    usual_s: float = 0.0
    tells: bool = True  # the map has something to ask it about itself
    unmet: bool = True  # who it is must be asked before its next row
    stranger: bool = False  # another meter answers at its address
    schedule: Schedule = field(init=False)
