"""One step of the walk over the line: sent, repeated where that is safe, waited for where a meter is busy."""

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from protocols.log_memory.records import whole
from protocols.log_memory.state import MemoryState, StateReader
from protocols.log_memory.walk.reading import Cause, Problem, Purpose, Step, asked, words_of
from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.replies import Reply
from protocols.modbus.requests import ReadRequest, Request
from protocols.modbus.tables import Table
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Wire
from readout.bus.exchange import Manners
from readout.bus.line.statistics import Statistics
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock
from readout.errors import PortError

#: A busy meter is asked again after this many seconds, then after twice as many, up to the longest.
BUSY_FIRST_S, BUSY_LONGEST_S = 0.2, 2.0
#: Times one read that may be repeated is sent again at once after a damaged reply.
REPEATS = 1
#: Outcomes handed out lately that may still be taken back.
RECENT = 256

_BUSY = frozenset({ExceptionCode.ACKNOWLEDGE, ExceptionCode.BUSY})
_WRITES = frozenset({Purpose.OPEN, Purpose.POINT, Purpose.CLOSE})
_DAMAGED = frozenset({Status.DAMAGED_REPLY, Status.WRONG_REPLY})


class MemoryLine(Protocol):
    """What retrieving needs of a line; `readout.bus.exchange.Line` is one."""

    @property
    def statistics(self) -> Statistics:
        """Counts since the line was made."""
        ...

    def transact(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """One sending without any repeat."""
        ...

    def write(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """Tell the meter something, never twice."""
        ...

    def settle(self, outcomes: Sequence[Outcome]) -> tuple[Outcome, ...]:
        """The outcomes as they stand now."""
        ...


@dataclass
class Counts:
    """What was sent and what came, over the whole retrieval."""

    requests: int = 0
    writes: int = 0
    good: int = 0
    damaged: int = 0
    silent: int = 0
    exceptions: int = 0


@dataclass
class Asker:
    """Sends steps to one meter.

    `note` is told what came of each sending: step, outcome, seconds it took. `refused` is the
    last sentence of a reply that brought nothing. PortError where the port is lost.
    """

    line: MemoryLine
    unit: int
    manners: Manners
    clock: Clock
    stop: threading.Event
    note: Callable[[Step, Outcome, float], None]
    counts: Counts = field(default_factory=Counts)
    refused: str = ""
    _busy_s: float = BUSY_FIRST_S
    _recent: deque[Outcome] = field(default_factory=lambda: deque(maxlen=RECENT))
    _taken_back: int = 0

    def reply(self, step: Step) -> Reply | None:
        """What the meter answers; None where nothing came that could be trusted."""
        outcome = self._sent(step)
        for _ in range(REPEATS):
            if outcome.status not in _DAMAGED or step.purpose in _WRITES or not step.repeatable:
                break
            outcome = self._sent(step)
        if outcome.status is Status.EXCEPTION:
            self.refused = outcome.text
            self._wait_while_busy(outcome)
            return outcome.reply
        self._busy_s = BUSY_FIRST_S
        if outcome.status is not Status.OK:
            self.refused = outcome.text
            return None
        return outcome.reply

    def _sent(self, step: Step) -> Outcome:
        begun = self.clock.monotonic()
        if step.purpose in _WRITES:
            outcome = self.line.write(self.unit, step.request, self.manners)
            self.counts.writes += 1
        else:
            outcome = self.line.transact(self.unit, step.request, self.manners)
            (outcome,) = self.line.settle((outcome,))
        if outcome.status is Status.PORT_LOST:
            raise PortError("lost", outcome.text)
        counts = self.counts
        counts.requests += 1
        counts.good += outcome.status is Status.OK
        counts.damaged += outcome.status in _DAMAGED
        counts.silent += outcome.status is Status.NO_REPLY
        counts.exceptions += outcome.status is Status.EXCEPTION
        self.note(step, outcome, self.clock.monotonic() - begun)
        if step.purpose is Purpose.RECORDS and outcome.status is Status.OK:
            self._recent.append(outcome)
        return outcome

    def _wait_while_busy(self, outcome: Outcome) -> None:
        if outcome.exception not in _BUSY:
            self._busy_s = BUSY_FIRST_S
            return
        until = self.clock.monotonic() + self._busy_s
        self._busy_s = min(2 * self._busy_s, BUSY_LONGEST_S)
        while not self.stop.is_set() and self.clock.monotonic() < until:
            self.clock.sleep_until(min(until, self.clock.monotonic() + 0.1))

    def taken_back(self) -> list[Outcome]:
        """Outcomes that were handed out and are not to be trusted any more; each is told once."""
        statistics = self.line.statistics
        late = statistics.doubted_late + statistics.unproven_late
        if late == self._taken_back:
            return []
        self._taken_back = late
        found = self.line.settle(tuple(self._recent))
        bad = [outcome for outcome in found if outcome.status is not Status.OK]
        names = {outcome.sent for outcome in bad}
        self._recent = deque((one for one in self._recent if one.sent not in names), maxlen=RECENT)
        return bad


def look_at(asker: Asker, memory: LogMemory, wire: Wire) -> MemoryState | Problem:
    """What the meter tells of its memory now; a problem where it does not, or another port holds it."""
    reader = StateReader(memory, wire)
    if in_use(asker, memory):
        return IN_USE
    while (request := reader.next()) is not None:
        found = _driven(asker, Step(Purpose.STATE, request))
        if isinstance(found, Problem):
            return found
        reader.take(words_of(found))
    state = reader.state
    assert state is not None
    return state


def in_use(asker: Asker, memory: LogMemory) -> bool:
    """Whether another port holds the memory, as its lock tells; False where it has none."""
    lock = memory.lock
    if lock is None:
        return False
    table, address = lock.register.table or Table.HOLDING, lock.register.address
    found = _driven(asker, Step(Purpose.LOCK, ReadRequest(table, address, lock.register.addresses)))
    if isinstance(found, Problem):
        return found.cause is Cause.BUSY
    return lock.busy is not None and whole(lock.register, words_of(found)) == lock.busy


def _driven(asker: Asker, step: Step) -> Reply | Problem:
    steps = asked(step, busy_tries=3)
    try:
        step = next(steps)
        while True:
            step = steps.send(asker.reply(step))
    except StopIteration as ended:
        found: Reply | Problem = ended.value
        return found


#: Another port has opened the memory.
IN_USE = Problem(
    Cause.LOCKED, "The memory is in use by another port; try again once that one has released it.", ended=True
)
