"""B22, B23, B28: device servers in the wrong mode, ports whose calls block, ports that take no bytes.

Frames constructed, checksums by crccheck 1.3.1.
"""

import threading
import time
from collections.abc import Iterator

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import network_slack
from readout.bus.watched import WatchedPort
from readout.clock import SystemClock
from readout.errors import PortError
from simulators.faults.scripts import ScriptedMeter, parse_script
from simulators.line import TcpEnd

FMT = SerialFormat(9600, "none")
FIRST, OTHER = ReadRequest(Table.HOLDING, 0, 2), ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


def test_a_banner_on_connecting_is_dropped_and_the_first_read_is_right(play) -> None:
    played = play(f"+1 < 0D 0A 72 65 61 64 79 0D 0A\n{Q0}\n+20 < {A}")
    played.clock.at += 0.1
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert played.line.strays == 9


def test_a_server_that_speaks_modbus_tcp_is_named(play) -> None:
    outcome = play(f"{Q0}\n+20 < 00 01 00 00 00 07 01 03 04 11 11 22 22").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.DAMAGED_REPLY, ())
    assert "The device server speaks Modbus TCP, not RTU over TCP." in outcome.text
    assert "raw, transparent" in outcome.text


@pytest.mark.parametrize("options", ["FF FB 01 FF FB 03", "FF FD 18 FF FD 1F", "FF FB 01"])
def test_a_server_in_telnet_mode_is_named(play, options: str) -> None:
    outcome = play(f"{Q0}\n+5 < {options}").line.transact(1, FIRST, MANNERS)
    assert outcome.words == ()
    assert "the device server is in telnet mode" in outcome.text


def test_telnet_options_sent_on_connecting_are_named_as_well(play) -> None:
    played = play(f"+1 < FF FB 01 FF FB 03\n{Q0}\n+20 < {A}")
    played.clock.at += 0.1
    assert played.line.read(1, FIRST, MANNERS).status is Status.OK
    assert "telnet mode" in " ".join(played.line.statistics.advice)


def test_a_reply_and_an_old_one_glued_together_give_no_value(play) -> None:
    """Over TCP the two may come in one segment."""
    outcome = play(f"{Q0}\n+20 < {A} {B}").line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause, outcome.words) == (Status.WRONG_REPLY, "two replies", ())


def test_a_line_counts_how_long_nobody_has_said_anything(play) -> None:
    """So that a connection that died without a word can be made anew."""
    played = play(f"{Q0}\n+20 < {A}\n{Q0}\n> 02 03 00 00 00 02 C4 38\n{Q2}\n+20 < {B}")
    line, once = played.line, Manners(repeats=0)
    line.read(1, FIRST, once)
    assert line.statistics.silent_in_a_row == 0
    line.read(1, FIRST, once)
    line.read(2, FIRST, once)
    assert line.statistics.silent_in_a_row == 2
    played.clock.at += 60
    line.read(1, OTHER, once)
    assert line.statistics.silent_in_a_row == 0


def test_a_network_may_take_longer_before_a_reply_counts_as_late() -> None:
    assert network_slack("socket://192.0.2.7:4001") == network_slack("rfc2217://192.0.2.7:4001") > 0
    assert network_slack("/dev/ttyUSB0") == network_slack("COM7") == network_slack("loop://") == 0


@pytest.fixture
def over_tcp() -> Iterator[tuple[Line, ScriptedMeter]]:
    """A reply in segments of one byte each, 5 ms apart, then one 90 ms after its first half."""
    from readout.bus.port import open_port

    script = f"{Q0}\n+20 <{{1,1,1,1,1,1,1,1}}/5 {A}\n{Q2}\n+20 <{{4}}/90 {B}"
    with ScriptedMeter(parse_script(script), end=TcpEnd("127.0.0.1", 0)) as meter:
        line = Line(open_port(meter.port, FMT), FMT, SystemClock())
        yield line, meter
        line.close()


def test_segments_are_no_frames(over_tcp) -> None:
    line, meter = over_tcp
    assert line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)
    meter.finish()


class BlockedPort:
    """A driver that does not return from reading, whatever it was asked, until it is let go."""

    name, notes = "COM9", ()

    def __init__(self) -> None:
        self.let_go = threading.Event()
        self.closed = threading.Event()

    def read(self, wait: float) -> bytes:
        self.let_go.wait(30)
        return b""

    def write(self, data: bytes) -> None:
        """Taken at once."""

    def reset(self) -> None:
        """Nothing."""

    def close(self) -> None:
        self.closed.set()


def test_a_port_that_does_not_react_is_lost_within_3_s_and_the_program_goes_on() -> None:
    blocked = BlockedPort()
    line = Line(WatchedPort(blocked), FMT, SystemClock())
    begun = time.monotonic()
    outcome = line.read(1, FIRST, MANNERS)
    assert time.monotonic() - begun < 3
    assert (outcome.status, line.lost) == (Status.PORT_LOST, True)
    assert "COM9 does not react" in outcome.text
    assert line.read(1, FIRST, MANNERS).status is Status.PORT_LOST
    assert time.monotonic() - begun < 3
    blocked.let_go.set()
    assert blocked.closed.wait(5)  # and it is let go as soon as it can be


class WorkingPort(BlockedPort):
    """A driver that works, and one that fails."""

    failing = False

    def read(self, wait: float) -> bytes:
        if self.failing:
            raise PortError("lost", "COM9 is gone: unplugged.")
        return b"\x01\x02"


def test_a_watched_port_that_works_is_no_other_than_itself() -> None:
    inner = WorkingPort()
    port = WatchedPort(inner)
    port.write(b"\x01")
    port.reset()
    assert (port.name, port.read(0.1)) == ("COM9", b"\x01\x02")
    inner.failing = True
    with pytest.raises(PortError, match=r"unplugged"):
        port.read(0.1)
    port.close()
    port.close()
    assert inner.closed.is_set()
    with pytest.raises(PortError, match=r"was closed"):
        port.read(0)
