"""What to read next until every record the meter holds is known, or its loss is stated.

    walker = Walker(memory, wire, known)
    while (step := walker.next()) is not None:
        taken = walker.take(reply_to(step.request))     # None where no trustworthy reply came
        keep(taken.batches)
    print(walker.statement())

Numbers are extended. A batch is handed out once its records are proven; keep it before the next `take`.
The walker sends nothing and waits for nothing: it can be dropped at any step and begun again with what is
known by then. Once `opened`, the meter's lock must be closed: `closing()` is the step that does it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from protocols.log_memory.numbers import memory_modulus, without
from protocols.log_memory.records import Batch, whole
from protocols.log_memory.state import MemoryState, Session, StateReader
from protocols.log_memory.walk.account import Account, Known, Statement, Target, common
from protocols.log_memory.walk.queue import Drain
from protocols.log_memory.walk.reading import (
    Cause,
    Problem,
    Purpose,
    Reader,
    Step,
    Steps,
    asked,
    words_of,
)
from protocols.log_memory.walk.ring import Ring
from protocols.log_memory.walk.sweep import Sweep
from protocols.log_memory.ways import Reach, written
from protocols.modbus.replies import Reply
from protocols.modbus.requests import ReadRequest
from protocols.register_map.memory_model import ByQueue, Lock, LogMemory
from protocols.register_map.model import Wire

#: Numbers that turn here or later cannot have turned between two visits.
WIDE = 1 << 31
#: How often the end is looked at for records added meanwhile: a fast recorder must not hold us for ever.
PASSES = 4


@dataclass(frozen=True, slots=True)
class Taken:
    """What a reply brought: proven records, and what went wrong on the way."""

    batches: tuple[Batch, ...] = ()
    problems: tuple[Problem, ...] = ()


class Walker:
    """See the module. `reread` are records to be read again although they are known."""

    def __init__(
        self, memory: LogMemory, wire: Wire, known: Iterable[Known] = (), reread: Iterable[Known] = ()
    ) -> None:
        self.memory, self.wire = memory, wire
        self.reach = Reach(memory, wire)
        #: Whether this walker may have opened the lock.
        self.opened = False
        self._known = {one.started_ms: one for one in known}
        self._reread = {one.started_ms: one.ranges for one in reread}
        reader, self._account = Reader(self.reach), Account()
        ring = Ring(memory, reader, self._look)
        self._sweep = Sweep(memory, reader, ring, self._account, self.reach.most)
        self._begun: dict[int | None, Target] = {}
        self._steps = self._run()
        self._step: Step | None = next(self._steps, None)

    @property
    def records_per_read(self) -> int:
        """Records to ask for at once, 1 to `reach.most`; may be set at any time, for the reads to come."""
        return self._sweep.records_per_read

    @records_per_read.setter
    def records_per_read(self, records: int) -> None:
        self._sweep.records_per_read = max(1, min(records, self.reach.most))

    def tell(self, meter_now_ms: int | None = None, interval_ms: int | None = None) -> None:
        """What is known from elsewhere, where it is.

        The meter's time now, ms since 1970 by its own clock: a record whose interval is over by then is not
        taken for an unfinished one. And the interval between records, for a memory that does not tell it.
        """
        self._sweep.meter_now_ms = meter_now_ms if meter_now_ms is not None else self._sweep.meter_now_ms
        self._sweep.interval_ms = interval_ms if interval_ms is not None else self._sweep.interval_ms

    @property
    def state(self) -> MemoryState | None:
        """The last look at the memory."""
        return self._sweep.state

    def next(self) -> Step | None:
        """What to send now; the same until its reply is taken. None: it is over."""
        return self._step

    def take(self, reply: Reply | None) -> Taken:
        """The reply to the step, or None where none came that could be trusted."""
        try:
            self._step = self._steps.send(reply)
        except StopIteration:
            self._step = None
        problems = self._sweep.reader.problems
        taken = Taken(tuple(self._sweep.batches), tuple(problems))
        self._sweep.batches.clear()
        problems.clear()
        return taken

    def closing(self) -> Step | None:
        """The step that closes the lock, whatever else is under way; None where nothing is open."""
        lock = self.memory.lock
        if lock is None or not self.opened:
            return None
        return Step(Purpose.CLOSE, written(lock.register, lock.close, self.wire)[0])

    def statement(self) -> Statement:
        """The account so far; while steps are left, what was not asked for yet is in no gap."""
        return self._account.statement()

    def _run(self) -> Steps[None]:
        problem = None
        if self.memory.lock is not None:
            problem = yield from self._open(self.memory.lock)
        if problem is None:
            yield from self._retrieve()
        else:
            self._end(problem)
        step = self.closing()
        if step is not None:
            closed = yield from asked(step, busy_tries=2)  # busy: another port has taken the memory meanwhile
            self.opened = isinstance(closed, Problem)

    def _open(self, lock: Lock) -> Steps[Problem | None]:
        assert lock.register.table is not None
        look = ReadRequest(lock.register.table, lock.register.address, lock.register.addresses)
        before = yield from asked(Step(Purpose.LOCK, look), busy_tries=1)
        if _is_held(lock, before):
            return _LOCKED
        self.opened = True  # also where the confirmation is lost: closing twice does no harm
        (write,) = written(lock.register, lock.open, self.wire)
        confirmed = yield from asked(Step(Purpose.OPEN, write), busy_tries=1)
        after = yield from asked(Step(Purpose.LOCK, look), busy_tries=1)
        if _is_held(lock, confirmed) or _is_held(lock, after):
            self.opened = False
            return _LOCKED
        return confirmed if isinstance(confirmed, Problem) else None

    def _look(self) -> Steps[MemoryState | Problem]:
        """The memory as the meter tells it now."""
        reader = StateReader(self.memory, self.wire)
        while (request := reader.next()) is not None:
            reply = yield from asked(Step(Purpose.STATE, request))
            if isinstance(reply, Problem):
                return reply
            reader.take(words_of(reply))
        state = reader.state
        assert state is not None
        self._sweep.state = state
        return state

    def _retrieve(self) -> Steps[None]:
        """Look, fetch what is new, look again for what was added meanwhile."""
        for turn in range(PASSES):
            state = yield from self._look()
            if isinstance(state, Problem):
                self._end(state)
                return
            problem = self._other_layout(state)
            if problem is not None:
                self._end(problem)
                return
            self._sweep.ring.learn(state)
            more = yield from self._fetch(state, turn)
            if not more or self._account.ended is not None:
                return

    def _fetch(self, state: MemoryState, turn: int) -> Steps[bool]:
        """One pass over everything the meter tells of; whether another may find more."""
        way = self.memory.reached_by
        found = yield from self._targets(state)
        if isinstance(found, Problem):
            self._end(found)
            return False
        if isinstance(way, ByQueue) and way.advance:
            yield from self._drain(found)
            return False
        if found is None:
            known = self._known.get(None, Known(None, ()))
            start = range(known.end, self.memory.capacity)
            yield from self._sweep.unlisted(Target(0, _UNTOLD, start, known.ranges))
            return False
        if found and self.memory.is_ring:
            self._sweep.ring.oldest = max(self._sweep.ring.oldest, found[0].numbers.start)
            self._state_missed(found)
        fetched = False
        for target in found:
            self._account.expect(target)
            again = self._reread.get(target.session.started_ms, ()) if turn == 0 else ()
            for numbers in without(target.numbers, self._done(target)):
                if self._sweep.is_running(target, numbers):
                    continue
                fetched = True
                yield from self._sweep.fetch_range(target, numbers)
            for one in again:
                yield from self._sweep.fetch_range(target, common(target.numbers, one), again=True)
        return fetched

    def _state_missed(self, found: list[Target]) -> None:
        """What a ring overwrote since the last record known, or since the last look, before it was read."""
        now = {target.session.started_ms: target for target in found}
        for started, target in now.items():
            first = target.numbers.start
            last_known = max((one.stop for one in target.known), default=first)
            begun = self._begun.setdefault(
                started, Target(target.index, target.session, range(last_known, first))
            )
            missed = without(range(begun.numbers.start, first), self._done(target))
            self._lose(target, missed)
        for started, target in self._begun.items():
            if started not in now:  # a session that was there at the first look and is gone altogether
                self._lose(target, without(self._account.expected(started), self._done(target)))

    def _lose(self, target: Target, missed: Iterable[range]) -> None:
        for numbers in missed:
            self._account.expect(Target(target.index, target.session, numbers))
            self._sweep.overwritten(target, numbers)

    def _done(self, target: Target) -> tuple[range, ...]:
        return (*target.known, *self._sweep.handled.get(target.session.started_ms, ()))

    def _drain(self, found: list[Target] | None) -> Steps[None]:
        """A queue that moves on: from the oldest record told of, else from where the archive ends."""
        known = self._known.get(None, Known(None, ()))
        targets = found or [Target(0, _UNTOLD, range(known.end, known.end), known.ranges)]
        for target in targets:
            self._account.expect(target)
        yield from Drain(self._sweep, targets, targets[0].numbers.start).run()

    def _targets(self, state: MemoryState) -> Steps[list[Target] | Problem | None]:
        """The sessions with their extended numbers; None where nothing tells how many records there are."""
        memory = self.memory
        sessions = state.all_sessions(memory)
        if sessions is None:
            if not memory.is_ring or memory.record.number is None or isinstance(memory.reached_by, ByQueue):
                return None
            extent = yield from self._sweep.ring.probe()
            if isinstance(extent, Problem):
                return extent
            sessions = (Session(None, None, len(extent), extent.start),)
        modulus = memory_modulus(memory)
        found: list[Target] = []
        end = 0
        for index, session in enumerate(sessions):
            known = self._known.get(session.started_ms, Known(session.started_ms, ()))
            if self._restarted(session, known, modulus):
                known = Known(session.started_ms, ())
            handled = self._sweep.handled.get(session.started_ms, ())
            after = max([known.end, *(one.stop for one in handled)])
            if memory.is_ring or memory.number_wraps_at is not None:
                after = max(after, end + session.records)
            numbers = session.range_after(after, modulus)
            found.append(Target(index, session, numbers, known.ranges, index == len(sessions) - 1))
            end = numbers.stop
        return found

    def _restarted(self, session: Session, known: Known, modulus: int | None) -> bool:
        """Whether fewer records are told of than are known, and no turn of the numbers explains it."""
        memory, end = self.memory, session.first + session.records
        goes_on = isinstance(memory.reached_by, ByQueue)  # what was taken out makes room for further numbers
        most = 1 << 16 if goes_on else memory.capacity
        turns = memory.is_ring or memory.number_wraps_at is not None or (modulus or 1 << 32) <= most
        behind = end < known.end
        if turns:  # wide numbers do not turn between two visits: less than half a turn behind is behind
            wide = modulus is not None and modulus >= WIDE
            behind = wide and 0 < (known.end - end) % (modulus or WIDE) < WIDE // 2
        if not behind:
            return False
        text = (
            f"The archive has records up to number {known.end - 1}, and the meter's end at {end - 1}: it was "
            "erased and began to count again. All of them are read as new."
        )
        self._sweep.reader.problems.append(Problem(Cause.RESTARTED, text))
        return True

    def _other_layout(self, state: MemoryState) -> Problem | None:
        """A width that the meter tells and the map does not know; more records than there can be."""
        beyond = state.unbelievable(self.memory)
        if beyond is not None:
            return Problem(Cause.LAYOUT, f"{beyond} Nothing was read from here on.", ended=True)
        record, told = self.memory.record, state.registers
        if told is None or told == record.registers:
            return None
        if not record.stated and told > record.registers:
            if told != self.reach.registers:
                self.reach = self._sweep.reader.reach = Reach(self.memory, self.wire, told)
            return None
        return Problem(
            Cause.LAYOUT,
            f"The meter tells of records of {told} registers, and the map describes {record.registers}: "
            "another layout. Nothing was read from here on; check the meter's settings and its map.",
            ended=True,
        )

    def _end(self, problem: Problem) -> None:
        self._account.ended = Problem(problem.cause, problem.text, ended=True)


_UNTOLD = Session(None, None, 0, 0)
_LOCKED = Problem(
    Cause.LOCKED, "The memory is in use by another port; try again once that one has released it.", ended=True
)


def _is_held(lock: Lock, found: Reply | Problem) -> bool:
    """Whether another port holds the memory: the lock reads so, or the meter refuses as busy."""
    if isinstance(found, Problem):
        return found.cause is Cause.BUSY
    words = words_of(found)
    return bool(words) and lock.busy is not None and whole(lock.register, words) == lock.busy
