"""One line, one thread: every point's round at its due time, one row for every due time, whatever happens.

The thread owns the port. It waits on the monotonic clock, opens an absent or lost port again in the idle
time between rounds, and hands rows to the journal's writer, which never makes it wait for the disk.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol
from zoneinfo import ZoneInfo

from readout.bus.exchange import Line
from readout.bus.outcome import Status
from readout.clock import Clock
from readout.daemon.computer_clock import EARLIEST, RowClock
from readout.daemon.identity import SERIAL_NUMBER, Identity, Met
from readout.daemon.line_access import LineAccess
from readout.daemon.points import PointToRecord
from readout.daemon.state_log import StateLog
from readout.measuring_point.comparison.compare import Finding
from readout.measuring_point.comparison.telling import findings
from readout.meter.clock import ahead_s, kept_by
from readout.plan.schedule import Due, Grid, Instant, Schedule, look, start
from readout.poll.introduction import Introduction, introduce
from readout.poll.learning import Learner
from readout.poll.round import PolledPoint, Round, nothing_asked, poll
from readout.sealing.record import UNSTEADY, pack
from storage.journal import JournalWriter, Row

#: A meter silent this many rounds in a row is asked last, and at most once in `SILENT_PAUSE_S` seconds.
SILENT_ROUNDS = 3
SILENT_PAUSE_S = 60.0
#: Seconds between two tellings of what is wrong with a line.
ADVICE_PAUSE_S = 3600.0
#: Longest wait in one piece [s]: how soon a stop is noticed.
_NAP_S = 0.2
#: Shorter idle time than this [s] is not used for opening a port.
_IDLE_S = 0.05

LIVE = "live"


class Ask(Protocol):
    """Makes a round over one meter."""

    def __call__(self, line: Line, point: PolledPoint, *, first_only: bool = False) -> Round:
        """As `readout.poll.round.poll`."""
        ...


@dataclass(frozen=True, slots=True)
class Introduced:
    """What came of asking a meter who it is: whether it is the point's own, and how the round ended."""

    met: Met
    status: Status = Status.OK
    text: str = ""


@dataclass
class RecordedPoint:
    """One point of a line as its thread keeps it. `plan` is the journal's id of the record its rows have.

    `ask` makes a round, as `readout.poll.round.poll` does.
    """

    polled: PolledPoint
    grid: Grid
    plan: str
    rounds_left: int | None = None
    ask: "Ask" = poll
    silent: int = 0
    asked: float = float("-inf")
    tells: bool = True  # the map has something to ask it about itself
    unmet: bool = True  # who it is must be asked before its next row
    stranger: bool = False  # another meter answers at its address
    schedule: Schedule = field(init=False)


class LineWorker(threading.Thread):
    """Runs one line's rounds until `stop` is set or every point has had its rounds.

    `put` takes a row; `on_step` is told a step of the computer's clock in seconds; `introduce` asks a meter
    who it is, gives the point the plan that says so, and tells whether it is the point's own. `renew` is
    called after each row, so that the point's next round may go by another plan.
    """

    def __init__(
        self,
        access: LineAccess,
        points: Sequence[RecordedPoint],
        *,
        clock: Clock,
        stop: threading.Event,
        put: Callable[[Row], object],
        log: StateLog,
        on_step: Callable[[float], None],
        introduce: Callable[[Line, RecordedPoint], Introduced],
        renew: Callable[[RecordedPoint], object] = lambda _: None,
    ) -> None:
        super().__init__(name=f"line {access.port_name}")
        self.failed: BaseException | None = None
        self._access = access
        self._points = list(points)
        self._clock = clock
        self._stop_event = stop
        self._put = put
        self._log = log
        self._on_step = on_step
        self._introduce = introduce
        self._renew = renew
        self._row_clock = RowClock()
        self._advised = self._connected_anew = float("-inf")
        self._began: Instant | None = None
        self._may_begin = threading.Event()
        self.introduced = threading.Event()

    def begin(self, began: Instant) -> None:
        """Let the rounds begin with the first due times after `began`, the same for all lines."""
        self._began = began
        self._may_begin.set()

    def run(self) -> None:
        """Rounds until the end; what must not happen is kept in `failed` and stops the recorder."""
        try:
            self._introduce_all()
            self._rounds()
        except BaseException as error:
            self.failed = error
            self._stop_event.set()
        finally:
            self._access.close()

    def _introduce_all(self) -> None:
        """Ask the meters who they are before the first round, until all have been asked or rounds begin."""
        line = self._access.line
        for point in self._points:
            if (
                line is not None
                and not line.lost
                and not self._may_begin.is_set()
                and not self._stop_event.is_set()
            ):
                self._meet(line, point)
        self.introduced.set()
        while not self._may_begin.wait(_NAP_S) and not self._stop_event.is_set():
            pass

    def _rounds(self) -> None:
        if self._began is None:
            return
        for point in self._points:
            point.schedule = start(point.grid, self._began)
        while not self._stop_event.is_set():
            now = look(self._clock)
            waiting = [(point.schedule.next(now), point) for point in self._points if point.rounds_left != 0]
            if not waiting:
                return
            deadline = min(due.deadline_s for due, _ in waiting)
            if not self._wait(deadline):
                return
            # The meters that answer come first: a silent one may cost the line a second.
            for due, point in sorted(waiting, key=lambda pair: pair[1].silent >= SILENT_ROUNDS):
                if due.deadline_s <= deadline and not self._stop_event.is_set():
                    self._round(point, due)
            self._advise()
            self._connect_anew()

    def _advise(self) -> None:
        """What the line's statistics say is wrong with it, at most once an hour."""
        line, now = self._access.line, self._clock.monotonic()
        if line is not None and now - self._advised >= ADVICE_PAUSE_S and (advice := line.statistics.advice):
            self._advised = now
            for sentence in advice:
                self._log.line(f"{self._access.port_name}: {sentence}")

    def _connect_anew(self) -> None:
        """Drop a network connection over which every meter is silent: a dead one says nothing of its end."""
        now = self._clock.monotonic()
        if "://" not in self._access.port_name or self._access.line is None:
            return
        silent = all(point.silent >= SILENT_ROUNDS for point in self._points)
        if silent and now - self._connected_anew >= SILENT_PAUSE_S:
            self._connected_anew = now
            name = self._access.port_name
            self._access.lost(f"{name}: no meter has answered for {SILENT_ROUNDS} rounds; connecting anew")

    def _wait(self, deadline: float) -> bool:
        """Wait until `deadline`, using idle time; False when told to stop."""
        while (left := deadline - self._clock.monotonic()) > 0:
            if self._stop_event.is_set():
                return False
            if left > _IDLE_S and (self._look_at_port() or self._use_idle_time()):
                continue
            self._clock.sleep_until(min(deadline, self._clock.monotonic() + _NAP_S))
        return not self._stop_event.is_set()

    def _look_at_port(self) -> bool:
        """Whether the port is found gone: where every meter rests, no round would notice for a minute."""
        line = self._access.line
        if line is None or any(self._may_ask(point) for point in self._points):
            return False
        line.settle(())
        if line.lost:
            self._access.lost(line.loss)
        return line.lost

    def _use_idle_time(self) -> bool:
        """Open the port again, or ask a meter who it is; True when something was done."""
        if self._access.reopen():
            for point in self._points:
                point.unmet = point.tells
                point.silent = 0  # what was silent before the port was gone is asked at once
            return True
        line = self._access.line
        for point in self._points:
            # One that was silent is asked in its round: each silence is a row that says so, and only one.
            if line is not None and point.unmet and not point.silent:
                self._meet(line, point)
                return True
        return False

    def _may_ask(self, point: RecordedPoint) -> bool:
        """False while a silent meter, or one that is another's, has its minute's rest."""
        resting = point.silent >= SILENT_ROUNDS or point.stranger
        return not resting or self._clock.monotonic() - point.asked >= SILENT_PAUSE_S

    def _meet(self, line: Line, point: RecordedPoint) -> Introduced:
        """Ask a meter who it is."""
        point.asked = self._clock.monotonic()
        found = self._introduce(line, point)
        point.unmet = found.met is Met.UNHEARD
        point.stranger = found.met is Met.OTHER
        point.silent = point.silent + 1 if found.met is Met.UNHEARD else 0
        return found

    def _round(self, point: RecordedPoint, due: Due) -> None:
        if due.step_s:
            self._on_step(due.step_s)
        # What was missed before a step of the clock was due by the clock as it was.
        by = point.schedule if due.step_s else due.then
        for missed in due.skipped:
            if point.rounds_left == 0:
                return
            why = "the line was busy with an earlier round"
            self._row(point, missed, by, nothing_asked(Status.SKIPPED, why))
        point.schedule = due.then
        if point.rounds_left != 0:
            self._row(point, due.due_ms, due.then, self._ask(point))
            self._renew(point)

    def _ask(self, point: RecordedPoint) -> Round:
        line = self._access.line
        if line is None:
            return nothing_asked(Status.PORT_LOST, self._access.reason)
        if not self._may_ask(point):
            why = "another meter answers here" if point.stranger else "the meter is silent"
            return nothing_asked(Status.SKIPPED, f"{why} and is asked once a minute")
        if point.unmet or point.stranger:
            found = self._meet(line, point)
            if found.met is Met.OTHER:
                return nothing_asked(Status.SKIPPED, "another meter answers here")
            if found.met is Met.UNHEARD:
                return self._unheard(found)
        point.asked = self._clock.monotonic()
        polled = replace(
            point.polled,
            free_until=self._next_deadline(),
            # A meter that stays busy must not keep the others waiting longer than a round lasts.
            manners=replace(point.polled.manners, busy_within=point.grid.every_ms / 1000),
        )
        if point.silent:  # a second question would only cost the other meters time
            polled = replace(polled, manners=replace(polled.manners, repeats=0))
        answer = point.ask(line, polled, first_only=point.silent > 0)
        if answer.status is Status.PORT_LOST:
            self._access.lost(answer.text)
        point.silent = point.silent + 1 if answer.status is Status.NO_REPLY else 0
        # A meter that was away so long may be another one when it answers again.
        point.unmet = point.unmet or (point.tells and point.silent >= SILENT_ROUNDS)
        return answer

    def _next_deadline(self) -> float:
        """When the line is wanted next [monotonic s]; what comes until then may still be heard."""
        now = look(self._clock)
        waiting = (point.schedule.next(now).deadline_s for point in self._points if point.rounds_left != 0)
        return min(waiting, default=float("inf"))

    def _unheard(self, found: Introduced) -> Round:
        if found.status is Status.PORT_LOST:
            self._access.lost(found.text)
        return nothing_asked(found.status, found.text)

    def _row(self, point: RecordedPoint, due_ms: int, by: Schedule, found: Round) -> None:
        now = look(self._clock)
        words, present = pack(found.words)
        cause = found.cause
        if found.unsteady:
            cause = f"{cause} {UNSTEADY} {' '.join(found.unsteady)}".strip()
        times = self._row_clock.times(by, due_ms, found.ended, now)
        self._put(
            Row(
                point=point.polled.name, source=LIVE, plan=point.plan, due=times.due_ms, time=times.time_ms,
                clock=times.quality, status=found.status.value, cause=cause, words=words, present=present,
                boot=times.boot, since_boot=times.since_boot_ms,
            )
        )  # fmt: skip
        if point.rounds_left is not None:
            point.rounds_left -= 1
        self._log.row(point.polled.name, found.status, found.text, now.monotonic_s)


class RecordedLine:
    """The points of one line as they are now: what each meter told of itself, and the plan in force."""

    def __init__(
        self,
        points: Sequence[PointToRecord],
        learners: Sequence[Learner],
        identities: Mapping[str, Identity],
        writer: JournalWriter,
        clock: Clock,
        say: Callable[[str], None],
    ) -> None:
        self._say = say
        self._compared: dict[str, list[Finding]] = {}
        self._points = {point.name: point for point in points}
        self._learners = {point.name: learner for point, learner in zip(points, learners, strict=True)}
        self._told = {point.name: Introduction({}, {}) for point in points}
        self._identities, self._writer, self._clock = identities, writer, clock

    def recorded(self, point: PointToRecord, rounds: int | None) -> RecordedPoint:
        """A point at the start, before its meter has told anything."""
        learner = self._learners[point.name]
        return RecordedPoint(
            polled=point.by(learner.plan).polled,
            grid=Grid(point.every_ms),
            plan=self._plan_id(point.name),
            rounds_left=rounds,
            ask=learner.poll,
            tells=point.tells,
            unmet=point.tells,
        )

    def introduce(self, line: Line, recorded: RecordedPoint) -> Introduced:
        """Ask a meter who it is; what it tells goes with its next rows if it is the point's own."""
        name = recorded.polled.name
        point, learner = self._points[name], self._learners[name]
        found = introduce(
            line, point.map, point.format, point.unit_address, point.polled.manners, self._clock,
            learner.knowledge,
        )  # fmt: skip
        if self._clock.utc() < EARLIEST:  # against a clock not set, the meter's is not known to be off
            found = replace(found, clock_offset=None)
        met = self._identities[name].judge(found)
        if met is Met.EXPECTED:
            self._told[name] = found
            self._compare(point, found)
            serial = found.meter.get(SERIAL_NUMBER)
            if serial is not None:
                learner.knowledge.identify(str(serial))
            learner.renew()
            self._plan_anew(recorded)
        return Introduced(met, found.status, found.text)

    def _compare(self, point: PointToRecord, told: Introduction) -> None:
        """Say where the meter is set otherwise than the point file says; again only where that changed."""
        offset = told.clock_offset
        if offset is not None:
            offset -= ahead_s(kept_by(point.map), ZoneInfo(point.time_zone), self._clock.utc())
        found = findings(point.point, point.map, told.settings, offset, point.every_ms)
        if [one.setting for one in found] != [one.setting for one in self._compared.get(point.name, [])]:
            for one in found:
                self._say(f"{point.name}: {one}")
        self._compared[point.name] = found

    def renew(self, recorded: RecordedPoint) -> None:
        """Go over to the plan that the last round taught, if it taught one."""
        if recorded.polled.plan is not self._learners[recorded.polled.name].plan:
            self._plan_anew(recorded)

    def _plan_anew(self, recorded: RecordedPoint) -> None:
        name = recorded.polled.name
        recorded.polled = self._points[name].by(self._learners[name].plan).polled
        recorded.plan = self._plan_id(name)

    def _plan_id(self, name: str) -> str:
        """The journal's id of what is true of the rows from now on."""
        point = self._points[name].by(self._learners[name].plan)
        return self._writer.add_plan(point.record(self._told[name]).to_text())
