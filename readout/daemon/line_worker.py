"""One line, one thread: every point's round at its due time, one row for every due time, whatever happens.

The thread owns the port. It waits on the monotonic clock, opens an absent or lost port again in the idle
time between rounds, and hands rows to the journal's writer, which never makes it wait for the disk.
"""

import math
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.clock import WaitingClock
from readout.daemon.computer_clock import RowClock
from readout.daemon.identity import Met
from readout.daemon.line.patience import after_silence, brief, busy_for, fits, usual
from readout.daemon.line.point import Introduced, RecordedPoint
from readout.daemon.line_access import LineAccess
from readout.daemon.points import LIVE
from readout.daemon.telling.failed_requests import FailedRequests
from readout.daemon.telling.state_log import StateLog
from readout.plan.schedule import Due, Instant, Schedule, look, start
from readout.poll.round import PolledPoint, Round, nothing_asked
from readout.sealing.record import UNSTEADY, pack
from storage.journal import Row

#: A meter silent this many rounds in a row is asked only once in `SILENT_PAUSE_S` seconds.
SILENT_ROUNDS = 3
SILENT_PAUSE_S = 60.0
#: For so long [s] a silent meter is asked only as briefly as the others leave time for; then heard out once.
HEARD_OUT_S = 600.0
#: Seconds between two tellings of what is wrong with a line.
ADVICE_PAUSE_S = 3600.0
#: See `LineWorker`.
NAP_S = 0.2
#: Why a round was not asked for that was due just before the end.
_STOPPED = "the recorder was told to stop"
#: Shorter idle time than this [s] is not used for opening a port.
_IDLE_S = 0.05


class LineWorker(threading.Thread):
    """Runs one line's rounds until `stop` is set or every point has had its rounds.

    `put` takes a row; `on_step` is told a step of the computer's clock in seconds; `introduce` asks a meter
    who it is, gives the point the plan that says so, and tells whether it is the point's own. `renew` is
    called after each row, so that the point's next round may go by another plan. `late` is told of replies
    that came after the map's `reply_within`: the point's name, and how many; `failed` counts requests and
    what failed of them. `nap_s` is the longest wait in one piece [s]: how soon a stop is noticed.
    """

    def __init__(
        self,
        access: LineAccess,
        points: Sequence[RecordedPoint],
        *,
        clock: WaitingClock,
        stop: threading.Event,
        put: Callable[[Row], object],
        log: StateLog,
        on_step: Callable[[float], None],
        introduce: Callable[[Line, RecordedPoint, Manners], Introduced],
        renew: Callable[[RecordedPoint], object] = lambda _: None,
        late: Callable[[str, int], object] = lambda *_: None,
        failed: FailedRequests | None = None,
        nap_s: float = NAP_S,
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
        self._late = late
        self._failed = failed or FailedRequests(clock.monotonic)
        self._nap_s = nap_s
        self._row_clock = RowClock()
        self._advised = self._connected_anew = float("-inf")
        self._wanted, self._served = math.inf, 0
        self._began: Instant | None = None
        self._may_begin = threading.Event()
        self.introduced, self.ended = threading.Event(), threading.Event()

    def begin(self, began: Instant) -> None:
        """Let the rounds begin with the first due times after `began`, the same for all lines."""
        self._began = began
        self._may_begin.set()

    def run(self) -> None:
        """Rounds until the end; what must not happen is kept in `failed` and stops the recorder."""
        try:
            try:
                self._introduce_all()
                self._rounds()
            finally:
                self._count(self._points)
                self._access.close()
        except BaseException as error:
            self.failed = error
            self._stop_event.set()
        finally:
            self.ended.set()

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
        while not self._stop_event.is_set():
            if self._clock.wait(self._may_begin, self._clock.monotonic() + self._nap_s):
                return

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
            self._wanted = _wanted_next(waiting, deadline)
            # The meters that answer come first: a silent one may cost the line a second.
            served = [(due, point) for due, point in waiting if due.deadline_s <= deadline]
            self._served = len(served)
            for due, point in sorted(served, key=lambda pair: pair[1].silent > 0):
                self._served -= 1
                self._round(point, due)
            self._advise()
            self._connect_anew()
        self._settle()

    def _settle(self) -> None:
        """Rows for what was due while a round kept the line from noticing the end."""
        now = look(self._clock)
        for point in self._points:
            due = point.schedule.next(now)
            passed = [*due.skipped, *([due.due_ms] if due.deadline_s <= now.monotonic_s else [])]
            for due_ms in [] if due.step_s else passed:
                if point.rounds_left != 0:
                    self._row(point, due_ms, due.then, nothing_asked(Status.SKIPPED, _STOPPED))

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
            self._lost(f"{name}: no meter has answered for {SILENT_ROUNDS} rounds; connecting anew")

    def _wait(self, deadline: float) -> bool:
        """Wait until `deadline`, using idle time; False when told to stop."""
        while (left := deadline - self._clock.monotonic()) > 0:
            if self._stop_event.is_set():
                return False
            if left > _IDLE_S and (self._look_at_port() or self._use_idle_time()):
                continue
            self._clock.sleep_until(min(deadline, self._clock.monotonic() + self._nap_s))
        return not self._stop_event.is_set()

    def _look_at_port(self) -> bool:
        """Whether the port is found gone: where every meter rests, no round would notice for a minute."""
        line = self._access.line
        if line is None or any(self._may_ask(point) for point in self._points):
            return False
        line.settle(())
        if line.lost:
            self._lost(line.loss)
        return line.lost

    def _lost(self, why: str) -> None:
        """Give the port up; what was counted on it is handed on before."""
        self._count(self._points)
        self._access.lost(why)

    def _count(self, points: Iterable[RecordedPoint]) -> None:
        """Hand on what was asked of meters since this was done last, and what failed of it."""
        if (line := self._access.line) is None:
            return
        for point in points:
            if (tally := line.tally(point.polled.unit)) is not None:
                self._failed.note(point.polled.name, tally)

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
        """False while a silent meter, or one that is another's, has its minute's rest.

        It goes by rounds: one that is asked every minute anyway has none. Where the others leave no time for
        it, it waits for a better round, but not for ever.
        """
        if point.silent < SILENT_ROUNDS and not point.stranger:
            return True
        now = self._clock.monotonic()
        rested_s = now - point.asked + point.grid.every_ms / 2000
        return rested_s >= SILENT_PAUSE_S and (
            rested_s >= 2 * SILENT_PAUSE_S or fits(self._others_deadline(point) - now)
        )

    def _meet(self, line: Line, point: RecordedPoint) -> Introduced:
        """Ask a meter who it is."""
        point.asked = self._clock.monotonic()
        found = self._introduce(line, point, self._manners(point))
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
            found = self._ask(point)
            self._count([point])
            self._row(point, due.due_ms, due.then, found)
            self._renew(point)

    def _ask(self, point: RecordedPoint) -> Round:
        if self._stop_event.is_set():
            return nothing_asked(Status.SKIPPED, _STOPPED)
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
        manners, once_silent = self._manners(point), None
        if any(self._others(point)):
            spare_s, reads = self._wanted - point.asked, len(point.polled.plan.reads)
            manners, once_silent = after_silence(manners, point.usual_s, spare_s, max(1, reads))
        known = point.polled
        polled = PolledPoint(
            known.name,
            known.unit,
            known.plan,
            busy_for(manners, point.grid.every_ms / 1000),
            # Others of this round wait, or the line may be listened to until the next.
            free_until=point.asked if self._served else self._next_deadline(),
            after_silence=once_silent,
        )
        answer = point.ask(line, polled, first_only=point.silent > 0)
        if answer.status is Status.PORT_LOST:
            self._lost(answer.text)
        point.silent = point.silent + 1 if answer.status is Status.NO_REPLY else 0
        for outcome in answer.outcomes:
            if outcome.status is Status.OK:
                point.usual_s = usual(point.usual_s, outcome.ended - outcome.sent)
        # A meter that was away so long may be another one when it answers again.
        point.unmet = point.unmet or (point.tells and point.silent >= SILENT_ROUNDS)
        return answer

    def _next_deadline(self) -> float:
        """When the line is wanted next [monotonic s]; what comes until then may still be heard."""
        now = look(self._clock)
        waiting = (point.schedule.deadline_s(now) for point in self._points if point.rounds_left != 0)
        return min(waiting, default=math.inf)

    def _manners(self, point: RecordedPoint) -> Manners:
        """How to ask now: one that was silent only once, and no longer than the others leave time for."""
        now, manners = self._clock.monotonic(), point.polled.manners
        if not point.silent:
            point.heard_out = now
            return manners
        if now - point.heard_out >= HEARD_OUT_S:  # it may have become slow instead of silent
            point.heard_out = now
            return replace(manners, repeats=0)
        return brief(manners, self._others_deadline(point) - now, point.usual_s)

    def _others_deadline(self, point: RecordedPoint) -> float:
        """When another meter that answers is due next [monotonic s]; infinite where none does."""
        now = look(self._clock)
        return min((o.schedule.deadline_s(now) for o in self._others(point)), default=math.inf)

    def _others(self, point: RecordedPoint) -> Iterator[RecordedPoint]:
        """Those of the line that answer."""
        for other in self._points:
            if other is not point and not (other.silent or other.stranger or other.rounds_left == 0):
                yield other

    def _unheard(self, found: Introduced) -> Round:
        if found.status is Status.PORT_LOST:
            self._lost(found.text)
        return replace(nothing_asked(found.status, found.text), failed=found.failed)

    def _row(self, point: RecordedPoint, due_ms: int, by: Schedule, found: Round) -> None:
        now = look(self._clock)
        words, present = pack(found.words)
        cause = found.cause
        if found.unsteady:
            cause = f"{cause} {UNSTEADY} {' '.join(found.unsteady)}".strip()
        times = self._row_clock.times(by, due_ms, found.ended, now)
        if found.late_replies:
            self._late(point.polled.name, found.late_replies)
        if found.failed:
            self._failed.cost(point.polled.name, found.failed)
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


def _wanted_next(waiting: Sequence[tuple[Due, RecordedPoint]], deadline: float) -> float:
    """When the line must be free again [monotonic s], so that no later round has to wait.

    That is, when the next round is due behind those that are due at `deadline`, less what their meters
    usually take.
    """
    wanted, taken = math.inf, 0.0
    for due, point in waiting:
        if due.deadline_s <= deadline:
            taken += point.usual_s
            wanted = min(wanted, due.deadline_s + point.grid.every_ms / 1000)
        else:
            wanted = min(wanted, due.deadline_s)
    return wanted - taken
