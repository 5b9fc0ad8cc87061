"""B03: adapters that hear themselves, known by the bytes alone.

9600 8N1, meter 1. Frames constructed, checksums by crccheck 1.3.1.
"""

import pytest

from protocols.modbus.requests import ReadRequest, WriteRegister
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST = ReadRequest(Table.HOLDING, 0, 2)
Q0, A = "> 01 03 00 00 00 02 C4 0B", "01 03 04 11 11 22 22 37 B3"
ECHO = Q0[2:]
WRITE = "01 06 00 10 00 01 49 CF"
ONE_AT_16 = "01 03 00 10 00 01 85 CF"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


@pytest.mark.parametrize(
    "heard",
    [
        pytest.param(f"+0 < {ECHO}\n+20 < {A}", id="the echo, then the reply"),
        pytest.param(f"+0 < {ECHO} {A}", id="both in one piece"),
        pytest.param(f"+0 < {ECHO[3:]}\n+20 < {A}", id="the echo without its first byte"),
        pytest.param(f"+0 <{{1,2,3}}/2 {ECHO} {A}", id="in pieces cut anywhere"),
        pytest.param(f"+0 < {ECHO} 00\n+20 < {A}", id="noise between the two"),
        pytest.param(f"+0 < FF {ECHO}\n+20 < {A}", id="noise ahead of the echo"),
        pytest.param(f"+0 < {ECHO}\n+650 < {A}", id="a late reply behind the echo"),
    ],
)
def test_the_reply_behind_the_echo_is_read(play, heard: str) -> None:
    played = play(f"{Q0}\n{heard}")
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert played.line.statistics.echo


def test_an_echo_and_nothing_else_is_named_and_no_reply(play) -> None:
    played = play(f"{Q0}\n+0 < {ECHO}")
    outcome = played.line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause, outcome.words) == (Status.NO_REPLY, "echo only", ())
    assert "The adapter hears its own request, and the meter is silent." in outcome.text
    assert f"Received: {ECHO}" in outcome.text


def test_a_write_that_only_its_echo_confirms_is_no_success_once_the_echo_is_known(play) -> None:
    played = play(f"{Q0}\n+0 < {ECHO}\n+20 < {A}\n> {WRITE}\n+0 < {WRITE}")
    played.line.read(1, FIRST, MANNERS)
    outcome = played.line.write(1, WriteRegister(16, 1), MANNERS)
    assert (outcome.status, outcome.cause) == (Status.NO_REPLY, "unanswered write")
    assert "hears its own request" in outcome.text
    assert "unknown" in outcome.text


@pytest.mark.parametrize("heard", [f"+0 < {WRITE}\n+20 < {WRITE}", f"+0 < {WRITE} {WRITE}"])
def test_two_copies_confirm_a_write(play, heard: str) -> None:
    played = play(f"{Q0}\n+0 < {ECHO}\n+20 < {A}\n> {WRITE}\n{heard}")
    played.line.read(1, FIRST, MANNERS)
    assert played.line.write(1, WriteRegister(16, 1), MANNERS).status is Status.OK


def test_the_first_write_of_a_line_is_proven_by_a_read_that_shows_whether_there_is_an_echo(play) -> None:
    quiet = play(f"> {WRITE}\n+20 < {WRITE}\n> {ONE_AT_16}\n+20 < 01 03 02 00 01 79 84")
    assert quiet.line.write(1, WriteRegister(16, 1), MANNERS).status is Status.OK
    alone = play(f"> {WRITE}\n+0 < {WRITE}\n> {ONE_AT_16}\n+0 < {ONE_AT_16}")
    outcome = alone.line.write(1, WriteRegister(16, 1), Manners(repeats=0))
    assert (outcome.status, outcome.cause) == (Status.NO_REPLY, "unanswered write")


def test_the_confirmation_behind_an_unknown_echo_is_no_second_reply(play) -> None:
    """The echo was taken for the confirmation; when that comes too, the adapter is known, and all is well."""
    played = play(f"> {WRITE}\n+0 < {WRITE}\n+3 < {WRITE}\n> {ONE_AT_16}\n+20 < 01 03 02 00 01 79 84")
    outcome = played.line.write(1, WriteRegister(16, 1), MANNERS)
    assert outcome.status is Status.OK
    assert played.line.settle([outcome])[0].status is Status.OK
    assert (played.line.statistics.echo, played.line.statistics.doubted) == (True, 0)


def test_an_echo_that_differs_from_what_was_sent_is_a_collision(play) -> None:
    played = play(f"{Q0}\n+0 < {ECHO}\n+20 < {A}\n{Q0}\n+0 < 01 03 00 40 00 02 C4 0B")
    played.line.read(1, FIRST, MANNERS)
    outcome = played.line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause) == (Status.DAMAGED_REPLY, "echo differs from what was sent")
    assert outcome.text.startswith("Unit 1 on /dev/hollow-mere: ")


def test_an_echo_with_a_zero_behind_it_is_not_the_reply_whose_checksum_fits(play) -> None:
    """A frame with zeros behind its checksum still fits: the echo of a read of two registers at 0400 and one
    byte of noise are a whole reply with a right checksum."""
    asked = "01 03 04 00 00 02 C5 3B"
    played = play(f"> {asked}\n+0 < {asked} 00")
    outcome = played.line.transact(1, ReadRequest(Table.HOLDING, 0x0400, 2), MANNERS)
    assert (outcome.status, outcome.cause, outcome.words) == (Status.NO_REPLY, "echo only", ())
