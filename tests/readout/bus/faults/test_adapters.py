"""B07, B10, B12, B22, B25, B26: what adapters, drivers, other programs and dropped connections do to a reply.

9600 8N1, meter 1, 500 ms to the first byte. Frames constructed, checksums by crccheck 1.3.1.
"""

import socket
import struct
import threading
from collections.abc import Iterator

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock
from simulators.faults.scripts import ScriptedMeter, parse_script

FMT = SerialFormat(9600, "none")
FIRST = ReadRequest(Table.HOLDING, 0, 2)
Q0, A = "> 01 03 00 00 00 02 C4 0B", "01 03 04 11 11 22 22 37 B3"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


def test_500_replies_on_a_16_ms_grid_lose_nothing_and_no_time_of_ours(play) -> None:
    """Half of each reply comes with the adapter's first packet, the rest with its next, 16 ms later: read the
    instant it is there, it costs one step of the grid and nothing on top."""
    played = play(f"{Q0}\n+16 <{{5}}/16 {A}\n" * 500)
    for _ in range(500):
        outcome = played.line.read(1, FIRST, MANNERS)
        assert (outcome.words, outcome.repeats) == ((0x1111, 0x2222), 0)
        assert outcome.ended - outcome.sent == pytest.approx(0.032, abs=0.0001)
        assert played.clock.at == outcome.ended, "nothing is waited for behind the last byte"
    assert len(played.port.sent) == 500


@pytest.mark.parametrize(
    "left", ["01 03 04 11 11", "01 03 04 11 B3"], ids=["its last four bytes", "four bytes of its middle"]
)
def test_where_another_program_took_part_of_the_reply_that_is_the_first_thing_to_see_to(play, left) -> None:
    outcome = play(f"{Q0}\n+20 < {left}").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause, outcome.words) == (Status.DAMAGED_REPLY, "incomplete", ())
    told, first, _ = outcome.text.split("\n")
    assert "5 of 9 bytes came" in told
    assert "another program that reads from the same port" in first


def test_a_reply_whose_first_four_bytes_another_program_took_names_that_program_first(play) -> None:
    """Only its fourth byte is not known beforehand, and one of 256 fits the checksum."""
    outcome = play(f"{Q0}\n+20 < 11 22 22 37 B3").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.DAMAGED_REPLY, ())
    told, first, _ = outcome.text.split("\n")
    assert "The end of the reply came, its first 4 bytes did not." in told
    assert "another program that reads from the same port" in first


def test_what_is_left_of_a_reply_and_fits_no_first_byte_claims_no_cause(play) -> None:
    outcome = play(f"{Q0}\n+20 < 11 22 22 37 B4").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.DAMAGED_REPLY, ())
    assert "do not start a reply" in outcome.text
    assert "another program" not in outcome.text


def test_zeros_without_an_end_are_a_stuck_line_on_which_nothing_more_is_sent(play) -> None:
    """A 00 every 3 ms for 2 s."""
    zeros = f"+20 <{{{','.join('1' * 665)}}}/3 {' '.join(['00'] * 666)}"
    played = play(f"{Q0}\n{zeros}")
    named = played.line.transact(1, FIRST, MANNERS)
    assert (named.status, named.words) == (Status.DAMAGED_REPLY, ())
    assert "Zeros without an end: the line is stuck low." in named.text
    assert "bias resistors" in named.text
    waiting = play(f"{Q0}\n{zeros}")
    outcome = waiting.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause) == (Status.DAMAGED_REPLY, "line is never quiet")
    assert len(waiting.port.sent) == 1
    assert "stuck low" in " ".join(waiting.line.statistics.advice)


def test_an_at_command_ahead_of_the_reply_is_named_and_the_repeat_is_read(play) -> None:
    """`AT` and a carriage return, as software that looks for modems sends them to every new adapter."""
    probed = f"{Q0}\n+5 < 41 54 0D\n+20 < {A}"
    named = play(probed).line.transact(1, FIRST, MANNERS)
    assert (named.status, named.words) == (Status.DAMAGED_REPLY, ())
    assert "An AT command came: modem software" in named.text
    assert "ModemManager" in named.text
    played = play(f"{probed}\n{Q0}\n+20 < {A}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.words, outcome.repeats) == ((0x1111, 0x2222), 1)


def test_an_at_command_while_nobody_is_asked_is_named_too(play) -> None:
    played = play(f"+1 < 41 54 0D\n{Q0}\n+20 < {A}")
    played.clock.at += 0.1
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert "An AT command came" in " ".join(played.line.statistics.advice)


@pytest.fixture
def on_a_terminal() -> Iterator[tuple[Line, ScriptedMeter]]:
    """Meter 17 (11 hex) on a pseudo-terminal: requests and replies made of control characters."""
    script = """
        > 11 03 11 13 00 01 72 63
        +5 < 11 03 02 11 13 34 1A
        > 11 03 00 00 00 05 87 59
        +5 < 11 03 0A 0D 0A 11 13 03 04 1A 7F FF 00 91 BE
    """
    with ScriptedMeter(parse_script(script)) as meter:
        line = Line(open_port(meter.port, FMT), FMT, SystemClock())
        yield line, meter
        line.close()


def test_control_characters_pass_a_terminal_both_ways(on_a_terminal) -> None:
    """Flow control would take 11 and 13, line endings would turn 0D into 0A, marking would double FF."""
    line, meter = on_a_terminal
    assert line.read(17, ReadRequest(Table.HOLDING, 0x1113, 1), MANNERS).words == (0x1113,)
    words = line.read(17, ReadRequest(Table.HOLDING, 0, 5), MANNERS).words
    assert words == (0x0D0A, 0x1113, 0x0304, 0x1A7F, 0xFF00)
    meter.finish()


@pytest.fixture
def reset_after_the_request() -> Iterator[Line]:
    """A device server that drops the connection with a reset as soon as it has a request."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            connection, _ = server.accept()
            connection.recv(100)
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            connection.close()

        thread = threading.Thread(target=serve)
        thread.start()
        line = Line(open_port(f"socket://127.0.0.1:{server.getsockname()[1]}", FMT), FMT, SystemClock())
        yield line
        line.close()
        thread.join(5)


def test_a_connection_that_is_reset_is_port_lost_at_once(reset_after_the_request) -> None:
    outcome = reset_after_the_request.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.PORT_LOST, ())
    assert "Connection reset by peer" in outcome.text
    assert outcome.ended - outcome.sent < 0.4
