"""Requests out of a stream of bytes. Frames are the specification's own (AP V1.1b3, pages beside them)."""

import pytest

from simulators.line.framer import RequestFramer

READ = bytes.fromhex("01 03 00 6B 00 03 74 17")  # 6.3, p. 15
WRITE_COILS = bytes.fromhex("01 0F 00 13 00 0A 02 CD 01 72 CB")  # 6.11, p. 29
WRITE_REGISTERS = bytes.fromhex("01 10 00 01 00 02 04 00 0A 01 02 92 30")  # 6.12, p. 30
READ_WRITE = bytes.fromhex("01 17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF 46 91")  # 6.17, p. 38
IDENTIFY = bytes.fromhex("01 2B 0E 01 00 70 77")  # 6.21, p. 45
DIAGNOSE = bytes.fromhex("01 08 00 00 A5 37 DA 8D")  # 6.8, p. 21: a function no simulated meter knows
ALL = [READ, WRITE_COILS, WRITE_REGISTERS, READ_WRITE, IDENTIFY]


@pytest.mark.parametrize("frame", ALL)
def test_a_request_is_found_whole_and_byte_by_byte(frame: bytes):
    framer = RequestFramer()
    framer.feed(frame)
    assert framer.next_frame() == frame
    for byte in frame[:-1]:
        framer.feed(bytes((byte,)))
        assert framer.next_frame() is None
    framer.feed(frame[-1:])
    assert framer.next_frame() == frame
    assert framer.pending == 0


def test_requests_that_arrive_in_one_lump_are_told_apart():
    framer = RequestFramer()
    framer.feed(b"".join(ALL))
    assert [framer.next_frame() for _ in range(6)] == [*ALL, None]


def test_a_request_of_unknown_length_is_ended_by_silence():
    framer = RequestFramer()
    framer.feed(DIAGNOSE)
    assert framer.next_frame() is None
    assert framer.silence() == DIAGNOSE


@pytest.mark.parametrize("rubbish", [b"\x00", b"\xff\xff", b"AT\r", READ[:-1] + b"\x00", READ[:5]])
def test_after_rubbish_the_meter_hears_nothing_until_the_line_was_silent(rubbish: bytes):
    framer = RequestFramer()
    framer.feed(rubbish + READ)
    assert framer.next_frame() is None
    assert framer.silence() is None
    framer.feed(READ)
    assert framer.next_frame() == READ


def test_endless_rubbish_does_not_fill_the_memory():
    framer = RequestFramer()
    for _ in range(100):
        framer.feed(b"\x55" * 1000)
        framer.next_frame()
    assert framer.pending <= 1024
