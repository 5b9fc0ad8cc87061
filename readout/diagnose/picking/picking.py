"""One meter, asked for the sake of all maps: is it there, what it calls itself, what its registers mean."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from protocols.modbus.replies import Identification, ServerId
from protocols.modbus.requests import ReadDeviceIdentification, ReadRequest, ReportServerId, Request
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock
from readout.diagnose.picking.answers import SILENT_MOST, Answers
from readout.diagnose.picking.evidence import Evidence, evidence
from readout.diagnose.picking.planning import Candidate, in_order, lone
from readout.diagnose.picking.ranking import Name, Ranked, Verdict, ranked
from readout.errors import PortError
from readout.plan.blocks import Block

#: Objects of an identification that name the product: its code, its name, its model (AP V1.1b3, 6.21).
PRODUCT_OBJECTS = (1, 4, 5)
#: Regular identification: a meter that has only the basic one answers with that (AP V1.1b3, 6.21).
REGULAR = 2
#: Seconds listened behind the last reply, in case another follows and makes it doubtful.
LISTEN = 0.05
#: Text in the reply to function 17, whose layout is the maker's own: runs of so many printable characters.
_PRINTABLE = re.compile(rb"[ -~]{4,}")


@dataclass(frozen=True, slots=True)
class Setting:
    """Line settings and unit address that a meter may have."""

    format: SerialFormat
    unit: int

    def __str__(self) -> str:
        return f"unit {self.unit} at {self.format}"


class Meter(Protocol):
    """What picking needs of a meter on its line; all of it only reads."""

    def read(self, block: Block) -> Outcome:
        """One read of one block."""
        ...

    def ask(self, request: Request) -> Outcome:
        """One other question."""
        ...

    def settle(self, outcomes: Sequence[Outcome]) -> Sequence[Outcome]:
        """The outcomes as they stand once the line was listened to."""
        ...


class LineMeter:
    """A meter on an open line: only read requests leave here. PortError once the port is lost."""

    def __init__(self, line: Line, unit: int, manners: Manners, clock: Clock) -> None:
        self.manners = manners
        self._line, self._unit, self._clock = line, unit, clock

    def read(self, block: Block) -> Outcome:
        """One read of one block, with as many words behind each address as it says; not repeated here."""
        manners = replace(self.manners, words_per_address=block.words, repeats=0)
        request = ReadRequest(block.table, block.start, block.count)
        return _there(self._line.read(self._unit, request, manners))

    def ask(self, request: Request) -> Outcome:
        """One other question, not repeated: many meters stay silent on what they do not know."""
        assert not request.WRITES
        return _there(self._line.ask(self._unit, request, replace(self.manners, repeats=0)))

    def settle(self, outcomes: Sequence[Outcome]) -> Sequence[Outcome]:
        """Listen a moment behind the last reply."""
        return self._line.settle(outcomes, self._clock.monotonic() + LISTEN)


def _there(outcome: Outcome) -> Outcome:
    if outcome.status is Status.PORT_LOST:
        raise PortError("lost", outcome.text)
    return outcome


@dataclass(frozen=True, slots=True)
class Picked:
    """All maps, best first; what the meter calls itself; how many requests were sent."""

    maps: tuple[Ranked, ...]
    names: tuple[Name, ...]
    asked: int


def probes(candidates: Sequence[Candidate]) -> list[Block]:
    """What shows whether a meter is there: the first read of each map, each once."""
    wanted = dict.fromkeys(block for one in candidates for block in one.blocks[:1])
    if not wanted:  # maps of nothing but records: any register will do, a refusal is an answer
        return [Block(Table.HOLDING, 0, 1)]
    return sorted(wanted, key=in_order(candidates).index)


def is_there(answers: Answers, asked: Sequence[Block]) -> bool:
    """Whether the meter says anything that can be trusted to one of these reads."""
    for block in asked:
        answers.read(block)
        if answers.present:
            return True
    return False


def pick(
    candidates: Sequence[Candidate],
    answers: Answers,
    meter: Meter,
    now_ms: int,
    tell: Callable[[int], None] = lambda _asked: None,
) -> Picked:
    """Read what is left, judge every map. Where none fits, refused blocks are asked value by value.

    `now_ms`: the computer's time [ms since 1970]; `tell` is called with the number of requests sent.
    """
    names = called(meter)
    extra = len(names[1])

    def ask_all(blocks: Sequence[Block]) -> None:
        for block in blocks:
            answers.read(block)
            tell(answers.asked + extra)
        answers.settled(meter.settle(answers.outcomes))

    def judged() -> list[Ranked]:
        found: list[Evidence] = [evidence(one, answers, now_ms) for one in candidates]
        return ranked(found, names[0])

    ask_all(in_order(candidates))
    answers.ask_again()
    ask_all([])
    result = judged()
    if not any(one.verdict is Verdict.FITS for one in result):
        split = [one for one in candidates if any(answers.refused(block) for block in one.blocks)]
        for block in lone(split):
            if answers.silences >= SILENT_MOST:
                break
            ask_all([block])
        result = judged()
    return Picked(tuple(result), tuple(names[0]), answers.asked + extra)


def called(meter: Meter) -> tuple[list[Name], list[Outcome]]:
    """What the meter calls itself by functions 17 and 43/14, and what came of the two questions."""
    asked = [meter.ask(ReportServerId()), meter.ask(ReadDeviceIdentification(REGULAR))]
    found: list[Name] = []
    for outcome in asked:
        if outcome.status is not Status.OK:
            continue
        if isinstance(outcome.reply, ServerId):
            texts = _PRINTABLE.findall(outcome.reply.data)
            found += [Name(text.decode("ascii").strip(), "function 17") for text in texts]
        if isinstance(outcome.reply, Identification):
            objects = dict(outcome.reply.objects)
            texts = [
                text for number in PRODUCT_OBJECTS for text in _PRINTABLE.findall(objects.get(number, b""))
            ]
            found += [Name(text.decode("ascii").strip(), "function 43/14") for text in texts]
    return found, asked
