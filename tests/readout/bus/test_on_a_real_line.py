"""The line over a real pty and over TCP, against a meter in a thread that speaks by our codec's other half.

Bounds on time are loose: they tell an answer known at once from one that costs a whole timeout.
"""

import itertools
import os
import socket
import threading
import time
import tty
from collections.abc import Callable, Iterator

import pytest

from protocols.modbus.replies import ExceptionReply, Registers
from protocols.modbus.requests import ReadRequest
from protocols.modbus.server import read_request, reply_frame
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock

FMT = SerialFormat(19200, "even")
MISSING = 99


def answer(asked: bytes) -> bytes:
    """Register a holds a; there is no register 99."""
    unit, request = read_request(asked)
    assert isinstance(request, ReadRequest)
    if request.start == MISSING:
        return reply_frame(unit, request, ExceptionReply(request.function, 2))
    return reply_frame(unit, request, Registers(tuple(range(request.start, request.start + request.count))))


def serve(receive: Callable[[], bytes], send: Callable[[bytes], object], piece: int) -> None:
    """Answer requests of 8 bytes until the other end goes away, `piece` bytes at a time."""
    asked = b""
    try:
        while received := receive():
            asked += received
            if len(asked) >= 8:
                reply, asked = answer(asked[:8]), asked[8:]
                for place in range(0, len(reply), piece):
                    send(reply[place : place + piece])
                    time.sleep(0.001)
    except OSError:
        pass  # the other end has gone away


@pytest.fixture
def pty_line() -> Iterator[tuple[Line, threading.Event]]:
    """A line, and what makes its far end hang up at the next request."""
    master, slave = os.openpty()
    tty.setraw(slave)
    port = open_port(os.ttyname(slave), FMT)
    os.close(slave)
    hang_up = threading.Event()

    def receive() -> bytes:
        received = os.read(master, 100)  # fails when our end is closed
        return b"" if hang_up.is_set() else received

    def meter() -> None:
        serve(receive, lambda data: os.write(master, data), 7)
        os.close(master)

    thread = threading.Thread(target=meter, daemon=True)
    thread.start()
    line = Line(port, FMT, SystemClock())
    yield line, hang_up
    line.close()
    thread.join(1)


@pytest.fixture
def tcp_line() -> Iterator[Line]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = Line(open_port(f"socket://127.0.0.1:{server.getsockname()[1]}", FMT), FMT, SystemClock())
        far, _ = server.accept()
        with far:
            meter = threading.Thread(target=serve, args=(lambda: far.recv(100), far.sendall, 1), daemon=True)
            meter.start()
            yield line
            line.close()
            meter.join(1)


@pytest.fixture(params=["pty", "tcp"])
def line(request: pytest.FixtureRequest) -> Line:
    found = request.getfixturevalue(f"{request.param}_line")
    return found if isinstance(found, Line) else found[0]


def test_registers_come_back_as_the_meter_has_them(line: Line) -> None:
    for start in (0, 40, 100):
        outcome = line.read(1, ReadRequest(Table.HOLDING, start, 20), Manners())
        assert outcome.status is Status.OK
        assert outcome.words == tuple(range(start, start + 20))
        assert not outcome.late


def test_an_exception_does_not_cost_the_timeout(line: Line) -> None:
    outcome = line.read(1, ReadRequest(Table.INPUT, MISSING, 20), Manners(reply_within=3.0))
    known = time.monotonic()
    assert (outcome.status, outcome.exception) == (Status.EXCEPTION, 2)
    assert known - outcome.sent < 1.0


def test_requests_keep_the_silence(line: Line) -> None:
    """3.5 characters at 19200 Bd: 2.005 ms (MODBUS over Serial Line V1.02, 2.5.1, p. 13)."""
    request, outcomes = ReadRequest(Table.HOLDING, 0, 1), []
    for _ in range(10):
        outcomes.append(line.read(1, request, Manners()))
    gaps = [after.sent - before.ended for before, after in itertools.pairwise(outcomes)]
    assert min(gaps) >= 0.002005


def test_a_terminal_that_hangs_up_is_port_lost(pty_line: tuple[Line, threading.Event]) -> None:
    line, hang_up = pty_line
    request = ReadRequest(Table.HOLDING, 0, 2)
    assert line.read(1, request, Manners()).status is Status.OK
    hang_up.set()
    lost = line.read(1, request, Manners())
    assert (lost.status, lost.words) == (Status.PORT_LOST, ())
    assert line.lost
    begun = time.monotonic()
    assert line.read(1, request, Manners()).status is Status.PORT_LOST
    assert time.monotonic() - begun < 0.1
