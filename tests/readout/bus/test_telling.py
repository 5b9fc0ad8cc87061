"""What a technician reads when a reply gives no value: the cause by its bytes, and what to try.

The bytes are those of a receiver modelled bit by bit (8N1, ideal sampling) that hears the reply
01 03 04 11 11 22 22 37 B3 of a meter with other settings; constructed.
"""

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

ASK = ReadRequest(Table.HOLDING, 0, 2)
Q0 = "> 01 03 00 00 00 02 C4 0B"
A = "01 03 04 11 11 22 22 37 B3"
ONCE = Manners(reply_within=0.5, late_within=1.0, repeats=0)


@pytest.mark.parametrize(
    ("baud_rate", "received", "cause", "advice"),
    [
        (19200, "06 80 1E 80 60 80 06 60 60 18 60 86 60 E6 1E 1E FE", "is slower than 19200", "9600 Bd"),
        (4800, "8C D6 21 6F FF", "meter is faster than 4800", "9600 Bd"),
        (9600, "D0 F9 F7 DD DD BB BB 91 00 00 00", "A and B are swapped", "swapping A and B"),
        (9600, "01 00 04 00 00 00 00 37 B3", "parity or stop bits", "9600 8E1"),
        (9600, "01 03 04 11 11 22 22 37 33", "7 data bits", "8 data bits"),
        (9600, "3A 30 31 30 33 30 34 31 31 31 31 32 32 32 32 39 32 0D 0A", "Modbus ASCII", "RTU"),
        (9600, "6C 6F 67 69 6E 3A 20", "login:", "console"),
        (9600, "00 " * 40, "stuck low", "bias"),
        (9600, "01 03 04 11 11 22 22 00 00", "checksum does not fit", "termination"),
    ],
)  # fmt: skip
def test_each_cause_is_named_with_its_bytes_and_what_to_try(
    play, baud_rate: int, received: str, cause: str, advice: str
) -> None:
    played = play(f"{Q0}\n+20 < {received.strip()}", fmt=SerialFormat(baud_rate, "none"))
    outcome = played.line.read(1, ASK, ONCE)
    assert outcome.words == ()
    assert outcome.status in (Status.DAMAGED_REPLY, Status.WRONG_REPLY)
    lines = outcome.text.split("\n")
    assert len(lines) <= 3
    assert lines[0].startswith("Unit 1 on /dev/hollow-mere: ")
    assert cause in lines[0]
    assert f"Received: {received.strip()[:95]}" in lines[0]
    assert advice in "".join(lines[1:])


def test_damage_now_and_then_is_told_from_damage_always(play) -> None:
    """Ten good replies and one with a flipped bit: the cable, not the settings."""
    good = f"{Q0}\n+20 < {A}\n"
    played = play(good * 10 + f"{Q0}\n+20 < 01 03 04 11 11 22 23 37 B3")
    for _ in range(10):
        assert played.line.read(1, ASK, ONCE).status is Status.OK
    text = played.line.read(1, ASK, ONCE).text
    assert "now and then (1 of 11 replies)" in text


def test_silence_says_what_to_see_to(play) -> None:
    text = play(Q0).line.read(1, ASK, ONCE).text
    assert "no reply within 0.5 s" in text
    assert "unit address, line settings and wiring" in text
