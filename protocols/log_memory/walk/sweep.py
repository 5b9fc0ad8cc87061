"""Ranges of records, window by window: narrowed where a window fails, handed out once proven."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from protocols.log_memory.numbers import merged
from protocols.log_memory.records import Batch, Mask, empty, fits, own_times
from protocols.log_memory.state import MemoryState
from protocols.log_memory.walk.account import Account, Target
from protocols.log_memory.walk.reading import Cause, Problem, Reader, Steps, Window
from protocols.log_memory.walk.ring import Ring
from protocols.register_map.memory_model import Holds, LogMemory, MarkedAt

#: Single records in a row that cannot be had until the retrieval is given up.
MOST_FAILURES = 3


@dataclass
class Sweep:
    """What fetching shares: `handled` are numbers dealt with in this walk, by session start as told.

    An unfinished record is not dealt with: it is fetched again once a newer one is there.
    """

    memory: LogMemory
    reader: Reader
    ring: Ring
    account: Account
    records_per_read: int
    meter_now_ms: int | None = None
    interval_ms: int | None = None
    state: MemoryState | None = None
    batches: list[Batch] = field(default_factory=list)
    handled: dict[int | None, list[range]] = field(default_factory=dict)
    running: dict[int | None, int] = field(default_factory=dict)  # records that were unfinished when read
    _failures: int = 0
    _unfit: int = 0

    def fetch_range(self, target: Target, numbers: range, *, again: bool = False) -> Steps[None]:
        """Every record of a range, or its gap."""
        first, width = numbers.start, self.records_per_read
        while first < numbers.stop and self.account.ended is None:
            if self.memory.is_ring and first < self.ring.oldest:
                self.overwritten(target, range(first, min(self.ring.oldest, numbers.stop)))
                first = self.ring.oldest
                continue
            most = max(1, min(width, self.records_per_read))
            count = self.reader.reach.together(first, min(most, numbers.stop - first))
            window = yield from self._window(target, first, count)
            if isinstance(window, Window):
                self.accept(target, window, again=again)
                first += len(window.words)
                width = min(width * 2, self.reader.reach.most)
                self._failures = 0
            elif count > 1 and window.cause is not Cause.BUSY:
                width = max(1, count // 4)
            else:
                first += self._failed(target, range(first, numbers.stop), window)

    def unlisted(self, target: Target) -> Steps[None]:
        """A memory that tells no extent: up to the first record that is none, or cannot be had."""
        first, end = target.numbers.start, self.memory.capacity
        width = self.records_per_read
        while first < end:
            count = self.reader.reach.together(first, min(width, self.records_per_read, end - first))
            window = yield from self._window(target, first, count)
            if isinstance(window, Problem):
                if window.cause in (Cause.NO_REPLY, Cause.BUSY, Cause.LAYOUT):
                    self.account.ended = Problem(window.cause, window.text, ended=True)
                    return
                if count == 1:
                    return
                width = max(1, count // 4)
                continue
            none = empty(self.memory.record, window.words)
            held = int(np.argmax(none)) if none.any() else len(none)
            found = range(first, first + held)
            self.account.expect(Target(target.index, target.session, found, target.known))
            self.accept(target, Window(first, window.words[:held], window.held[:held]))
            first += held
            if held < len(none):
                return

    def _window(self, target: Target, first: int, count: int) -> Steps[Window | Problem]:
        self.reader.interval_ms = target.session.interval_ms or self.interval_ms
        window = yield from self.reader.fetch(first, count)
        if isinstance(window, Problem):
            return window
        check = fits(self.memory.record, window.words)
        if not (check | empty(self.memory.record, window.words)).all():
            # a CRC of the line lets one damaged frame in 65,536 pass: read once more
            again = yield from self.reader.fetch(first, count)
            if isinstance(again, Window):
                window, check = again, fits(self.memory.record, again.words)
        return (yield from self.ring.confirm(replace(window, fits=check)))

    def accept(self, target: Target, window: Window, *, again: bool = False) -> None:
        """Hand out what is held, leave out what is none, state what was overwritten."""
        record = self.memory.record
        numbers = window.first + np.arange(len(window.words), dtype=np.int64)
        for number in numbers[~window.held].tolist():
            self.overwritten(target, range(number, number + 1))
        none = empty(record, window.words) & window.held
        kept = window.held & ~none
        words, numbers = window.words[kept], numbers[kept]
        check = fits(record, words) if window.fits is None else window.fits[kept]
        if self._is_other_layout(check, numbers):
            self.account.gap(target.index, range(int(numbers[0]), int(numbers[-1]) + 1), Cause.LAYOUT)
            return
        session, newest = target.session, self._unfinished(target, window)
        open_ = numbers == newest
        end = window.first + len(window.words)
        self._handle(target, range(window.first, newest if open_.any() else end))
        if open_.any():
            self.running[session.started_ms] = newest
        batch = Batch(
            target.index, numbers, words, check, open_, again, int(np.count_nonzero(none)),
            session.started_ms, session.interval_ms, target.numbers.start,
        )  # fmt: skip
        if len(numbers) or batch.dummies:
            self.batches.append(batch)
            self.account.batch(batch)
        times = own_times(record, words)
        self.reader.last = None
        if times is not None and len(words) and times[1][-1] and kept[-1]:
            self.reader.last = (int(numbers[-1]), int(times[0][-1]))

    def _is_other_layout(self, check: Mask, numbers: NDArray[np.int64]) -> bool:
        """Whether the records of a window seem to be laid out otherwise; none of it is taken then.

        A record whose check does not fit was damaged. Where more than a few do not, one behind the other, and
        most of those behind them neither, it is their places that are wrong: one in some may fit by chance.
        """
        bad = ~check
        for at in np.flatnonzero(bad).tolist():
            rest = bad[at:]
            in_a_row = len(rest) if rest.all() else int(np.argmin(rest))
            before = self._unfit if at == 0 else 0
            if in_a_row + before > MOST_FAILURES and 2 * np.count_nonzero(rest) > len(rest):
                self._stop_for_layout(int(numbers[0]))
                return True
        at_end = len(bad) if bad.all() else int(np.argmin(bad[::-1]))
        self._unfit = self._unfit + at_end if bad.all() else at_end
        return False

    def _stop_for_layout(self, first: int) -> None:
        self.account.ended = Problem(
            Cause.LAYOUT,
            f"The checks of records from {first} on do not fit, one behind the other: they seem to have "
            "another layout than the map says. Check the meter's settings and the map.",
            ended=True,
        )

    def _unfinished(self, target: Target, window: Window) -> int:
        """The number of the record whose interval may still be running; -1 for none."""
        newest = target.numbers.stop - 1
        at = newest - window.first
        recording = self.state is not None and self.state.recording is True
        if not recording or not target.is_last or self.memory.holds is Holds.SAMPLE:
            return -1
        if not 0 <= at < len(window.words):
            return -1
        every, now = target.session.interval_ms or self.interval_ms, self.meter_now_ms
        times = own_times(self.memory.record, window.words)
        if every is None or now is None:
            return newest
        if times is not None and times[1][at]:
            end = int(times[0][at]) + (every if self.memory.marked_at is MarkedAt.START else 0)
        elif target.session.started_ms is not None:
            end = target.session.started_ms + (newest - target.numbers.start + 1) * every
        else:
            return newest
        return newest if end > now else -1

    def is_running(self, target: Target, numbers: range) -> bool:
        """Whether that is only the newest record, which was unfinished when it was read."""
        newest = target.numbers.stop - 1
        return numbers == range(newest, newest + 1) and self.running.get(target.session.started_ms) == newest

    def _failed(self, target: Target, left: range, problem: Problem) -> int:
        """State one record as not had, or all that are left where it makes no sense to go on; how many."""
        self._failures += 1
        over = problem.cause in (Cause.LAYOUT, Cause.BUSY) or self._failures >= MOST_FAILURES
        count = len(left) if over else 1
        gap = range(left.start, left.start + count)
        self.account.gap(target.index, gap, problem.cause, problem.text)
        self._handle(target, gap)
        if over:
            self.account.ended = Problem(problem.cause, problem.text, ended=True)
        return count

    def overwritten(self, target: Target, numbers: range) -> None:
        """State records as lost to newer ones."""
        self.account.gap(target.index, numbers, Cause.OVERWRITTEN)
        self._handle(target, numbers)

    def _handle(self, target: Target, numbers: range) -> None:
        handled = self.handled.setdefault(target.session.started_ms, [])
        handled[:] = merged([*handled, numbers])
