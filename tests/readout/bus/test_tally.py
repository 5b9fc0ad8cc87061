"""Each sending counts, and what failed of it, under the meter that was asked: made good or not.

Frames constructed, checksums by crccheck 1.3.1, as in faults/test_late_and_doubled.py.
"""

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.line.tally import Tally
from readout.bus.outcome import Status

FIRST, OTHER = ReadRequest(Table.HOLDING, 0, 2), ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2, Q0_OF_2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB", "> 02 03 00 00 00 02 C4 38"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
A_DAMAGED, BUSY = "01 03 04 11 11 22 23 37 B3", "01 83 06 C1 32"
MANNERS = Manners(reply_within=0.5, late_within=1.0)


@pytest.mark.parametrize(
    ("reply", "cause"),
    [(A_DAMAGED, "bad checksum"), (A[:11], "incomplete"), (BUSY, "exception 06")],
)
def test_a_failed_request_counts_though_its_repeat_brings_the_value(play, reply: str, cause: str) -> None:
    line = play(f"{Q0}\n+20 < {reply}\n{Q0}\n+20 < {A}").line
    assert line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert line.tally(1) == Tally(2, {cause: 1})
    assert (line.tally(1), line.tally(2)) == (None, None), "taken once"


def test_a_value_that_is_taken_back_has_failed_for_the_meter_that_gave_it(play) -> None:
    """The second reply comes 2 ms behind the first, before another meter is asked; that one is silent."""
    line = play(f"{Q0}\n+20 < {A}\n+2 < {A}\n{Q0_OF_2}").line
    assert line.read(1, FIRST, MANNERS).status is Status.OK
    assert line.read(2, FIRST, Manners(repeats=0)).status is Status.NO_REPLY
    assert line.tally(1) == Tally(1, {"two replies": 1})
    assert line.tally(2) == Tally(1, {"no reply": 1})


def test_values_that_a_wrong_reply_leaves_unproven_have_failed_for_their_own_meter(play) -> None:
    """Two of one shape in a row from meter 1, then damage from meter 2: the second is not proven."""
    line = play(f"{Q0}\n+20 < {A}\n{Q2}\n+20 < {B}\n{Q0_OF_2}\n+20 < 02 03 04 11 11 22 23 37 B3").line
    for request in (FIRST, OTHER):
        assert line.read(1, request, MANNERS).status is Status.OK
    line.read(2, FIRST, Manners(repeats=0))
    assert line.tally(1) == Tally(2, {"never proven in step": 1})
    assert line.tally(2) == Tally(1, {"bad checksum": 1})


def test_an_exception_to_a_short_read_behind_silence_is_no_failure(play) -> None:
    """Behind silence one register is asked for first; the meter has no such one, and that is an answer."""
    spacer, refused = "> 01 03 00 00 00 01 84 0A", "01 83 02 C0 F1"
    line = play(f"{Q0}\n{spacer}\n+20 < {refused}\n{Q0}\n+20 < {A}").line
    assert line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert line.tally(1) == Tally(3, {"no reply": 1})
