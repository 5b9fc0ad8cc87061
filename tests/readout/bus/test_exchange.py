"""What comes of a request, for each way in which a line or a meter can misbehave.

The bytes are constructed; their checksums were computed with crccheck 1.3.1. Unless said otherwise: 9600 8N1,
meter 1, holding registers 0 and 1, 500 ms to the first byte, 1 s for a late one.
"""

import pytest

from protocols.modbus.replies import Departure, FileRecords, Queue
from protocols.modbus.requests import (
    FilePart,
    IllegalRequestError,
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    ReadWriteRegisters,
    WriteRegister,
)
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST = ReadRequest(Table.HOLDING, 0, 2)
OTHER = ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


def test_a_good_reply_is_its_words_and_its_bytes(play) -> None:
    played = play(f"{Q0}\n+20 < {A}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert outcome.status is Status.OK
    assert outcome.words == (0x1111, 0x2222)
    assert outcome.request == bytes.fromhex(Q0[2:])
    assert outcome.received == bytes.fromhex(A)
    assert (outcome.cause, outcome.text, outcome.exception) == ("", "", None)
    assert (outcome.late, outcome.repeats) == (False, 0)
    assert outcome.ended - outcome.sent == pytest.approx(0.020)


@pytest.mark.parametrize(
    ("reply", "status", "cause"),
    [
        pytest.param("02 03 04 11 11 22 22 04 B3", Status.WRONG_REPLY, "other unit", id="other meter"),
        pytest.param("01 04 04 11 11 22 22 36 04", Status.WRONG_REPLY, "other function", id="other function"),
        pytest.param("01 03 02 11 11 74 18", Status.WRONG_REPLY, "fewer registers", id="one register"),
        pytest.param(
            "01 03 08 00 01 00 02 00 03 00 04 0D 14", Status.WRONG_REPLY, "four bytes a register",
            id="four registers"),
        pytest.param("01 03 05 00 01 00 02 00 B2 0E", Status.WRONG_REPLY, "odd byte count", id="odd"),
        pytest.param("01 03 04 11 11 22 22 00 00", Status.DAMAGED_REPLY, "bad checksum", id="checksum"),
        pytest.param("01 83 02", Status.DAMAGED_REPLY, "exception without checksum", id="short exception"),
        pytest.param("01 03 00 04 11 11 22 22 8E 87", Status.WRONG_REPLY, "two-byte byte count", id="count"),
        pytest.param("00 00 00 " + A, Status.DAMAGED_REPLY, "not a reply", id="too much noise before"),
        pytest.param(A + " " + A, Status.WRONG_REPLY, "two replies", id="two replies"),
        pytest.param("6C 6F 67 69 6E 3A 20", Status.DAMAGED_REPLY, "not a reply", id="a console"),
    ],
)  # fmt: skip
def test_what_does_not_answer_the_question_is_no_value(play, reply: str, status: Status, cause: str) -> None:
    outcome = play(f"{Q0}\n+20 < {reply}").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause, outcome.words) == (status, cause, ())
    assert outcome.received == bytes.fromhex(reply)
    assert outcome.text.startswith("Unit 1 on /dev/hollow-mere: ")


def test_another_meters_frame_and_ours_in_one_piece(play) -> None:
    outcome = play(f"{Q0}\n+20 < 02 03 04 00 09 00 09 D9 37 {A}").line.read(1, FIRST, MANNERS)
    assert outcome.words == (0x1111, 0x2222)


def test_departures_of_home_made_meters_only_when_tolerated(play) -> None:
    short = Manners(tolerate=(Departure.EXCEPTION_WITHOUT_CRC,))
    outcome = play(f"{Q0}\n+20 < 01 83 02").line.read(1, FIRST, short)
    assert (outcome.status, outcome.exception) == (Status.EXCEPTION, 2)
    counted = Manners(tolerate=(Departure.TWO_BYTE_COUNT,))
    outcome = play(f"{Q0}\n+20 < 01 03 00 04 11 11 22 22 8E 87").line.read(1, FIRST, counted)
    assert outcome.words == (0x1111, 0x2222)
    assert play(f"{Q0}\n+20 < {A}").line.read(1, FIRST, counted).words == (0x1111, 0x2222)


def test_32_bits_behind_each_address(play) -> None:
    played = play("> 01 03 1B 5E 00 01 E3 3C\n+20 < 01 03 04 43 48 00 00 6F A1")
    outcome = played.line.read(1, ReadRequest(Table.HOLDING, 0x1B5E, 1), Manners(words_per_address=2))
    assert outcome.words == (0x4348, 0)


def test_coils_are_ones_and_zeros(play) -> None:
    """MODBUS Application Protocol V1.1b3, 6.1, p. 12."""
    played = play("> 01 01 00 13 00 13 8C 02\n+20 < 01 01 03 CD 6B 05 42 82")
    outcome = played.line.read(1, ReadRequest(Table.COIL, 0x13, 19), MANNERS)
    assert outcome.words == (1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1)


def test_files_queue_and_write_with_read(play) -> None:
    """MODBUS Application Protocol V1.1b3, 6.14 (one sub-request, constructed), 6.18 p. 40, 6.17 p. 38."""
    played = play("""
        > 11 14 07 06 00 04 00 01 00 02 D9 70
        +20 <{3,4}/16 11 14 06 05 06 0D FE 00 20 46 8E
        > 01 18 04 DE 03 47
        +20 < 01 18 00 06 00 02 01 B8 12 84 19 18
        > 01 17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF 46 91
        +20 < 01 17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF 1D 79
    """)
    file = played.line.ask(17, ReadFileRecords((FilePart(4, 1, 2),)), MANNERS)
    assert file.reply == FileRecords(((0x0DFE, 0x0020),))
    assert file.words == (0x0DFE, 0x0020)
    assert played.line.ask(1, ReadQueue(0x04DE), MANNERS).reply == Queue((440, 4740))
    both = played.line.ask(1, ReadWriteRegisters(3, 6, 14, (0xFF, 0xFF, 0xFF)), MANNERS)
    assert both.words == (0xFE, 0x0ACD, 1, 3, 13, 0xFF)


def test_no_meter_has_a_reserved_unit_address(play) -> None:
    with pytest.raises(IllegalRequestError):
        play("").line.read(248, FIRST, MANNERS)


def test_two_readers_that_disagree_give_no_value(play, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("readout.bus.master.Master.agrees", lambda *_: False)
    outcome = play(f"{Q0}\n+20 < {A}").line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause, outcome.words) == (Status.WRONG_REPLY, "readers disagree", ())


def test_a_write_is_confirmed_by_its_echo(play) -> None:
    played = play("""
        > 01 03 00 00 00 02 C4 0B
        +20 < 01 03 04 11 11 22 22 37 B3
        > 01 06 00 10 00 01 49 CF
        +20 < 01 06 00 10 00 01 49 CF
    """)
    played.line.read(1, FIRST, MANNERS)  # shows that this adapter does not hear itself
    assert played.line.write(1, WriteRegister(16, 1), MANNERS).status is Status.OK
