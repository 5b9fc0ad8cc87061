"""One row for every due time, whatever the line does; on a fake clock, so that hours take milliseconds."""

import threading
from collections import Counter
from collections.abc import Callable, Sequence
from types import SimpleNamespace

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.daemon.identity import Met
from readout.daemon.line.point import Introduced, RecordedPoint
from readout.daemon.line_access import LineAccess
from readout.daemon.line_worker import SILENT_PAUSE_S, LineWorker
from readout.daemon.telling.state_log import StateLog
from readout.errors import PortError
from readout.plan.plan import plan_round, polled_values
from readout.plan.schedule import Grid, look
from readout.poll.round import PolledPoint
from simulators.clock import FakeClock
from storage.journal import Row

FORMAT = SerialFormat(19200, "even", 8, 1)
MAP = b"""\
register_map: 1
meter: constructed
readings:
  pressure: {input: 10, type: uint16, unit: bar}
"""

Behaviour = Callable[[int, FakeClock], Status]


class FakeLine:
    """A line on the fake clock: `behaviour` says what a unit does now, `cost` what each outcome costs [s]."""

    def __init__(self, clock: FakeClock, behaviour: Behaviour, cost: dict[Status, float]) -> None:
        self.lost = False
        self.loss = ""
        self.unplugged_at = float("inf")
        self.closed = False
        self.statistics = SimpleNamespace(advice=())
        self.asked: Counter[int] = Counter()
        self._clock, self._behaviour, self._cost = clock, behaviour, cost

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        sent = self._clock.monotonic()
        status = self._behaviour(unit, self._clock)
        self.asked[unit] += 1
        self._clock.advance(self._cost.get(status, 0.02))
        self.lost = status is Status.PORT_LOST
        came = b"" if status in (Status.NO_REPLY, Status.PORT_LOST) else b"\x01"
        words = (700,) if status is Status.OK else ()
        ended = self._clock.monotonic()
        return Outcome(status, str(status), f"text: {status}", b"", came, words, None, sent, ended, False, 0)

    def settle(self, outcomes: Sequence[Outcome], until: float = 0.0) -> Sequence[Outcome]:
        if self._clock.utc() >= self.unplugged_at:
            self.lost, self.loss = True, "port is gone: unplugged."
        return outcomes

    def tally(self, unit: int) -> None:
        """Counts nothing."""

    def close(self) -> None:
        self.closed = True


class Recording:
    """Runs a worker in this thread and keeps what it made."""

    def __init__(self, behaviour: Behaviour, cost: dict[Status, float] | None = None) -> None:
        self.clock = FakeClock(utc=1_777_852_800.3)
        self.rows: list[Row] = []
        self.said: list[str] = []
        self.changes: list[str] = []
        self.steps: list[float] = []
        self.introduced: list[str] = []
        self.lines: list[FakeLine] = []
        self.port_name = "port"
        self.stop = threading.Event()
        self.who: Callable[[FakeClock], Met] = lambda clock: Met.EXPECTED
        self._behaviour, self._cost = behaviour, cost or {Status.NO_REPLY: 3.0}

    def connect(self) -> FakeLine:
        self.lines.append(FakeLine(self.clock, self._behaviour, self._cost))
        return self.lines[-1]

    def introduce(self, line: FakeLine, point: RecordedPoint, manners: Manners) -> Introduced:
        """The meter tells who it is, as `who` says, if it answers at all."""
        found = line.read(point.polled.unit, ReadRequest(Table.HOLDING, 0, 1), manners)
        if found.status is not Status.OK:
            return Introduced(Met.UNHEARD, found.status, found.text)
        self.introduced.append(point.polled.name)
        return Introduced(self.who(self.clock))

    def run(self, units: dict[int, int], rounds: int, connect: Callable[[], FakeLine] | None = None) -> None:
        """`units`: unit address → interval in ms."""
        access = LineAccess(
            self.port_name, connect or self.connect, self.clock, lambda what, _: self.changes.append(what)
        )
        access.open()
        worker = LineWorker(
            access,
            [recorded(unit, every_ms, rounds) for unit, every_ms in units.items()],
            clock=self.clock,
            stop=self.stop,
            put=self.rows.append,
            log=StateLog(self.said.append),
            on_step=self.steps.append,
            introduce=self.introduce,
        )
        self.worker = worker
        worker.begin(look(self.clock))
        worker.run()
        if worker.failed:
            raise worker.failed

    def of(self, unit: int) -> list[Row]:
        return [row for row in self.rows if row.point == f"meter-{unit}"]

    def statuses(self, unit: int) -> Counter[str]:
        return Counter(row.status for row in self.of(unit))


def recorded(unit: int, every_ms: int, rounds: int) -> RecordedPoint:
    parsed = parse_map(MAP, "constructed.yaml")
    assert parsed.map is not None, parsed.faults
    plan = plan_round(parsed.map, polled_values(parsed.map), FORMAT, unit)
    return RecordedPoint(PolledPoint(f"meter-{unit}", unit, plan, Manners()), Grid(every_ms), "plan", rounds)


def due_times(rows: list[Row]) -> list[int]:
    return [row.due for row in rows]


def test_every_due_time_is_a_row_and_a_multiple_of_the_interval() -> None:
    recording = Recording(lambda unit, clock: Status.OK)
    recording.run({1: 1000, 2: 1000}, 60)
    assert due_times(recording.of(1)) == [1_777_852_801_000 + 1000 * n for n in range(60)]
    assert due_times(recording.of(2)) == due_times(recording.of(1))
    assert all(0 <= row.time - row.due <= 100 for row in recording.rows if row.time is not None)
    assert recording.statuses(1) == {"ok": 60}


def test_a_thread_that_fails_as_it_lets_go_of_its_port_has_ended_all_the_same() -> None:
    """Or the recorder would wait for it for ever."""
    recording, broken = Recording(lambda unit, clock: Status.OK), RuntimeError("the driver failed")

    class Unclosable(FakeLine):
        def close(self) -> None:
            raise broken

    with pytest.raises(RuntimeError):
        recording.run({1: 1000}, 2, lambda: Unclosable(recording.clock, lambda unit, clock: Status.OK, {}))
    assert recording.worker.ended.is_set()
    assert recording.worker.failed is broken
    assert recording.stop.is_set()


def test_what_was_due_when_the_end_came_is_a_row_too() -> None:
    """The first of three meters is being waited for as the recorder is told to stop."""
    stops_at = 1_777_852_801.0 + 10

    def behaviour(unit: int, clock: FakeClock) -> Status:
        if unit == 1 and clock.utc() >= stops_at:
            recording.stop.set()
            return Status.NO_REPLY
        return Status.OK

    recording = Recording(behaviour, {Status.NO_REPLY: 2.2})
    recording.run({1: 1000, 2: 1000, 3: 1000}, 60)
    assert [row.status for row in recording.of(1)][-3:] == ["no reply", "skipped", "skipped"]
    for unit in (2, 3):
        assert due_times(recording.of(unit)) == due_times(recording.of(1))
        assert [row.status for row in recording.of(unit)] == ["ok"] * 10 + ["skipped"] * 3
    assert recording.of(2)[-1].cause == "the recorder was told to stop"


def test_points_of_one_line_keep_their_own_intervals() -> None:
    recording = Recording(lambda unit, clock: Status.OK)
    recording.run({1: 500, 2: 2000}, 40)
    assert due_times(recording.of(1)) == [1_777_852_800_500 + 500 * n for n in range(40)]
    assert due_times(recording.of(2)) == [1_777_852_802_000 + 2000 * n for n in range(40)]


def test_a_round_that_takes_too_long_makes_skipped_rows_not_a_burst() -> None:
    slow_from = 1_777_852_810.0

    def behaviour(unit: int, clock: FakeClock) -> Status:
        return Status.WRONG_REPLY if slow_from <= clock.utc() < slow_from + 0.5 else Status.OK

    recording = Recording(behaviour, {Status.WRONG_REPLY: 30.2})
    recording.run({1: 1000}, 60)
    assert due_times(recording.of(1)) == [1_777_852_801_000 + 1000 * n for n in range(60)]
    assert recording.statuses(1) == {"ok": 30, "wrong reply": 1, "skipped": 29}


def test_a_silent_meter_is_asked_once_a_minute_and_the_others_lose_little() -> None:
    recording = Recording(lambda unit, clock: Status.NO_REPLY if unit == 2 else Status.OK)
    recording.run({1: 1000, 2: 1000, 3: 1000}, 600)
    assert len(recording.of(2)) == 600
    assert recording.statuses(2)["no reply"] <= 3 + 600 / SILENT_PAUSE_S + 1
    assert recording.statuses(2)["ok"] == 0
    for unit in (1, 3):
        assert recording.statuses(unit)["ok"] >= 0.96 * 600


def test_a_meter_that_answers_again_is_asked_at_its_own_pace_and_who_it_is() -> None:
    back = 1_777_852_801.0 + 100

    def behaviour(unit: int, clock: FakeClock) -> Status:
        return Status.NO_REPLY if clock.utc() < back else Status.OK

    recording = Recording(behaviour, {Status.NO_REPLY: 0.4})
    recording.run({1: 1000}, 300)
    first_ok = next(row.due for row in recording.of(1) if row.status == "ok")
    assert first_ok - 1000 * back <= 1000 * SILENT_PAUSE_S
    after = [row.status for row in recording.of(1) if row.due > first_ok]
    assert after == ["ok"] * len(after)
    assert recording.introduced == ["meter-1"]


def test_an_absent_port_gives_rows_and_is_opened_when_it_comes() -> None:
    def connect() -> FakeLine:
        if recording.clock.utc() < 1_777_852_801.0 + 20:
            raise PortError("absent", "port is not there.")
        return recording.connect()

    recording = Recording(lambda unit, clock: Status.OK)
    recording.run({1: 1000}, 60, connect)
    statuses = [row.status for row in recording.of(1)]
    back = statuses.index("ok")
    assert statuses == ["port lost"] * back + ["ok"] * (60 - back)
    assert 20 <= back <= 23
    assert recording.changes == ["port lost", "port back"]


def test_a_lost_port_is_noticed_told_and_opened_again() -> None:
    lost_at = 1_777_852_801.0 + 10

    def behaviour(unit: int, clock: FakeClock) -> Status:
        return Status.PORT_LOST if lost_at <= clock.utc() < lost_at + 0.9 else Status.OK

    recording = Recording(behaviour)
    recording.run({1: 1000}, 60)
    assert due_times(recording.of(1)) == [1_777_852_801_000 + 1000 * n for n in range(60)]
    assert recording.statuses(1)["port lost"] <= 3
    assert recording.changes == ["port lost", "port back"]
    assert len(recording.lines) == 2
    assert recording.lines[0].closed


def test_a_pulled_plug_is_noticed_while_a_silent_meter_has_its_minutes_rest() -> None:
    """Nothing is asked then; the port itself is looked at, and the meter is asked as soon as it is back."""
    unplugged = 1_777_852_801.0 + 20

    def connect() -> FakeLine:
        if unplugged <= recording.clock.utc() < unplugged + 10:
            raise PortError("absent", "port is not there.")
        line = recording.connect()
        if len(recording.lines) == 1:
            line.unplugged_at = unplugged
        return line

    recording = Recording(
        lambda unit, clock: Status.NO_REPLY if clock.utc() < unplugged else Status.OK,
        {Status.NO_REPLY: 0.4},
    )
    recording.run({1: 1000}, 50, connect)
    by_second = {row.due // 1000 - int(unplugged): row.status for row in recording.of(1)}
    assert {by_second[second] for second in range(-5, 0)} == {"skipped"}
    assert {by_second[second] for second in range(1, 10)} == {"port lost"}
    assert {by_second[second] for second in range(13, 29)} == {"ok"}
    assert recording.changes == ["port lost", "port back"]


def test_a_held_port_at_the_start_is_refused() -> None:
    def connect() -> FakeLine:
        raise PortError("held", "port is held by another program.")

    recording = Recording(lambda unit, clock: Status.OK)
    with pytest.raises(PortError, match="held"):
        recording.run({1: 1000}, 1, connect)


@pytest.mark.parametrize("step_s", [7.0, -7.0, 3600.0, -3600.0])
def test_a_step_of_the_computers_clock_is_told_and_makes_no_burst(step_s: float) -> None:
    stepped = False

    def behaviour(unit: int, clock: FakeClock) -> Status:
        nonlocal stepped
        if not stepped and clock.utc() > 1_777_852_801.0 + 10:
            stepped = True
            clock.step_utc(step_s)
        return Status.OK

    recording = Recording(behaviour)
    recording.run({1: 1000}, 60)
    assert [round(step) for step in recording.steps] == [round(step_s)]
    dues = due_times(recording.of(1))
    assert dues == sorted(set(dues))
    assert len(dues) == 60


def test_the_fault_of_a_day_is_told_in_few_lines() -> None:
    recording = Recording(lambda unit, clock: Status.NO_REPLY, {Status.NO_REPLY: 0.3})
    recording.run({1: 1000}, 24 * 3600)
    assert len(recording.of(1)) == 24 * 3600
    assert 1 <= len(recording.said) <= 60


def test_another_meter_behind_a_port_that_came_back_is_never_recorded() -> None:
    lost_at = 1_777_852_801.0 + 10
    exchanged = lost_at + 100

    def behaviour(unit: int, clock: FakeClock) -> Status:
        return Status.PORT_LOST if lost_at <= clock.utc() < lost_at + 0.9 else Status.OK

    recording = Recording(behaviour)
    recording.who = lambda clock: Met.OTHER if lost_at < clock.utc() < exchanged else Met.EXPECTED
    recording.run({1: 1000}, 300)
    assert len(recording.of(1)) == 300
    foreign = [row for row in recording.of(1) if 1000 * lost_at < row.due < 1000 * exchanged]
    assert "ok" not in {row.status for row in foreign}
    assert all(not any(row.present) for row in foreign)
    after = [row.status for row in recording.of(1) if row.due > 1000 * (exchanged + SILENT_PAUSE_S) + 2000]
    assert after == ["ok"] * len(after) != []


def test_a_meter_that_cannot_be_heard_at_the_start_gets_no_rows_before_it_is_known() -> None:
    quiet_until = 1_777_852_801.0 + 30
    recording = Recording(
        lambda unit, clock: Status.NO_REPLY if clock.utc() < quiet_until else Status.OK,
        {Status.NO_REPLY: 0.4},
    )
    recording.run({1: 1000}, 120)
    first = next(row for row in recording.of(1) if row.status == "ok")
    assert recording.introduced == ["meter-1"]
    assert {row.status for row in recording.of(1) if row.due < first.due} == {"no reply", "skipped"}


@pytest.mark.parametrize(("port_name", "connections"), [("socket://hall:4001", 2), ("/dev/ttyUSB0", 1)])
def test_a_connection_over_which_all_are_silent_is_made_anew_an_adapter_is_not(
    port_name: str, connections: int
) -> None:
    """A device server whose connection died without a word answers again on the next one, within 15 s."""
    died = 1_777_852_801.0 + 10
    recording = Recording(
        lambda unit, clock: Status.OK if clock.utc() < died or len(recording.lines) > 1 else Status.NO_REPLY,
        {Status.NO_REPLY: 1.5},
    )
    recording.port_name = port_name
    recording.run({1: 1000, 2: 1000}, 60)
    assert len(recording.lines) == connections
    after = [row.status for row in recording.of(1) if row.due > 1000 * (died + 15)]
    assert set(after) == ({"ok"} if connections > 1 else {"skipped"})
    assert recording.changes == (["port lost", "port back"] if connections > 1 else [])


def test_what_is_wrong_with_a_line_is_told_once_an_hour() -> None:
    recording = Recording(lambda unit, clock: Status.OK)

    def noisy() -> FakeLine:
        line = recording.connect()
        line.statistics.advice = ("Noise stood around 3 of 100 replies.",)
        return line

    recording.run({1: 1000}, 2 * 3600 + 60, noisy)
    assert recording.said == ["port: Noise stood around 3 of 100 replies."] * 3
