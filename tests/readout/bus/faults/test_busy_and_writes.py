"""B19, B20, B32: busy meters and gateways, orders to all, and writes whose confirmation did not come.

9600 8N1, meter 1. Frames constructed, checksums by crccheck 1.3.1.
"""

from itertools import pairwise

import pytest

from protocols.modbus.requests import (
    IllegalRequestError,
    ReadRequest,
    WriteCoil,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST = ReadRequest(Table.HOLDING, 0, 2)
Q0, A = "> 01 03 00 00 00 02 C4 0B", "01 03 04 11 11 22 22 37 B3"
BUSY = "01 83 06 C1 32"
MANNERS = Manners(reply_within=0.5, late_within=1.0)
#: Write 5 to register 20 hex, and the read of it.
WRITE, BACK = "01 06 00 20 00 05 48 03", "01 03 00 20 00 01 85 C0"


def test_a_busy_meter_is_asked_again_until_it_answers(play) -> None:
    """Five times busy: asked again after 0.2, 0.4, 0.8, 1.6 and 2 s, 5 s in all, and no fault is counted."""
    played = play(f"{Q0}\n+20 < {BUSY}\n" * 5 + f"{Q0}\n+20 < {A}")
    began = played.clock.at
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words, outcome.repeats) == (Status.OK, (0x1111, 0x2222), 0)
    assert (outcome.cause, outcome.text) == ("", "")
    assert 4 <= played.clock.at - began <= 8
    waits = [after - before - 0.02 for (before, _), (after, _) in pairwise(played.port.sent)]
    assert waits == pytest.approx([0.2, 0.4, 0.8, 1.6, 2.0], abs=0.02)
    assert (played.line.statistics.busy, played.line.statistics.repeats) == (5, 0)


def test_a_meter_that_stays_busy_is_an_exception_in_the_end(play) -> None:
    played = play(f"{Q0}\n+20 < {BUSY}\n" * 4)
    outcome = played.line.read(1, FIRST, Manners(busy_within=2.0))
    assert (outcome.status, outcome.exception, outcome.words) == (Status.EXCEPTION, 6, ())
    assert "busy" in outcome.text
    assert played.clock.at - 1000 < 2.2


def test_one_sending_is_one_sending(play) -> None:
    played = play(f"{Q0}\n+20 < {BUSY}")
    assert played.line.transact(1, FIRST, MANNERS).exception == 6


@pytest.mark.parametrize(
    ("reply", "code", "words"),
    [
        ("01 83 0B 00 F7", 0x0B, "the gateway answered, the meter behind it did not"),
        ("01 83 0A C1 37", 0x0A, "the gateway has no way to this meter"),
        ("01 83 01 80 F0", 0x01, "illegal function"),
        ("01 83 02 C0 F1", 0x02, "illegal data address"),
        ("01 83 03 01 31", 0x03, "illegal data value"),
        ("01 83 8F 00 94", 0x8F, "not in the specification"),
    ],
)
def test_exceptions_are_named_and_asked_once(play, reply: str, code: int, words: str) -> None:
    played = play(f"{Q0}\n+20 < {reply}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.exception, outcome.words) == (Status.EXCEPTION, code, ())
    assert words in outcome.text
    assert outcome.text.startswith(f"Unit 1 on /dev/hollow-mere: exception {code:02X}")


def test_acknowledge_is_waited_for_like_busy(play) -> None:
    played = play(f"{Q0}\n+20 < 01 83 05 81 33\n{Q0}\n+20 < {A}")
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)


def test_a_device_failure_is_asked_once_more(play) -> None:
    played = play(f"{Q0}\n+20 < 01 83 04 40 F3\n" * 2)
    assert played.line.read(1, FIRST, MANNERS).exception == 4
    assert len(played.port.sent) == 2


def test_an_order_to_all_waits_for_its_turnaround(play) -> None:
    """100 to 200 ms (MODBUS over Serial Line V1.02, 2.4.1, p. 10), and no reply."""
    played = play("> 00 06 00 10 00 01 48 1E")
    before = played.clock.at
    outcome = played.line.write(0, WriteRegister(16, 1), MANNERS)
    assert (outcome.status, outcome.text) == (Status.OK, "")
    assert 0.1 <= played.clock.at - before <= 0.25


def test_an_answer_to_an_order_to_all_is_told_and_not_taken(play) -> None:
    played = play("> 00 06 00 10 00 01 48 1E\n+60 < 01 06 00 10 00 01 49 CF")
    outcome = played.line.write(0, WriteRegister(16, 1), MANNERS)
    assert (outcome.status, outcome.words, outcome.reply) == (Status.OK, (), None)
    assert "answered an order to all: 01 06 00 10 00 01 49 CF" in outcome.text
    assert played.line.strays == 8


def test_nobody_is_read_by_an_order_to_all(play) -> None:
    with pytest.raises(IllegalRequestError):
        play("").line.read(0, FIRST, MANNERS)


def test_an_unanswered_write_is_unknown_and_not_sent_again(play) -> None:
    played = play(f"> {WRITE}")
    outcome = played.line.write(1, WriteRegister(0x20, 5), MANNERS)
    assert (outcome.status, outcome.cause) == (Status.NO_REPLY, "unanswered write")
    assert "unknown: read it back" in outcome.text
    assert len(played.port.sent) == 1


def test_what_was_written_is_read_back_before_anything_else_is_sent(play) -> None:
    """The write was carried out, only its confirmation was lost."""
    played = play(f"> {WRITE}\n> {BACK}\n+20 < 01 03 02 00 05 78 47")
    outcome = played.line.write_checked(1, WriteRegister(0x20, 5), MANNERS)
    assert (outcome.status, outcome.cause) == (Status.OK, "read back")
    assert outcome.request == bytes.fromhex(WRITE)
    assert len(played.port.sent) == 2


def test_a_write_that_moves_something_on_is_not_repeated_even_then(play) -> None:
    played = play(f"> {WRITE}\n> {BACK}\n+20 < 01 03 02 00 04 B9 87")
    outcome = played.line.write_checked(1, WriteRegister(0x20, 5), MANNERS)
    assert (outcome.status, outcome.cause) == (Status.NO_REPLY, "unanswered write")
    assert "the meter has 0004" in outcome.text


def test_a_pointer_is_set_again_where_it_was_not(play) -> None:
    played = play(f"> {WRITE}\n> {BACK}\n+20 < 01 03 02 00 04 B9 87\n> {WRITE}\n+20 < {WRITE}")
    outcome = played.line.write_checked(1, WriteRegister(0x20, 5), MANNERS, absolute=True)
    assert outcome.status is Status.OK


def test_a_damaged_confirmation_is_read_back_too(play) -> None:
    played = play(f"> {WRITE}\n+20 < 01 06 00 20 00 05 48 02\n> {BACK}\n+20 < 01 03 02 00 05 78 47")
    assert played.line.write_checked(1, WriteRegister(0x20, 5), MANNERS).status is Status.OK


def test_a_meter_that_is_silent_altogether_leaves_it_unknown(play) -> None:
    played = play(f"> {WRITE}\n> {BACK}")
    outcome = played.line.write_checked(1, WriteRegister(0x20, 5), Manners(repeats=0))
    assert outcome.cause == "unanswered write"
    assert "could not be read back" in outcome.text


def test_an_exception_to_a_write_is_an_answer(play) -> None:
    played = play(f"> {WRITE}\n+20 < 01 86 02 C3 A1")
    outcome = played.line.write_checked(1, WriteRegister(0x20, 5), MANNERS)
    assert (outcome.status, outcome.exception) == (Status.EXCEPTION, 2)


@pytest.mark.parametrize(
    ("request_", "sent", "back", "told"),
    [
        (WriteCoil(3, on=True), "01 05 00 03 FF 00 7C 3A", "01 01 00 03 00 01 0D CA", "01 01 01 01 90 48"),
        (
            WriteRegisters(1, (10, 258)),
            "01 10 00 01 00 02 04 00 0A 01 02 92 30",
            "01 03 00 01 00 02 95 CB",
            "01 03 04 00 0A 01 02 5A 60",
        ),
    ],
)
def test_each_kind_of_write_is_read_back_from_its_own_place(play, request_, sent, back, told) -> None:
    played = play(f"> {sent}\n> {back}\n+20 < {told}")
    assert played.line.write_checked(1, request_, MANNERS).cause == "read back"
