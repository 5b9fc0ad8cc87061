"""A listener makes out who talks on a line: frames of the standard, cut from a stream in any pieces."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.modbus.overheard import Conversation, Direction, Frame, Splitter, frames_in
from protocols.modbus.timing import SerialFormat

FMT = SerialFormat(9600, "none")
Q1 = bytes.fromhex("01 03 00 00 00 02 C4 0B")  # unit 1: holding 0, 2 registers (AP V1.1b3, 6.3)
A1 = bytes.fromhex("01 03 04 11 11 22 22 37 B3")
Q5 = bytes.fromhex("05 03 00 00 00 0A C4 49")
A5 = bytes.fromhex("05 03 14" + "00" * 20 + "91 94")
REFUSED = bytes.fromhex("01 83 02 C0 F1")
WRITE = bytes.fromhex("01 06 00 10 00 01 49 CF")  # its reply has the same bytes (AP V1.1b3, 6.6)


def heard(*events: tuple[float, bytes]) -> Conversation:
    """Each piece at its time [ms]."""
    splitter, talk = Splitter(FMT), Conversation()
    for at, piece in events:
        for frame in splitter.feed(piece, at / 1000):
            talk.hear(frame)
    for frame in splitter.end():
        talk.hear(frame)
    talk.close()
    return talk


@given(st.lists(st.sampled_from([Q1, A1, Q5, A5, REFUSED, WRITE]), max_size=8), st.integers(1, 40))
def test_frames_are_found_whatever_pieces_they_come_in(frames: list[bytes], size: int) -> None:
    stream = b"".join(frames)
    splitter = Splitter(FMT)
    found: list[Frame] = []
    for place in range(0, len(stream), size):
        found += splitter.feed(stream[place : place + size], place * 0.001)
    found += splitter.end()
    assert [frame.data for frame in found] == frames
    assert not splitter.stray


@given(st.lists(st.tuples(st.binary(max_size=3), st.sampled_from([Q1, A1, REFUSED])), max_size=5))
def test_bytes_between_frames_are_counted_and_lose_no_frame(pieces: list[tuple[bytes, bytes]]) -> None:
    """Noise and frames half a second apart: what a byte of noise announces is not waited for in vain."""
    splitter = Splitter(FMT)
    found: list[bytes] = []
    at = 0.0
    for noise, frame in pieces:
        for piece in (noise, frame):
            found += [found.data for found in splitter.feed(piece, at)] if piece else []
            at += 0.5
    found += [found.data for found in splitter.end()]
    assert found == [frame for _, frame in pieces]
    assert len(splitter.stray) == sum(len(noise) for noise, _ in pieces)


def test_requests_replies_and_refusals_are_told_apart() -> None:
    frames, rest = frames_in(Q1 + A1 + REFUSED + b"\x01\x03")
    assert [frame.direction for frame in frames] == [Direction.REQUEST, Direction.REPLY, Direction.REPLY]
    assert [frame.exception for frame in frames] == [None, None, 2]
    assert rest == b"\x01\x03"


def test_a_poll_is_paired_with_its_reply_and_timed() -> None:
    talk = heard((8.3, Q1), (30, A1), (1008.3, Q1), (1040, A1))
    unit = talk.units[1]
    assert (unit.requests, unit.replies, unit.unanswered) == (2, 2, 0)
    assert unit.blocks == {(3, 0, 2): 2}
    # 9 characters of 10 bits end 9.4 ms after they began.
    assert unit.reply_times == pytest.approx([0.0123, 0.0223], abs=0.0005)


def test_a_unit_that_never_answers_is_counted_as_unanswered_for_each_request() -> None:
    talk = heard(*((second * 1000.0, Q1) for second in range(8)), (20_000, Q5), (20_040, A5))
    assert talk.units[1].requests == 8
    assert talk.units[1].unanswered == 8
    assert talk.units[5].replies == 1


def test_a_write_and_its_equal_reply_are_one_exchange() -> None:
    talk = heard((0, WRITE), (20, WRITE), (500, WRITE), (520, WRITE))
    assert (talk.units[1].requests, talk.units[1].replies) == (2, 2)


def test_two_replies_to_one_request_are_noticed() -> None:
    assert heard((0, Q1), (20, A1), (40, A1), (1000, Q1), (1020, A1)).units[1].doubled == 1


def test_a_second_master_shows_by_asking_while_a_reply_is_awaited() -> None:
    talk = heard((0, Q1), (12, Q5), (30, A1), (70, A5))
    assert talk.interleaved == 1


def test_a_reply_behind_the_next_request_is_late_and_no_second_master() -> None:
    talk = heard((0, Q1), (500, Q5), (520, A1), (560, A5))
    assert (talk.interleaved, talk.units[1].late) == (0, 1)


def test_replies_whose_requests_cannot_be_heard_are_told() -> None:
    assert heard((0, A1), (1000, A1)).unasked == 2
