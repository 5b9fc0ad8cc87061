"""When the line speaks, when it listens, and when it asks again.

The bytes are constructed; their checksums were computed with crccheck 1.3.1. SL: Modbus over serial line.
"""

import pytest
from crccheck.crc import CrcModbus
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST = ReadRequest(Table.HOLDING, 0, 2)
OTHER = ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
ONE = "> 01 03 00 00 00 01 84 0A"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


@pytest.mark.parametrize(
    ("fmt", "pause", "rest"),
    [
        # SL 2.5.1, p. 13: 3.5 characters up to 19200 Bd, 1.750 ms above.
        (SerialFormat(9600, "even"), 0.0, 0.004010),
        (SerialFormat(19200, "even"), 0.0, 0.002005),
        (SerialFormat(115200, "even"), 0.0, 0.001750),
        (SerialFormat(19200, "even"), 0.1, 0.1),
    ],
)
def test_the_line_is_silent_before_each_request(play, fmt: SerialFormat, pause: float, rest: float) -> None:
    """Counted from the last byte on the line; and not longer than needed."""
    played = play(f"{Q0}\n+20 <{{4}}/16 {A}\n" * 10, fmt=fmt)
    for _ in range(10):
        assert played.line.read(1, FIRST, Manners(pause=pause)).status is Status.OK
    last_bytes = [at for at, data in played.port.arrived if data.endswith(b"\xb3")]
    gaps = [sent - last for (sent, _), last in zip(played.port.sent[1:], last_bytes, strict=False)]
    assert gaps == pytest.approx([rest] * 9, abs=1e-6)


def test_the_line_is_silent_after_opening_too(play) -> None:
    """Somebody may have been speaking when the port was opened."""
    played = play(f"{Q0}\n+20 < {A}", fmt=SerialFormat(9600, "even"))
    played.line.read(1, FIRST, MANNERS)
    assert played.port.sent[0][0] - 1000.0 == pytest.approx(0.00401, abs=1e-5)


def test_the_limit_counts_from_the_last_bit_of_the_request(play) -> None:
    """At 1200 Bd the request's 8 characters of 11 bits take 73 ms: 550 ms after sending is prompt."""
    played = play(f"{Q0}\n+550 < {A}", fmt=SerialFormat(1200, "even"))
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.late) == (Status.OK, False)


def test_a_silent_meter_is_asked_once_more_after_the_late_window(play) -> None:
    """Behind a read of one register, for which the old reply, should it come now, cannot be taken."""
    played = play(f"{Q0}\n{ONE}\n+20 < 01 03 02 11 11 74 18\n{Q0}\n+20 < {A}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words, outcome.repeats) == (Status.OK, (0x1111, 0x2222), 1)
    first, spacer, second = (at for at, _ in played.port.sent)
    assert spacer - first >= 1.5
    assert second - played.port.arrived[0][0] >= 0.2  # a meter that was silent may need a rest


def test_a_meter_that_stays_silent_is_no_reply(play) -> None:
    played = play(f"{Q0}\n{ONE}\n{Q0}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.cause, outcome.repeats) == (Status.NO_REPLY, "no reply", 1)
    assert (outcome.words, outcome.received) == ((), b"")
    assert "no reply within 0.5 s" in outcome.text


def test_a_damaged_reply_is_asked_for_once_more_when_the_line_is_quiet(play) -> None:
    """Not after the whole timeout, and not while bytes still come."""
    played = play(f"{Q0}\n+20 <{{9}}/10 01 03 04 11 11 22 23 37 B3 00 00\n{Q0}\n+20 < {A}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.repeats) == (Status.OK, 1)
    quiet = played.port.sent[1][0] - played.port.arrived[1][0]
    assert 0.0199 <= quiet <= 0.03


def test_an_exception_is_an_answer_and_not_asked_for_again(play) -> None:
    played = play(f"{Q0}\n+20 < 01 83 03 01 31")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.exception, outcome.repeats) == (Status.EXCEPTION, 3, 0)


def test_bytes_nobody_asked_for_are_counted_and_waited_out(play) -> None:
    """A second reply to the same request comes 2 ms behind the first: it is not the answer to the next."""
    played = play(f"{Q0}\n+20 < {A}\n+2 < {A}\n{Q2}\n+20 < {B}", fmt=SerialFormat(9600, "even"))
    played.line.read(1, FIRST, MANNERS)
    outcome = played.line.read(1, OTHER, MANNERS)
    assert outcome.words == (0x3333, 0x4444)
    assert played.line.strays == 9
    assert played.port.sent[1][0] - played.port.arrived[1][0] >= 0.0199


def test_nothing_is_sent_on_a_line_that_is_never_quiet(play) -> None:
    """A zero every 3 ms for minutes, as an idle line without bias gives."""
    zeros = "00 " * 40000
    cuts = ",".join("1" * 39999)
    played = play(f"{Q0}\n+20 <{{{cuts}}}/3 {zeros}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.DAMAGED_REPLY, ())
    assert outcome.cause == "line is never quiet"
    assert len(played.port.sent) == 1
    assert played.clock.at < 1010


def test_an_unplugged_adapter_is_port_lost_at_once_and_from_then_on(play) -> None:
    played = play(f"{Q0}\n+20 < 01 03 04 11\nHANGUP")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words) == (Status.PORT_LOST, ())
    assert played.line.lost
    assert played.port.closed
    again = played.line.read(1, OTHER, MANNERS)
    assert again.status is Status.PORT_LOST
    assert len(played.port.sent) == 1


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rubbish=st.binary(max_size=40), cut=st.integers(1, 39), delay=st.integers(0, 2000))
def test_rubbish_gives_no_value_and_no_traceback(play, rubbish: bytes, cut: int, delay: int) -> None:
    """Whatever comes instead of a reply, and whenever, the words are those of a fitting frame or none."""
    text = rubbish.hex(" ").upper() or "00"
    pieces = f"{{{cut}}}/7" if cut < len(rubbish) else ""
    played = play(f"{Q0}\n+{delay} <{pieces} {text}")
    outcome = played.line.transact(1, FIRST, MANNERS)
    fits = len(rubbish) == 9 and rubbish[:3] == b"\x01\x03\x04" and CrcModbus.calc(rubbish) == 0
    assert (outcome.words != ()) == fits
