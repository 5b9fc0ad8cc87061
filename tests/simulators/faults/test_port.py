"""A port inside the program: the times of its bytes, unplugging, and the truth it keeps."""

from collections.abc import Callable

import pytest
from crccheck.crc import CrcModbus

from protocols.modbus.timing import SerialFormat
from simulators.clock import FakeClock
from simulators.faults import InnerPort, RestlessMeter
from simulators.line import Pace

Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
A = bytes.fromhex("01 03 04 11 11 22 22 37 B3")


class Unplugged(Exception):  # noqa: N818  (what happened, in the reader's own words)
    """A reader's own error."""


class Always:
    """Answers everything alike."""

    def reply(self, frame: bytes) -> bytes | None:
        return A


def test_a_wait_without_bytes_takes_its_time_and_a_look_takes_none():
    clock = FakeClock(monotonic=0.0)
    port = InnerPort(Always(), clock)
    assert port.read(0) == b""
    assert clock.monotonic() == 0
    assert port.read(0.25) == b""
    assert clock.monotonic() == 0.25


def test_bytes_come_when_the_wire_has_brought_them():
    # by hand: 8 + 9 characters of 10 bits at 9600 Bd and 20 ms of turnaround are 37.708333 ms
    clock = FakeClock(monotonic=0.0)
    port = InnerPort(Always(), clock, pace=Pace.of(SerialFormat(9600, "none"), 0.02))
    port.write(Q0)
    data = b""
    while len(data) < len(A):
        data += port.read(1)
    assert data == A
    assert clock.monotonic() == pytest.approx(0.0377083333)


def test_a_second_request_is_answered_behind_the_reply_that_is_still_owed(rig: Callable):
    line = rig("l600")
    line.port.write(Q0)
    line.clock.advance(0.5)
    line.port.write(Q0)
    assert line.port.read(1) == A
    assert line.clock.monotonic() == pytest.approx(0.6)
    assert line.port.read(1) == A
    assert line.clock.monotonic() == pytest.approx(0.62)


def test_a_damaged_request_meets_silence():
    port = InnerPort(Always(), FakeClock())
    port.write(Q0[:-1] + b"\x00")
    assert port.read(1) == b""
    assert port.requests == 0


def test_what_has_come_can_be_thrown_away_and_what_is_to_come_stays(rig: Callable):
    line = rig("d30")
    line.port.write(Q0)
    line.clock.advance(0.025)
    line.port.reset()
    assert line.port.read(1) == A
    assert line.clock.monotonic() == pytest.approx(0.05)


def test_an_unplugged_port_raises_what_its_reader_expects_until_it_is_back():
    port = InnerPort(Always(), FakeClock(), gone=Unplugged)
    port.write(Q0)
    port.unplug()
    for call in (lambda: port.read(0), lambda: port.write(Q0)):
        with pytest.raises(Unplugged, match="simulated line is gone"):
            call()
    port.plug()
    assert port.read(1) == b""  # what was on its way is lost
    port.write(Q0)
    assert port.read(1) == A


def test_the_restless_meter_gives_frames_whose_checksum_fits_and_words_that_never_stay():
    meter = RestlessMeter(1)
    first, again = meter.reply(Q0), meter.reply(Q0)
    assert first is not None
    assert again is not None
    assert first != again
    assert first[:3] == A[:3]
    assert CrcModbus.calc(first[:-2]).to_bytes(2, "little") == first[-2:]
    assert meter.reply(b"\x02" + Q0[1:]) is None


def test_the_truth_knows_a_value_by_register_and_by_time():
    clock = FakeClock(monotonic=0.0)
    port = InnerPort(RestlessMeter(1), clock)
    port.write(Q0)
    reply = port.read(1)
    words = (int.from_bytes(reply[3:5], "big"), int.from_bytes(reply[5:7], "big"))
    other = bytes.fromhex("01 03 00 02 00 02 65 CB")
    assert port.truth.held(Q0, words, 0.0, 1.0)
    assert not port.truth.held(other, words, 0.0, 1.0)
    assert not port.truth.held(Q0, words[::-1], 0.0, 1.0)
    assert not port.truth.held(Q0, words, 0.5, 1.0)  # it was the value earlier
    clock.advance(2)
    port.write(Q0)
    assert not port.truth.held(Q0, words, 1.5, 2.5)  # and now it is another
