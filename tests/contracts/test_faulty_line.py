"""Our reader on a faulty line: behind a port of this program, and before meters that strangers made.

Every accepted value is held against what the meter really answered to that request at that time.
"""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock
from simulators.clock import FakeClock
from simulators.faults import FaultPlayer, FaultTap, InnerPort, RestlessMeter, Timing, parse_plan

HERE = Path(__file__).parent
READ = (ReadRequest(Table.HOLDING, 0, 2), ReadRequest(Table.HOLDING, 10, 3), ReadRequest(Table.INPUT, 0, 2))


def _read_through(plan: str, count: int) -> tuple[list[tuple[Status, str]], int]:
    """Statuses and causes, and how many accepted values were not the meter's."""
    clock = FakeClock(monotonic=0.0)
    player = FaultPlayer(parse_plan(plan), clock=clock)
    port = InnerPort(player.before([RestlessMeter(1), RestlessMeter(2)]), clock, delivery=player.deliver)
    line = Line(port, SerialFormat(9600, "none"), clock)
    ends, wrong = [], 0
    for n in range(count):
        outcome = line.read(1 + n % 2, READ[n % 3], Manners())
        ends.append((outcome.status, outcome.cause))
        if outcome.status is Status.OK:
            held = port.truth.held(outcome.request, outcome.words, outcome.sent, outcome.ended)
            wrong += not held
    return ends, wrong


def test_a_reader_on_a_line_with_every_recognisable_fault_takes_no_wrong_value():
    ends, wrong = _read_through("random:4:share=0.3", 300)
    assert wrong == 0
    assert sum(status is Status.OK for status, _ in ends) > 200
    assert len(set(ends)) > 5


def test_the_same_seed_gives_a_reader_the_same_fate():
    plan = "random:11:share=0.4"
    assert _read_through(plan, 60) == _read_through(plan, 60)


def test_after_the_last_fault_all_is_well():
    ends, _ = _read_through("random:5:share=1,exchanges=40", 60)
    assert all(status is Status.OK for status, _ in ends[-15:])


UNIT = 17
FORMAT = SerialFormat(19200, "none", stop_bits=2)
#: Short, so that a fault costs little of the tests' time.
PATIENCE = Timing(0.1, 0.2)
MANNERS = Manners(reply_within=PATIENCE.reply_within, late_within=PATIENCE.late_within)


@pytest.fixture(params=["pymodbus", "libmodbus"])
def stranger(request: pytest.FixtureRequest) -> list[str]:
    """The command of a meter made by strangers; its register n holds 7 n + 1."""
    if request.param == "pymodbus":
        return [sys.executable, str(HERE / "pymodbus_server.py")]
    return [request.getfixturevalue("libmodbus_program")]


@pytest.fixture
def faulty(stranger: list[str]) -> Iterator[tuple[Line, FaultPlayer]]:
    player = FaultPlayer(parse_plan("random:3:share=0.4,exchanges=30"), timing=PATIENCE)
    with FaultTap(player, answers_within=2) as tap:
        process = subprocess.Popen([*stranger, tap.meter_port], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        try:
            assert process.stdout.readline().strip() == "ready"
            line = Line(open_port(tap.master_port, FORMAT), FORMAT, SystemClock())
            yield line, player
            line.close()
        finally:
            process.terminate()
            process.wait(10)
            process.stdout.close()


def test_a_strangers_meter_behind_a_faulty_tap_is_read_rightly_or_not_at_all(
    faulty: tuple[Line, FaultPlayer],
):
    line, player = faulty
    ends = []
    for n in range(45):
        start = 3 * n
        outcome = line.read(UNIT, ReadRequest(Table.HOLDING, start, 2 + n % 3), MANNERS)
        ends.append(outcome.status)
        if outcome.status is Status.OK:
            assert list(outcome.words) == [7 * i + 1 for i in range(start, start + 2 + n % 3)]
    assert sum(count for letter, count in player.played.items() if letter != ".") >= 5
    assert all(status is Status.OK for status in ends[-10:])
