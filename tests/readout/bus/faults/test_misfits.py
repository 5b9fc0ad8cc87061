"""B14, B16, B25, B37: whole frames that do not answer the question, known departures, other people's frames.

9600 8N1, meter 1, Q0 asks for registers 0 and 1. Frames constructed, checksums by crccheck 1.3.1.
"""

import pytest

from protocols.modbus.replies import Departure
from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST, OTHER = ReadRequest(Table.HOLDING, 0, 2), ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
MANNERS = Manners(reply_within=0.5, late_within=1.0)
MISFITS = {
    "02 03 04 11 11 22 22 04 B3": (Status.WRONG_REPLY, "other unit"),
    "01 04 04 11 11 22 22 36 04": (Status.WRONG_REPLY, "other function"),
    "01 03 02 11 11 74 18": (Status.WRONG_REPLY, "fewer registers"),
    "01 03 08 00 01 00 02 00 03 00 04 0D 14": (Status.WRONG_REPLY, "four bytes a register"),
    "01 03 05 00 01 00 02 00 B2 0E": (Status.WRONG_REPLY, "odd byte count"),
    "01 03 04 11 11 22 22 00 00": (Status.DAMAGED_REPLY, "bad checksum"),
}


@pytest.mark.parametrize(("reply", "expected"), MISFITS.items())
def test_a_valid_frame_that_does_not_answer_gives_no_value(play, reply: str, expected) -> None:
    outcome = play(f"{Q0}\n+20 < {reply}").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause) == expected
    assert (outcome.words, outcome.received) == ((), bytes.fromhex(reply))
    assert outcome.text.startswith("Unit 1 on /dev/hollow-mere: ")
    assert f"Received: {reply}" in outcome.text
    assert "Try: " in outcome.text


def test_each_misfit_has_its_own_sentence(play) -> None:
    told = [
        play(f"{Q0}\n+20 < {reply}").line.transact(1, FIRST, MANNERS).text.split("Received")[0]
        for reply in MISFITS
    ]
    assert len(set(told)) == len(MISFITS)
    assert any("1 of the 2 registers asked for came." in text for text in told)


def test_another_meters_frame_is_waited_out(play) -> None:
    played = play(f"{Q0}\n+20 < 02 03 04 00 09 00 09 D9 37\n+60 < {A}")
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)


def test_an_old_reply_of_another_length_is_waited_out_too(play) -> None:
    """One register came where two were asked for, then the two."""
    played = play(f"{Q0}\n+20 < 01 03 02 11 11 74 18\n+20 < {A}")
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)


def test_a_wrong_reply_may_have_been_an_old_one_so_another_length_is_asked_for_next(play) -> None:
    """The meter's real reply to that request comes much later: not to be filed under registers 2 and 3."""
    played = play(f"""
        > 01 03 00 00 00 01 84 0A
        +20 < 01 03 02 11 11 74 18
        {Q0}
        +20 < 01 03 02 11 11 74 18
        > 01 03 00 00 00 01 84 0A
        +100 < {A}
        +100 < 01 03 02 11 11 74 18
        {Q2}
        +20 < {B}
    """)
    played.line.read(1, ReadRequest(Table.HOLDING, 0, 1), MANNERS)
    assert played.line.read(1, FIRST, MANNERS).cause == "fewer registers"
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)


QUIRKS = {
    "01 83 02": Departure.EXCEPTION_WITHOUT_CRC,
    "01 03 00 04 11 11 22 22 8E 87": Departure.TWO_BYTE_COUNT,
}


@pytest.mark.parametrize(("reply", "departure"), QUIRKS.items())
def test_a_departure_from_the_standard_is_named_with_the_key_that_accepts_it(
    play, reply: str, departure: Departure
) -> None:
    outcome = play(f"{Q0}\n+20 < {reply}").line.transact(1, FIRST, MANNERS)
    assert (outcome.cause, outcome.words, outcome.exception) == (departure, (), None)
    assert f"`tolerate: [{departure}]` in the map" in outcome.text


def test_an_exception_without_checksum_counts_after_50_ms_of_silence_where_tolerated(play) -> None:
    manners = Manners(tolerate=(Departure.EXCEPTION_WITHOUT_CRC,))
    played = play(f"{Q0}\n+20 < 01 83 02")
    outcome = played.line.read(1, FIRST, manners)
    assert (outcome.status, outcome.exception) == (Status.EXCEPTION, 2)
    assert 0.05 <= played.clock.at - played.port.arrived[-1][0] < 0.1
    assert "exception without checksum" in " ".join(played.line.statistics.advice)
    behind = play(f"{Q0}\n+20 < 01 83 02 55").line.transact(1, FIRST, manners)
    assert (behind.status, behind.exception) == (Status.DAMAGED_REPLY, None)


def test_a_two_byte_byte_count_where_tolerated(play) -> None:
    manners = Manners(tolerate=(Departure.TWO_BYTE_COUNT,))
    played = play(f"{Q0}\n+20 < 01 03 00 04 11 11 22 22 8E 87")
    assert played.line.read(1, FIRST, manners).words == (0x1111, 0x2222)
    assert "two-byte byte count" in " ".join(played.line.statistics.advice)


def test_control_characters_arrive_as_they_were_sent(play) -> None:
    played = play("> 01 03 00 00 00 05 85 C9\n+20 < 01 03 0A 0D 0A 11 13 03 04 1A 7F FF 00 AF 2E")
    words = played.line.read(1, ReadRequest(Table.HOLDING, 0, 5), MANNERS).words
    assert words == (0x0D0A, 0x1113, 0x0304, 0x1A7F, 0xFF00)


def test_another_masters_question_and_its_answer_are_laid_aside(play) -> None:
    played = play(f"""
        {Q0}
        +5 < 05 03 00 00 00 0A C4 49
        +20 < 05 03 14 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 91 94
        +20 < {A}
    """)
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    (advice,) = played.line.statistics.advice
    assert (
        "A request to unit 5 came that this computer did not send: another master is on the line." in advice
    )
    assert advice.count("Try:") == 1, "two things to try are one sentence in the log"
    assert advice.endswith(".")


def test_another_master_that_asks_the_same_meter_is_named(play) -> None:
    """Its question came, and no reply to ours: whose the next one is could not be told."""
    outcome = play(f"{Q0}\n+5 < {Q2[2:]}").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause) == (Status.DAMAGED_REPLY, "another master")
    assert "another master is on the line" in outcome.text


def test_two_devices_with_one_address_are_named(play) -> None:
    outcome = play(f"{Q0}\n+20 < 01 03 04 11 11 {B}").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.DAMAGED_REPLY, ())
    assert "Two devices answer as unit 1" in outcome.text
