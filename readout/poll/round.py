"""One round over one meter: every read of its plan asked once, in order, and what came of it.

A round never raises for what the line did: it tells a status in the archive's words, the finer cause, and
every word that was received.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from protocols.modbus.requests import ReadRequest
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.plan.plan import PlannedRead, Role, RoundPlan
from readout.poll.telling import hints, refused_text

#: How often the first part of a value with parts apart is read: twice before the others, once after.
FIRST_READS = 3

#: How a row's cause says which values were not asked for, because the meter is known to refuse them.
REFUSED = "refused:"


class Reader(Protocol):
    """The part of a line that a round needs."""

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        """One read of one block; never raises for what the line or the meter does."""
        ...

    def settle(self, outcomes: Sequence[Outcome], until: float) -> Sequence[Outcome]:
        """The outcomes as they stand once the line was listened to: more behind a reply takes it back."""
        ...


@dataclass(frozen=True, slots=True)
class PolledPoint:
    """A meter as polling sees it: its unit address, what is read in which order, and how it is treated.

    `free_until`: the line is not needed before this instant [monotonic s], and may be listened to.
    `after_silence`: how the rest of a round is asked for once a read met silence; None: as before.
    """

    name: str
    unit: int
    plan: RoundPlan
    manners: Manners
    free_until: float = float("-inf")
    after_silence: Manners | None = None


@dataclass(frozen=True, slots=True)
class Round:
    """What one round brought.

    `words` are in the order of the plan's columns, None where nothing that could be trusted came.
    `ended` is the monotonic time [s] at which the last bytes of a reply were complete, None where nothing
    came at all. `unsteady` names the values with parts read apart whose first part was not the same in every
    read, or not read every time: they cannot be put together. `failed` is the cause of the first read that
    brought nothing, after all repeats; empty where none failed, or the port is gone.
    """

    status: Status
    cause: str
    text: str
    words: tuple[int | None, ...]
    ended: float | None
    unsteady: tuple[str, ...] = ()
    late_replies: int = 0
    outcomes: tuple[Outcome, ...] = ()
    failed: str = ""


def poll(line: Reader, point: PolledPoint, *, first_only: bool = False) -> Round:
    """Ask every read of the point's plan once.

    With `first_only`, reading ends after a first block without any reply: so a meter that was silent in its
    last round costs the line one silence, not one for each block. A lost port ends the round at once.
    """
    return summed_up(point.plan, ask_all(line, point, first_only=first_only))


#: A read and what came of it.
Asked = tuple[PlannedRead, Outcome]


def ask(line: Reader, point: PolledPoint, read: PlannedRead) -> Asked:
    """One read of the point's meter."""
    manners = point.manners
    if read.block.words != manners.words_per_address:  # 32 bits behind each address of this block
        manners = replace(manners, words_per_address=read.block.words)
    return read, line.read(point.unit, read.request, manners)


def ask_all(line: Reader, point: PolledPoint, *, first_only: bool = False) -> list[Asked]:
    """The reads of the point's plan in their order, as far as `poll` says."""
    asked: list[Asked] = []
    for read in point.plan.reads:
        asked.append(ask(line, point, read))
        status = asked[-1][1].status
        if status is Status.PORT_LOST or (first_only and status is Status.NO_REPLY):
            break
        if status is Status.NO_REPLY and point.after_silence is not None:
            point = replace(point, manners=point.after_silence)
    final = line.settle([outcome for _, outcome in asked], point.free_until)
    return [(read, outcome) for (read, _), outcome in zip(asked, final, strict=True)]


def summed_up(plan: RoundPlan, asked: Sequence[Asked]) -> Round:
    """What reads of a plan brought together; reads besides the plan's may be among them.

    What the meter is known to refuse was not asked, and is not there: such a round is partial at best.
    """
    words: dict[object, int] = {}
    apart: dict[str, list[tuple[int, ...]]] = {}
    for read, outcome in asked:
        if outcome.status is Status.OK:
            if read.role is Role.DATA:
                words.update(zip(read.columns, outcome.words, strict=True))
            if _is_first_part(plan, read):
                apart.setdefault(str(read.apart), []).append(outcome.words)
    outcomes = tuple(outcome for _, outcome in asked)
    good = sum(outcome.status is Status.OK for outcome in outcomes)
    failed = next((outcome for outcome in outcomes if outcome.status is not Status.OK), None)
    if failed is None:
        status = Status.PARTIAL if plan.refused else Status.OK
    elif good:
        status = Status.PARTIAL
    else:
        status = outcomes[0].status
    if not outcomes and plan.refused:
        status = Status.EXCEPTION
    causes, texts = [failed.cause] if failed else [], [failed.text, *hints(asked)] if failed else []
    if plan.refused:
        causes.append(f"{REFUSED} {' '.join(value.name for value in plan.refused)}")
        texts.append(refused_text(plan))
    return Round(
        status,
        "; ".join(cause for cause in causes if cause),
        "\n".join(text for text in texts if text),
        tuple(words.get(column) for column in plan.columns),
        max((o.ended for o in outcomes if o.received), default=None),
        tuple(name for name, firsts in apart.items() if len(set(firsts)) > 1 or len(firsts) < FIRST_READS),
        sum(outcome.late for outcome in outcomes),
        outcomes,
        failed.cause if failed is not None and failed.status is not Status.PORT_LOST else "",
    )


def _is_first_part(plan: RoundPlan, read: PlannedRead) -> bool:
    """Whether the read delivers the first part of a value whose parts stand apart."""
    return read.apart is not None and any(
        other.role is Role.COMPARED and other.apart == read.apart and other.block == read.block
        for other in plan.reads
    )


def nothing_asked(status: Status, text: str) -> Round:
    """A round in which nothing was sent: the port is not there, or the round was skipped."""
    return Round(status, text, text, (), None)
