"""B17, B31: meters that need a rest before a request, and devices that sleep when the port is opened.

The meters are simulated behind a port with a clock that jumps; 9600 8N1, two registers a read.
"""

from collections.abc import Callable

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from simulators.clock import FakeClock
from simulators.faults import FaultPlayer, InnerPort, RestlessMeter, parse_plan
from simulators.line.pace import Pace

FMT = SerialFormat(9600, "none")
READ = ReadRequest(Table.HOLDING, 0, 2)


class Deaf:
    """A meter that hears nothing until an instant [s]."""

    def __init__(self, clock: FakeClock, until: float) -> None:
        self._clock, self._until, self._meter = clock, until, RestlessMeter(1)

    def reply(self, frame: bytes) -> bytes | None:
        return self._meter.reply(frame) if self._clock.monotonic() >= self._until else None


@pytest.fixture
def hall() -> Callable[[str], tuple[Line, InnerPort]]:
    """`hall(plan)`: a line with meters 1 and 2 that goes by the plan."""

    def make(plan: str) -> tuple[Line, InnerPort]:
        clock = FakeClock()
        pace = Pace.of(FMT, 0.02)
        player = FaultPlayer(parse_plan(plan), clock=clock, pace=pace)
        meters = player.before([RestlessMeter(1), RestlessMeter(2)])
        port = InnerPort(meters, clock, delivery=player.deliver, pace=pace)
        return Line(port, FMT, clock), port

    return make


def test_a_pause_as_long_as_the_meter_needs_loses_nothing(hall) -> None:
    line, port = hall("rest=100: .*")
    manners = Manners(pause=0.1)
    assert all(line.read(1, READ, manners).status is Status.OK for _ in range(50))
    assert port.requests == 50


def test_without_it_the_pattern_is_recognised_within_ten_reads_and_pause_is_named(hall) -> None:
    line, _ = hall("rest=100: .*")
    once = Manners(repeats=0)
    outcomes = [line.read(1, READ, once) for _ in range(10)]
    silent = [outcome.text for outcome in outcomes if outcome.status is Status.NO_REPLY]
    assert "`pause: 200 ms`" in silent[-1]
    assert "`pause: 200 ms`" in " ".join(line.statistics.advice)
    assert "`pause" not in silent[0]


def test_the_repeat_comes_rested_so_that_even_then_every_value_is_read(hall) -> None:
    line, _ = hall("rest=100: .*")
    assert all(line.read(1, READ, Manners()).status is Status.OK for _ in range(10))


def test_two_meters_that_disturb_each_other(hall) -> None:
    """A request within 30 ms of the other meter's frame is not heard."""
    line, _ = hall("change=30: .*")
    outcomes = [line.read(unit, READ, Manners()) for _ in range(5) for unit in (1, 2)]
    assert all(outcome.status is Status.OK for outcome in outcomes)
    assert "`pause: 200 ms`" in " ".join(line.statistics.advice)


def test_a_pause_of_either_meter_counts_when_the_address_changes(hall) -> None:
    line, port = hall("change=30: .*")
    for _ in range(10):
        assert line.read(1, READ, Manners(pause=0.031)).status is Status.OK
        assert line.read(2, READ, Manners()).status is Status.OK
    assert port.requests == 20


def test_silence_for_other_reasons_names_no_pause(hall) -> None:
    line, _ = hall("(.s..)*")
    for _ in range(20):
        line.read(1, READ, Manners())
    assert line.statistics.advice == ()


@pytest.fixture
def sleepy() -> tuple[Line, InnerPort]:
    """A meter that is deaf for 2 s after the port was opened."""
    clock = FakeClock()
    port = InnerPort(Deaf(clock, clock.monotonic() + 2.0), clock, pace=Pace.of(FMT, 0.02))
    return Line(port, FMT, clock), port


def test_a_rest_after_opening_loses_nothing(sleepy) -> None:
    line, port = sleepy
    outcome = line.read(1, READ, Manners(after_open=2.0))
    assert (outcome.status, outcome.repeats) == (Status.OK, 0)
    assert port.requests == 1


def test_without_it_the_first_request_is_repeated_and_nobody_is_alarmed(sleepy) -> None:
    line, _ = sleepy
    outcome = line.read(1, READ, Manners())
    assert (outcome.status, outcome.cause, outcome.text) == (Status.OK, "", "")
    assert outcome.repeats == 1
    assert line.statistics.advice == ()
