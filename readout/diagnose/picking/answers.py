"""What the meter answered, kept for all maps: a request is sent once, and never for part of an answer."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum

from protocols.modbus.exceptions import ExceptionCode, meaning
from protocols.modbus.replies import Cause
from protocols.modbus.tables import Table
from protocols.register_map.model import Column, Value
from readout.bus.outcome import Outcome, Status
from readout.diagnose.picking.planning import contains, needs_of
from readout.plan.blocks import Block

#: Exceptions by which a meter says that it has no such register, or not so many (AP V1.1b3, 7).
REFUSALS = frozenset(
    {ExceptionCode.ILLEGAL_FUNCTION, ExceptionCode.ILLEGAL_DATA_ADDRESS, ExceptionCode.ILLEGAL_DATA_VALUE}
)
#: Whole replies of another length than asked: behind each address lies another number of bytes.
OTHER_LENGTH = frozenset({Cause.FEWER, Cause.MORE, Cause.FOUR_BYTES})
#: Silences after which a meter is not asked for single values any more: each costs the whole waiting.
SILENT_MOST = 3

#: Sends one read.
Ask = Callable[[Block], Outcome]


def _unanswered(outcome: Outcome) -> bool:
    """Whether nothing was said that could be trusted; a whole reply of another length says something."""
    answered = outcome.status in (Status.OK, Status.EXCEPTION) or outcome.cause in OTHER_LENGTH
    return not answered


class Given(Enum):
    """What became of a value's registers."""

    WORDS = "given"
    REFUSED = "not given"
    UNANSWERED = "without a reply that can be trusted"


@dataclass(frozen=True, slots=True)
class Had:
    """A value's registers: `words` by column where given, else `why` they are not."""

    given: Given
    words: Mapping[Column, int] = field(default_factory=dict)
    why: str = ""


@dataclass
class Answers:
    """Every answer of one meter. `asked` counts the requests that were sent.

    `barred` are stretches that no read may touch, each with the map for whose sake.
    """

    ask: Ask
    barred: Mapping[Block, str] = field(default_factory=dict)
    asked: int = 0
    _outcomes: dict[Block, Outcome] = field(default_factory=dict)
    _no_function: dict[Table, Outcome] = field(default_factory=dict)

    @property
    def present(self) -> bool:
        """Whether the meter has said anything that can be trusted, be it a refusal."""
        return any(one.status in (Status.OK, Status.EXCEPTION) for one in self._outcomes.values())

    @property
    def silences(self) -> int:
        """Reads that nothing came of."""
        return sum(one.status is Status.NO_REPLY for one in self._outcomes.values())

    @property
    def outcomes(self) -> list[Outcome]:
        """What came of each read, in order."""
        return list(self._outcomes.values())

    def read(self, block: Block) -> None:
        """Ask for the block, unless an answer that is there says it all."""
        if block in self._outcomes or block.table in self._no_function or self._holding(block):
            return
        if self._bar(block):
            return
        outcome = self._outcomes[block] = self.ask(block)
        self.asked += 1
        if outcome.exception == ExceptionCode.ILLEGAL_FUNCTION:
            self._no_function[block.table] = outcome

    def ask_again(self) -> None:
        """Once more what met damage or silence; of a meter that is silent on much only what met damage."""
        wanted = [block for block, one in self._outcomes.items() if _unanswered(one)]
        if self.silences > SILENT_MOST:
            wanted = [block for block in wanted if self._outcomes[block].status is not Status.NO_REPLY]
        for block in wanted:
            del self._outcomes[block]
            self.read(block)

    def settled(self, finals: Iterable[Outcome]) -> None:
        """Take over the outcomes as they stand after listening on, in the order of `outcomes`."""
        self._outcomes = dict(zip(self._outcomes, finals, strict=True))

    def refused(self, block: Block) -> bool:
        """Whether the meter refused the block, as one."""
        outcome = self._outcomes.get(block)
        return outcome is not None and outcome.exception in REFUSALS

    def had(self, value: Value, blocks: Iterable[Block]) -> Had:
        """What became of a value that a map reads with `blocks`."""
        words: dict[Column, int] = {}
        for need in needs_of(value):
            holding = self._holding(need)
            if holding is None:
                return self._missing(need, blocks)
            words |= self._words(holding)
        return Had(Given.WORDS, {column: words[column] for column in value.columns()})

    def _bar(self, block: Block) -> str:
        """The map that forbids the read; "" where none does."""
        for kept, file in self.barred.items():
            if kept.table is block.table and kept.start < block.end and block.start < kept.end:
                return file
        return ""

    def _holding(self, need: Block) -> Block | None:
        for block, outcome in self._outcomes.items():
            if outcome.status is Status.OK and contains(block, need):
                return block
        return None

    def _words(self, block: Block) -> dict[Column, int]:
        places = [
            Column(block.table, address, word)
            for address in range(block.start, block.end)
            for word in range(block.words)
        ]
        return dict(zip(places, self._outcomes[block].words, strict=True))

    def _missing(self, need: Block, blocks: Iterable[Block]) -> Had:
        """The value alone was asked last; else the block that would have held it."""
        for block in (need, *(each for each in blocks if contains(each, need))):
            outcome = self._outcomes.get(block) or self._no_function.get(block.table)
            if outcome is None:
                continue
            if outcome.exception in REFUSALS:
                assert outcome.exception is not None
                name = meaning(outcome.exception).name
                return Had(Given.REFUSED, why=f"exception {outcome.exception:02X}, {name}")
            if outcome.cause in OTHER_LENGTH:
                return Had(Given.REFUSED, why=f"{outcome.cause} in its reply")
            return Had(Given.UNANSWERED, why=outcome.text)
        file = self._bar(need) or next(filter(None, map(self._bar, blocks)), "")
        why = f"not asked: reading there would move the log memory of {file} on" if file else "not asked for"
        return Had(Given.UNANSWERED, why=why)
