"""One retrieval: the walk over the line, each window durable before the next is asked for.

A retrieval can end anywhere. What was kept until then is known to the next one, which asks for the rest: at
most the window under way, and one whose keeping was under way, are asked for twice.
"""

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from protocols.log_memory.numbers import memory_modulus, without
from protocols.log_memory.records import Batch
from protocols.log_memory.state import Session
from protocols.log_memory.walk.account import Known
from protocols.log_memory.walk.reading import Cause, Problem, Purpose, Step
from protocols.log_memory.walk.walker import Taken, Walker
from protocols.log_memory.ways import Estimate
from protocols.modbus.replies import Written
from protocols.modbus.timing import SerialFormat
from protocols.register_map.memory_model import ByFiles, ByQueue, ByRegisters, LogMemory
from protocols.register_map.model import Wire
from readout.bus.exchange import Manners
from readout.bus.line.doubt import UNPROVEN
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock
from readout.errors import PortError
from readout.retrieve.account import ChangedRecord, MissingRecords, Retrieved
from readout.retrieve.asking import IN_USE, Asker, MemoryLine, in_use, look_at
from readout.retrieve.forecast import LineCost, Pace, Progress, wanted
from readout.retrieve.holdings import Holdings
from readout.retrieve.length import ReadLength
from storage.journal.memory import Window

#: Walks until windows that were taken back are all there again; on a line that bad the rest is for next time.
MOST_WALKS = 4
#: Known records of a memory without sessions that must all differ for it to count as erased.
SAMPLES = 3
#: Times the lock's closing is tried.
CLOSING_TRIES = 3


class Verify(StrEnum):
    """Which known records are read again and compared: the last of each session, or all."""

    LAST = "last"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be retrieved, of whom. `plan` is the journal's id of what is true of the new records.

    `interval_ms` and `meter_now_ms` [by the meter's own clock] as known from elsewhere, None where not.
    `records_per_read`: ask for that many always, instead of following the line.
    """

    point: str
    memory: LogMemory
    wire: Wire
    fmt: SerialFormat
    unit: int
    manners: Manners
    plan: str
    interval_ms: int | None = None
    meter_now_ms: int | None = None
    verify: Verify = Verify.LAST
    records_per_read: int | None = None


def _nothing(*_: object) -> None:
    """Nobody wants to know."""


@dataclass(frozen=True, slots=True)
class Watch:
    """Who is told while it goes: the forecast once, progress after each window, sentences for the person.

    `aside` is called between two requests every `aside_every_s`, and may use the line.
    """

    forecast: Callable[[Estimate], None] = _nothing
    progress: Callable[[Progress], None] = _nothing
    say: Callable[[str], None] = _nothing
    aside: Callable[[], None] = _nothing
    aside_every_s: float = float("inf")


@dataclass
class Retrieval:
    """Make it, call `run` once. `stop` ends it between two requests, with the lock closed."""

    line: MemoryLine
    task: Task
    holdings: Holdings
    clock: Clock
    stop: threading.Event = field(default_factory=threading.Event)
    watch: Watch = field(default_factory=Watch)

    def __post_init__(self) -> None:
        task = self.task
        self.result = Retrieved()
        self._cost = LineCost(task.fmt, task.manners.pause)
        self._asker = Asker(self.line, task.unit, task.manners, self.clock, self.stop, self._note)
        self._length: ReadLength | None = None
        self._pace: Pace | None = None
        self._restarted: set[int | None] = set()
        self._sessions: dict[int, int] = {}  # place in the meter's list → the archive's number
        self._pending: list[float] = []  # reads whose records are not kept yet
        self._kept: dict[float, int] = {}  # read → window
        self._doubtful: set[float] = set()
        self._missed = 0  # windows to be asked for once more
        self._begun = self.clock.monotonic()
        self._next_aside = self._begun + self.watch.aside_every_s

    def run(self) -> Retrieved:
        """Retrieve; raises `PortError` where the port is lost and `StorageError` where the disk refuses."""
        if self._erased_and_refilled():
            self._begin_again(None, self.task.interval_ms, 0)
        gaps: list[MissingRecords] = []
        for turn in range(MOST_WALKS):
            self._missed = 0
            known = self.holdings.known()
            reread = self._reread(known) if turn == 0 else ()
            walker = Walker(self.task.memory, self.task.wire, known, reread)
            walker.tell(self._meter_now(), self.task.interval_ms)
            try:
                self._walk(walker)
            finally:
                self._close(walker)
                self._account(walker, turn, gaps)
            self._explain_busy()
            if not self._missed or self.result.ended or self.result.interrupted:
                break
        return self.result

    def _explain_busy(self) -> None:
        """A meter that stays busy may be so because another port took the memory meanwhile."""
        ended = self.result.ended
        if ended is not None and ended.cause is Cause.BUSY and in_use(self._asker, self.task.memory):
            self.result.ended = IN_USE

    def _reread(self, known: list[Known]) -> list[Known]:
        if self.task.verify is Verify.ALL:
            return known
        return [Known(one.started_ms, (range(one.end - 1, one.end),)) for one in known if one.end]

    # ---- the walk

    def _walk(self, walker: Walker) -> None:
        while (step := walker.next()) is not None:
            if self.stop.is_set():
                self.result.interrupted = True
                return
            reply = self._asker.reply(step)
            walker.tell(self._meter_now())
            self.result.heard = self.result.heard or reply is not None
            self._take_back(self._asker.taken_back())
            if step.purpose is Purpose.RECORDS and self._length is not None:
                walker.records_per_read = self._length.next()
            self._take(walker, walker.take(reply))
            if self.clock.monotonic() >= self._next_aside:
                self.watch.aside()
                self._next_aside = self.clock.monotonic() + self.watch.aside_every_s

    def _meter_now(self) -> int | None:
        """What the meter's clock shows now, ms since 1970."""
        told = self.task.meter_now_ms
        return None if told is None else told + round((self.clock.monotonic() - self._begun) * 1000)

    def _take(self, walker: Walker, taken: Taken) -> None:
        if self._length is None and walker.state is not None:
            self._begin(walker)
        for problem in taken.problems:
            if problem.cause is Cause.RESTARTED:
                self._restart(walker, problem)
        for batch in taken.batches:
            self._batch(walker, batch)

    def _begin(self, walker: Walker) -> None:
        """After the first look at the memory: how much there is, and how long it will take."""
        memory, state = self.task.memory, walker.state
        assert state is not None
        told = state.all_sessions(memory)
        records = None
        if told is not None and state.unbelievable(memory) is None:
            ranges = wanted(memory, state, self.holdings.known())
            forecast = self._cost.whole(walker.reach, ranges)
            records = forecast.records
            self.watch.forecast(forecast)
            self.result.sessions = len(told) if memory.sessions else int(any(one.records for one in told))
        self._pace = Pace(records, self.clock.monotonic())
        unproven = isinstance(memory.reached_by, ByRegisters | ByFiles) and memory.record.number is None
        reach = walker.reach
        most = min(reach.most, self.task.records_per_read or reach.most)
        self._length = ReadLength(
            most, lambda n: self._cost.of(reach, n), alternate=unproven, fixed=self.task.records_per_read
        )
        walker.records_per_read = self._length.next()

    def _note(self, step: Step, outcome: Outcome, seconds: float) -> None:
        """What came of one sending of a read of records, or of anything before the first of them."""
        damaged = outcome.status in (Status.DAMAGED_REPLY, Status.WRONG_REPLY)
        silent = outcome.status is Status.NO_REPLY
        if outcome.status is Status.OK:
            self._cost.measure(len(outcome.request) + len(outcome.received), outcome.ended - outcome.sent)
            if step.purpose is Purpose.RECORDS:
                self._pending.append(outcome.sent)
        if self._length is not None and step.purpose is Purpose.RECORDS:
            self._length.note(step.count, damaged=damaged, silent=silent, seconds=seconds)

    def _restart(self, walker: Walker, problem: Problem) -> None:
        """The meter was erased: what it holds now is another session than the one of the same start."""
        known = {one.started_ms: one.end for one in self.holdings.known()}
        for session in self._told(walker):
            started = session.started_ms
            if started in self._restarted or session.first + session.records >= known.get(started, 0):
                continue
            self._begin_again(started, session.interval_ms or self.task.interval_ms, session.first)
            self.watch.say(f"{self.task.point}: {problem.text}")

    def _begin_again(self, started: int | None, interval_ms: int | None, first: int) -> None:
        self._restarted.add(started)
        self.holdings.begin_again(started, interval_ms, first)
        self.result.restarted += 1

    def _erased_and_refilled(self) -> bool:
        """Whether a memory that tells no session start holds other records than those of the same numbers.

        It may have been erased by somebody and have recorded more since than the archive knows: then its
        numbers alone tell nothing. A few known records are read again; where all of them differ, it was.
        """
        memory = self.task.memory
        known = next((one for one in self.holdings.known() if one.started_ms is None and one.ranges), None)
        moves_on = isinstance(memory.reached_by, ByQueue) and memory.reached_by.advance
        if memory.sessions is not None or known is None or moves_on:
            return False
        state = look_at(self._asker, memory, self.task.wire)
        told = () if isinstance(state, Problem) else state.all_sessions(memory) or ()
        if not told:
            return False
        numbers = told[0].range_after(known.end, memory_modulus(memory))
        ends = (number for one in known.ranges for number in (one.start, one[len(one) // 2], one.stop - 1))
        held = sorted({number for number in ends if number in numbers})
        if len(held) < SAMPLES or numbers.stop < known.end:
            return False
        differ = self._differ([held[0], held[len(held) // 2], held[-1]], (*known.ranges, numbers))
        if len(differ) < SAMPLES or not all(differ):
            return False
        self.watch.say(
            f"{self.task.point}: the meter has other records under the numbers of archived ones: it was "
            "erased and has recorded anew. All of them are read as new."
        )
        return True

    def _differ(self, samples: list[int], known: tuple[range, ...]) -> list[bool]:
        """For each sample that could be read again, whether it reads otherwise than it is kept."""
        session = self.holdings.latest(None)
        assert session is not None
        kept = self.holdings.words_of(session.number, np.array(samples, np.int64))
        again = [Known(None, tuple(range(one, one + 1) for one in samples))]
        walker = Walker(self.task.memory, self.task.wire, [Known(None, known)], again)
        differ: list[bool] = []
        try:
            while (step := walker.next()) is not None and not self.stop.is_set():
                for batch in walker.take(self._asker.reply(step)).batches:
                    rows = zip(batch.numbers.tolist(), batch.words.tolist(), strict=True)
                    differ += [kept.get(number, ())[: len(words)] != tuple(words) for number, words in rows]
        finally:
            self._close(walker)
            self._pending = []
        return differ

    # ---- records

    def _batch(self, walker: Walker, batch: Batch) -> None:
        interval = batch.interval_ms or self.task.interval_ms
        session = self.holdings.session(batch.started_ms, interval, batch.first)
        self._sessions[batch.session] = session.number
        reads, self._pending = self._pending, []
        if batch.again:
            self._compare(session.number, batch)
            return
        self.result.dummies += batch.dummies
        if self._doubtful.intersection(reads):
            self._missed += 1
            return
        kept = ~batch.unfinished
        for part in without(range(2**62), self.holdings.ranges.get(session.number, ())):
            inside = (batch.numbers >= part.start) & (batch.numbers < part.stop) & kept
            if inside.any():
                self._keep(session.number, batch, inside, reads)
        if self._pace is not None and self._length is not None:
            self._pace.came(int(np.count_nonzero(kept)), self.clock.monotonic())
            self.watch.progress(self._pace.progress(walker.records_per_read))

    def _keep(
        self, session: int, batch: Batch, kept: "np.ndarray[tuple[int], np.dtype[np.bool_]]",
        reads: list[float],
    ) -> None:  # fmt: skip
        numbers, fits = batch.numbers[kept], batch.fits[kept]
        window = Window(
            self.task.point, session, self.task.plan, round(self.clock.utc() * 1000),
            numbers.astype("<i8").tobytes(), batch.words[kept].astype("<u2").tobytes(),
            fits.astype(np.uint8).tobytes(),
        )  # fmt: skip
        number = self.holdings.keep(window)
        self._kept.update(dict.fromkeys(reads, number))
        while len(self._kept) > 1000:
            del self._kept[next(iter(self._kept))]
        self.result.new += len(numbers)
        self.result.unfitting += [(session, one) for one in numbers[~fits].tolist()]

    def _compare(self, session: int, batch: Batch) -> None:
        if batch.started_ms in self._restarted:
            return
        held = self.holdings.words_of(session, batch.numbers)
        for number, words in zip(batch.numbers.tolist(), batch.words.tolist(), strict=True):
            kept = held.get(number)
            if kept is None:
                continue
            self.result.reread += 1
            if kept[: len(words)] != tuple(words):
                self.result.changed.append(ChangedRecord(session, number, kept, tuple(words)))

    def _take_back(self, outcomes: list[Outcome]) -> None:
        """Windows whose reply turned out to be doubtful, unless something in them proves their place."""
        alternates = self._length is None or self._length.alternate
        bad = {one.sent for one in outcomes if alternates or one.cause != UNPROVEN.cause}
        self._doubtful |= bad
        windows = {self._kept.pop(sent) for sent in bad if sent in self._kept}
        if windows:
            self._missed += len(windows)
            self.result.new -= self.holdings.withdraw(windows)

    # ---- the end

    def _account(self, walker: Walker, turn: int, gaps: list[MissingRecords]) -> None:
        statement = walker.statement()
        result = self.result
        result.known = statement.known if turn == 0 else result.known
        for place, session in enumerate(self._told(walker)):
            found = self.holdings.latest(session.started_ms)
            if found is not None:
                self._sessions.setdefault(place, found.number)
        result.gaps = []
        result.state(statement, self._sessions)
        earlier = [gap for gap in gaps if gap not in result.gaps and not self._held(gap)]
        gaps[:] = [*earlier, *result.gaps]
        result.gaps = list(gaps)
        result.expected += sum(gap.count for gap in earlier)
        result.refused = self._asker.refused
        counts = self._asker.counts
        result.requests, result.writes, result.damaged = counts.requests, counts.writes, counts.damaged

    def _held(self, gap: MissingRecords) -> bool:
        numbers = range(gap.first, gap.last + 1)
        return not without(numbers, self.holdings.ranges.get(gap.session, ()))

    def _told(self, walker: Walker) -> tuple[Session, ...]:
        return () if walker.state is None else walker.state.all_sessions(self.task.memory) or ()

    def _close(self, walker: Walker) -> None:
        """Close the lock that the walk may have left open, whatever ended it; never another port's."""
        with suppress(PortError):
            for _ in range(CLOSING_TRIES):
                step = walker.closing()
                if step is None:
                    return
                if isinstance(self._asker.reply(step), Written):
                    walker.opened = False
            if walker.opened and in_use(self._asker, self.task.memory):
                return
        if walker.opened:
            self.watch.say(
                f"{self.task.point}: the memory's lock could not be closed. Until the meter releases it by "
                "itself, other ports find it in use; run `memory fetch` again to close it."
            )
