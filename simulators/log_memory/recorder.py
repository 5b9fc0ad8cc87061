"""Records while time passes: on the meter's crystal, from its source, until it is told otherwise.

begun                 + interval            + 2 × interval
|------ record 0 ------|------ record 1 ------|--  …          record n is in the memory once its
mark: start            mark: end                              interval is over; a sample at its mark
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.memory_model import AfterPowerLoss, Holds, LogMemory, MarkedAt
from simulators.log_memory.faults import MemoryFaults
from simulators.log_memory.faults.kinds import Fault
from simulators.log_memory.kept.records import RecordWriter, Written
from simulators.log_memory.kept.store import Session, Store
from simulators.log_memory.options import LogOptions, Past, Rows
from simulators.meter_clock import MeterClock
from simulators.plant import Quantity, Source
from simulators.plant.series import amounts, means, quantities

Seconds = NDArray[np.float64]

#: What of an interval the plant knows exactly.
_OVER_INTERVALS = {Holds.MEAN: means, Holds.TOTAL: amounts}

#: Between two sessions of a past that says nothing of it, in seconds.
BETWEEN = 3600.0
#: A record counts as due this long before its instant, so that seconds added up in doubles do not delay it.
_DUST = 1e-6


class Recorder:
    """Fills a `Store`. `recording` tells whether it does so now; all moments are running seconds."""

    def __init__(
        self,
        memory: LogMemory,
        store: Store,
        clock: MeterClock,
        source: Source,
        interval: float,
        faults: MemoryFaults,
    ) -> None:
        self.memory, self.store, self.clock = memory, store, clock
        self.interval = interval
        self.recording = False
        self._source = source
        self._faults = faults
        half = faults.standing(Fault.HALVES)
        self._between_halves = 0.0 if half is None else half.number / 1000
        self._tells_running = faults.standing(Fault.RUNNING_RECORD) is not None
        self._unfinished = False  # whether the newest record is that of the running interval
        self._writer = RecordWriter(memory)
        self._back_at: float | None = None  # the supply comes back then

    # ---- before the meter was switched on

    def remember(self, options: LogOptions) -> None:
        """Record the past; go on where the options say so."""
        starts = self._starts(options.past)
        for past, start in zip(options.past, starts, strict=True):
            if isinstance(past, Rows):
                self._replay(past)
            else:
                self._begin(start, past.interval or self.interval)
                self._append(past.records)
        if not options.recording:
            return
        last = options.past[-1] if options.past else None
        if isinstance(last, Past) and last.start is None:
            self.recording = True
            self.interval = last.interval or self.interval
        else:
            self.start(0.0)

    def _starts(self, past: Sequence[Past | Rows]) -> list[float]:
        """When each session began: stated, or worked out from what came after it."""
        starts: list[float] = []
        end = 0.0
        for one in reversed(past):
            if isinstance(one, Rows):
                start = self.clock.running_at(one.times[0]) - one.interval
            elif one.start is not None:
                start = self.clock.running_at(one.start)
            else:
                step = self.clock.crystal(one.interval or self.interval)
                start = self._whole_second(end - one.records * step, down=True)
            starts.append(start)
            end = start - BETWEEN
        return starts[::-1]

    def _replay(self, rows: Rows) -> None:
        times = np.array(rows.times, np.float64)
        marks = times - self.clock.switched_on
        cuts = [0, len(marks)]
        if self.memory.record.time is None:
            broken = np.flatnonzero(np.abs(np.diff(times) - rows.interval) * 2 > rows.interval) + 1
            cuts[1:1] = broken.tolist()
        lead = rows.interval if self.memory.marked_at is MarkedAt.END else 0.0
        for first, end in itertools.pairwise(cuts):
            self._begin(float(marks[first]) - lead, rows.interval)
            given = {name: column[first:end] for name, column in rows.values.items()}
            starts = marks[first:end] - lead
            self._put(starts, starts + rows.interval, marks[first:end], given)

    # ---- as time passes

    def advance(self, running: float) -> None:
        """Record everything due by now."""
        if self._back_at is not None:
            if running < self._back_at:
                return
            self._supply_back()
        if not self.recording:
            return
        session = self.store.sessions[-1]
        self._take_back()
        due = self._due(session, running - self._between_halves)
        if due > session.count:
            self._append(due - session.count)
        if not self.recording or self.store.room == 0:
            return
        if self._tells_running and running > session.begun:
            self._write_running(session, running)
        elif self._due(session, running) > session.count:  # the second half is still to come
            starts, marks = self._moments(session, 1)
            self.store.begin_record(self._written(starts, starts + self._step(session), marks, {})[0].words)

    def _due(self, session: Session, running: float) -> int:
        """How many records the session should have by then."""
        since = (running - session.begun + _DUST) / self._step(session)
        at_mark = self.memory.holds is Holds.SAMPLE and self.memory.marked_at is MarkedAt.START
        return math.floor(since) + (1 if at_mark and since >= 0 else 0)

    def _step(self, session: Session) -> float:
        return self.clock.crystal(session.interval)

    def _take_back(self) -> None:
        """The record of the running interval is none yet."""
        if self._unfinished:
            self.store.drop_newest()
            self._unfinished = False

    def _write_running(self, session: Session, running: float) -> None:
        """What the running interval has brought so far, as if it were a record."""
        starts, marks = self._moments(session, 1)
        ends = np.maximum(np.minimum(starts + self._step(session), running), starts + _DUST)
        self._put(starts, ends, marks, {})
        self._unfinished = True

    def start(self, running: float) -> bool:
        """Begin a session at the next whole second of the meter's clock; False where there is no room."""
        table = self.memory.sessions
        if self.recording or self.store.room == 0:
            return self.recording
        if table is not None and table.most is not None and len(self.store.sessions) >= table.most:
            return False
        self._begin(self._whole_second(running, down=False), self.interval)
        self.recording = True
        return True

    def stop(self) -> None:
        """Record no more; an interval that has begun is dropped."""
        self._take_back()
        self.recording = False

    def erase(self) -> None:
        """Forget everything and record no more."""
        self.stop()
        self.store.erase()

    def erase_and_go_on(self, running: float) -> None:
        """Forget everything; a meter that was recording begins again."""
        was_recording = self.recording
        self.erase()
        if was_recording:
            self.start(running)

    def set_interval(self, seconds: float, running: float) -> None:
        """Record every `seconds` from now on, in a session of its own."""
        self.interval = seconds
        if self.recording:
            self.stop()
            self.start(running)

    def cut_supply(self, running: float, seconds: float) -> None:
        """Without supply for that long; then whatever the map says of `after_power_loss`."""
        self.advance(running)
        self._take_back()
        self._back_at = running + seconds

    def is_off(self, running: float) -> bool:
        """Whether it is without supply."""
        return self._back_at is not None and running < self._back_at

    def is_writing(self, running: float, seconds: float) -> bool:
        """Whether a record was due less than so many seconds ago."""
        if not self.recording:
            return False
        session = self.store.sessions[-1]
        since = running - session.begun + _DUST
        return since >= self._step(session) and since % self._step(session) < seconds

    def _supply_back(self) -> None:
        assert self._back_at is not None
        back, self._back_at = self._back_at, None
        if not self.recording:
            return
        if self.memory.after_power_loss is AfterPowerLoss.STOPS:
            self.recording = False
        elif self.memory.after_power_loss is AfterPowerLoss.NEW_SESSION:
            self.recording = False
            self.start(back)
        else:  # its next record covers the whole interval after the supply came back
            session = self.store.sessions[-1]
            session.begun = back - session.count * self.clock.crystal(session.interval)

    # ---- records

    def _begin(self, begun: float, interval: float) -> None:
        started = int(self.clock.figures_ms(np.array([begun]))[0]) // 1000 * 1000
        self.store.begin(Session(begun, interval, self.store.next, started))

    def _append(self, count: int) -> None:
        """The next records of the last session; fewer where the memory is full and stops."""
        room = self.store.room
        if room is not None and room < count:
            self.recording = False
            count = room
        session = self.store.sessions[-1]
        starts, marks = self._moments(session, count)
        self._put(starts, starts + self._step(session), marks, {})

    def _moments(self, session: Session, count: int) -> tuple[Seconds, Seconds]:
        """When the session's next intervals begin, and what their records are marked at."""
        step = self._step(session)
        starts: Seconds = session.begun + (session.count + np.arange(count, dtype=np.float64)) * step
        return starts, (starts + step if self.memory.marked_at is MarkedAt.END else starts)

    def _put(
        self, starts: Seconds, ends: Seconds, marks: Seconds, given: Mapping[str, Sequence[Quantity]]
    ) -> None:
        """The next records of the last session, over intervals from `starts` to `ends`."""
        if not len(starts):
            return
        numbers = np.arange(self.store.next, self.store.next + len(starts))
        self._play_clock(numbers, marks)
        written, meter_ms = self._written(starts, ends, marks, given)
        self._writer.strike(written, numbers, self._faults)
        time_ms = np.rint((self.clock.switched_on + marks) * 1000).astype(np.int64)
        self.store.append(written, time_ms, meter_ms)

    def _written(
        self, starts: Seconds, ends: Seconds, marks: Seconds, given: Mapping[str, Sequence[Quantity]]
    ) -> tuple[Written, NDArray[np.int64]]:
        """The records as the meter writes them, and the time it tells of each [ms]."""
        session = self.store.sessions[-1]
        numbers = np.arange(self.store.next, self.store.next + len(starts))
        columns = {**self._measured(starts, ends, marks, set(given)), **given}
        written = self._writer.write(numbers, self.clock.figures_ms(marks), columns)
        if written.figures_ms is not None:
            return written, written.figures_ms
        after = 1 if self.memory.marked_at is MarkedAt.END else 0
        places = session.count + np.arange(len(starts)) + after
        return written, session.started_ms + np.rint(places * session.interval * 1000).astype(np.int64)

    def _play_clock(self, numbers: NDArray[np.int64], marks: Seconds) -> None:
        """What happens to the clock at the mark of one of these records."""
        first, touched = int(numbers[0]), range(int(numbers[0]), int(numbers[-1]) + 1)
        for kind in (Fault.CLOCK_STEP, Fault.CLOCK_RESET, Fault.CLOCK_RIGHT):
            for fault in self._faults.all_due(kind, touched):
                at = float(marks[(fault.at or first) - first])
                if kind is Fault.CLOCK_STEP:
                    self.clock.step(fault.number, at)
                elif kind is Fault.CLOCK_RESET:
                    new_year = datetime(int(fault.number), 1, 1, tzinfo=UTC)
                    self.clock.set_figures(new_year.timestamp() * 1000, at)
                else:
                    self.clock.set_right(at)

    def _measured(
        self, starts: Seconds, ends: Seconds, marks: Seconds, given: set[str]
    ) -> dict[str, Sequence[Quantity]]:
        """What the source says of each record: a sample at its mark; a mean flow or an amount exactly; all
        else amid its interval."""
        sample = self.memory.holds in (Holds.SAMPLE, None)
        at = np.minimum(marks, ends) if sample else (starts + ends) / 2
        on = self.clock.switched_on
        found: dict[str, Sequence[Quantity]] = {}
        for field in self._writer.fields:
            if field.value.name in given:
                continue
            over_all = None if self.memory.holds is None else _OVER_INTERVALS.get(self.memory.holds)
            told = None
            if over_all is not None:
                told = over_all(self._source, field.value, field.unit, on + starts, on + ends)
            if told is None:
                told = quantities(self._source, field.value, field.unit, on + at, at)
            found[field.value.name] = told
        return found

    def _whole_second(self, running: float, *, down: bool) -> float:
        """The nearest moment at which the meter's clock shows a whole second: a session begins there."""
        shown = float(self.clock.utc(np.array([running]))[0])
        whole = math.floor(shown) if down else math.ceil(shown)
        return running + self.clock.crystal(whole - shown)
