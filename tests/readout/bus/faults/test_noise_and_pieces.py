"""B01, B04, B05, B08, B33, B36: exceptions at once, noise, a cut start, pieces, slow lines, hasty drivers.

9600 8N1, meter 1, 500 ms to the first byte. Frames constructed, checksums by crccheck 1.3.1.
"""

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST, OTHER = ReadRequest(Table.HOLDING, 0, 2), ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


@pytest.mark.parametrize("how", ["<", "<{1,1}/16"])
def test_an_exception_is_reported_within_100_ms_and_asked_once(play, how: str) -> None:
    played = play(f"{Q0}\n+20 {how} 01 83 02 C0 F1")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.exception) == (Status.EXCEPTION, 2)
    assert "exception 02, illegal data address" in outcome.text
    assert played.clock.at - played.port.arrived[-1][0] < 0.1
    assert len(played.port.sent) == 1


@pytest.mark.parametrize(
    "heard",
    [
        "+20 < 00 01 03 04 11 11 22 22 37 B3",
        "+20 < FF 01 03 04 11 11 22 22 37 B3 00",
        "+20 < 00 00 01 03 04 11 11 22 22 37 B3",
        "+20 < 00\n+40 < 01 03 04 11 11 22 22 37 B3",
        "+20 < 01 03 04 11 11 22 22 37 B3\n+2 < 00 FF",
        "+480 < 00\n+100 < 01 03 04 11 11 22 22 37 B3",
    ],
)
def test_up_to_two_bytes_of_noise_on_either_side_change_nothing(play, heard: str) -> None:
    """Nor is anything of it left for the next read."""
    played = play(f"{Q0}\n{heard}\n{Q2}\n+20 < {B}")
    first = played.line.read(1, FIRST, MANNERS)
    assert (first.status, first.words) == (Status.OK, (0x1111, 0x2222))
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)
    assert played.line.settle([first]) == (first,)
    assert played.line.statistics.noisy == 1
    assert 1 <= played.line.statistics.noise_bytes <= 2


def test_noise_around_an_exception(play) -> None:
    played = play(f"{Q0}\n+20 < 00 01 83 02 C0 F1 00\n{Q2}\n+20 < {B}")
    assert played.line.read(1, FIRST, MANNERS).exception == 2
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)


def test_a_zero_before_every_reply_five_times_in_a_row(play) -> None:
    """Answers do not roll: each has its own value, and the technician is told of bias."""
    script = f"{Q0}\n+20 < 00\n+40 < {A}\n{Q2}\n+20 < {B}\n" * 10
    played = play(script)
    for _ in range(10):
        assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
        assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)
    assert played.line.statistics.noise_bytes == 10
    assert "bias resistors" in " ".join(played.line.statistics.advice)


@pytest.mark.parametrize(
    "heard",
    [
        "00 00 00 01 03 04 11 11 22 22 37 B3",  # three bytes ahead
        "01 03 04 11 11 22 22 37 B3 00 00 00",  # three behind
        "55 01 03 04 11 11 22 22 37 B3",  # not what an idle line makes
        "55 55 55 01 03 04 11 11 22 22 37 B3 55",
    ],
)
def test_nothing_is_hunted_for_in_rubbish(play, heard: str) -> None:
    """A frame with a right checksum stands in each of them."""
    outcome = play(f"{Q0}\n+20 < {heard}").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.DAMAGED_REPLY, ())


def test_noise_alone_is_no_reply(play) -> None:
    outcome = play(f"{Q0}\n+20 < FF").line.transact(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause) == (Status.NO_REPLY, "only noise")
    assert outcome.received == b"\xff"


@pytest.mark.parametrize("rest", ["03 04 11 11 22 22 37 B3", "04 11 11 22 22 37 B3"])
def test_a_reply_whose_start_is_cut_off_is_named_and_asked_for_again(play, rest: str) -> None:
    played = play(f"{Q0}\n+4 < {rest}\n{Q0}\n+20 < {A}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.words, outcome.repeats) == ((0x1111, 0x2222), 1)
    named = play(f"{Q0}\n+4 < {rest}").line.transact(1, FIRST, MANNERS)
    assert (named.status, named.cause, named.exception) == (Status.DAMAGED_REPLY, "start cut off", None)
    missing = 9 - len(rest.split())  # of the nine bytes of A
    first = "its first byte;" if missing == 1 else f"its first {missing} bytes;"
    assert f"The reply starts late, without {first}" in named.text
    assert "response delay in the meter" in named.text


#: crccheck's CrcModbus over `01 03 FA` and 125 times `00 2A`, low byte first.
LONG = "01 03 FA" + " 00 2A" * 125 + " 22 BD"


@pytest.mark.parametrize(
    "how",
    [
        pytest.param(f"+20 <{{1,1,1,1,1,1,1,1}}/20 {A}", id="byte by byte"),
        pytest.param(f"+20 <{{4}}/45 {A}", id="45 ms in the middle"),
        pytest.param(f"+16 <{{5}}/16 {A}", id="a 16 ms latency timer"),
    ],
)
def test_gaps_do_not_end_a_reply(play, how: str) -> None:
    assert play(f"{Q0}\n{how}").line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)


def test_a_long_reply_in_usb_packets(play) -> None:
    played = play(f"> 01 03 00 00 00 7D 85 EB\n+20 <{{62,62,62,62}}/16 {LONG}")
    assert played.line.read(1, ReadRequest(Table.HOLDING, 0, 125), MANNERS).words == (42,) * 125


def test_a_fragment_is_named_and_not_glued_to_the_next_reply(play) -> None:
    played = play(f"{Q0}\n+20 < 01 03 04 11\n{Q2}\n+20 < {B}")
    cut = played.line.transact(1, FIRST, MANNERS)
    assert (cut.status, cut.cause, cut.words) == (Status.DAMAGED_REPLY, "incomplete", ())
    assert "4 of 9 bytes" in cut.text
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)


def test_a_slow_line_gets_the_time_its_characters_take(play) -> None:
    """1200 Bd: first byte after 400 ms of 500, then 255 bytes 9.2 ms apart."""
    cuts = ",".join("1" * 254)
    played = play(f"> 01 03 00 00 00 7D 85 EB\n+400 <{{{cuts}}}/9.2 {LONG}", fmt=SerialFormat(1200, "even"))
    outcome = played.line.read(1, ReadRequest(Table.HOLDING, 0, 125), MANNERS)
    assert (outcome.status, outcome.late) == (Status.OK, False)


def test_a_driver_that_returns_early_is_asked_again(play) -> None:
    assert play(f"{Q0}\n+20 < {A}", empty_reads=5).line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
