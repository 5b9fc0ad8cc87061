"""B02: late replies and second replies are never filed under other registers.

9600 8N1, meter 1, 500 ms to the first byte, 1 s for a late one. Frames constructed, checksums by crccheck
1.3.1. Q0 asks for registers 0 and 1, Q2 for 2 and 3; A is 1111 2222, B is 3333 4444.
"""

import pytest
from crccheck.crc import CrcModbus

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from readout.bus.exchange import Manners
from readout.bus.outcome import Status

FIRST, OTHER = ReadRequest(Table.HOLDING, 0, 2), ReadRequest(Table.HOLDING, 2, 2)
Q0, Q2 = "> 01 03 00 00 00 02 C4 0B", "> 01 03 00 02 00 02 65 CB"
ONE_AT_2, ONE_REPLY = "> 01 03 00 02 00 01 25 CA", "01 03 02 11 11 74 18"
ONE = "> 01 03 00 00 00 01 84 0A"
A, B = "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
MANNERS = Manners(reply_within=0.5, late_within=1.0)
ONCE = Manners(reply_within=0.5, late_within=1.0, repeats=0)


def frame(data: bytes) -> str:
    return (data + int(CrcModbus.calc(data)).to_bytes(2, "little")).hex(" ").upper()


def test_a_reply_650_ms_late_belongs_to_its_own_request(play) -> None:
    played = play(f"{Q0}\n+650 < {A}\n{Q2}\n+40 < {B}")
    late = played.line.read(1, FIRST, MANNERS)
    prompt = played.line.read(1, OTHER, MANNERS)
    assert (late.words, late.late) == ((0x1111, 0x2222), True)
    assert (prompt.words, prompt.late) == ((0x3333, 0x4444), False)
    assert played.line.statistics.late == 1
    assert played.line.statistics.slowest_reply == pytest.approx(0.65 - 8 * 10 / 9600)


def test_200_reads_around_the_limit_are_all_filed_rightly(play) -> None:
    """Register a holds A000 + a; replies after 300, 450, 520, 610, 480 ms in turn, over five addresses."""
    script = ""
    for number in range(200):
        address = number % 5
        asked, told = bytes((1, 3, 0, address, 0, 1)), bytes((1, 3, 2, 0xA0, address))
        delay = (300, 450, 520, 610, 480)[number % 5]
        script += f"> {frame(asked)}\n+{delay} < {frame(told)}\n"
    line = play(script).line
    outcomes = [line.read(1, ReadRequest(Table.HOLDING, n % 5, 1), MANNERS) for n in range(200)]
    assert [outcome.words for outcome in outcomes] == [(0xA000 + n % 5,) for n in range(200)]
    assert line.statistics.late == 80


def test_two_replies_to_one_request_give_no_value_and_are_named(play) -> None:
    played = play(f"{Q0}\n+20 < {A} {A}\n{Q2}\n+20 < {B}")
    first = played.line.read(1, FIRST, MANNERS)
    assert (first.status, first.cause, first.words) == (Status.WRONG_REPLY, "two replies", ())
    assert "Two devices answer as unit 1" in first.text
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)


@pytest.mark.parametrize("after", [2, 30, 48])
def test_a_second_reply_takes_the_first_one_back_before_it_counts(play, after: int) -> None:
    """The value was handed out at once; while the line is idle the second reply shows."""
    played = play(f"{Q0}\n+20 < {A}\n+{after} < {A}\n{Q2}\n+20 < {B}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert outcome.status is Status.OK
    (settled,) = played.line.settle([outcome], until=played.clock.at + 1.0)
    assert (settled.status, settled.cause, settled.words) == (Status.WRONG_REPLY, "two replies", ())
    assert settled.received == bytes.fromhex(A + A)
    assert "Unit 1 on /dev/hollow-mere: two replies" in settled.text
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)
    assert (played.line.statistics.doubted, played.line.statistics.doubted_late) == (1, 0)


def test_listening_for_a_second_reply_takes_50_ms_and_no_longer(play) -> None:
    played = play(f"{Q0}\n+20 < {A}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert played.line.settle([outcome], until=played.clock.at + 1.0) == (outcome,)
    assert played.clock.at - outcome.ended == pytest.approx(0.05)


def test_a_reply_costs_no_waiting_when_the_next_request_follows(play) -> None:
    """What comes in the silence before it is seen all the same, without a call for it."""
    played = play(f"{Q0}\n+20 < {A}\n+2 < {A}\n{Q2}\n+20 < {B}")
    first = played.line.read(1, FIRST, MANNERS)
    second = played.line.read(1, OTHER, MANNERS)
    assert [outcome.words for outcome in played.line.settle([first, second])] == [(), (0x3333, 0x4444)]


#: Reads behind which a line is quiet, until it is known as one that does not double replies.
AGED = f"{Q0}\n+20 < {A}\n" * 20


def age(played) -> None:
    for _ in range(20):
        played.line.settle([played.line.read(1, FIRST, MANNERS)], until=played.clock.at + 0.06)


def test_replies_one_behind_are_all_taken_back_when_a_surplus_one_shows(play) -> None:
    """Each reply comes twice, the second 30 ms later, into the next request: that one's value is the old one.

    Nothing in the bytes tells; only at the end there is one reply too many, and then none of the row counts.
    """
    played = play(f"{AGED}{Q0}\n+20 < {A}\n+30 < {A}\n{Q2}\n+27 < {B}\n+1 < {B}\n{Q0}\n+27 < {A}")
    age(played)
    outcomes = [played.line.read(1, request, MANNERS) for request in (FIRST, OTHER)]
    assert [outcome.status for outcome in played.line.settle(outcomes, until=played.clock.at + 1.0)] == [
        Status.WRONG_REPLY
    ] * 2
    assert played.line.statistics.doubted == 2


@pytest.mark.parametrize("own", [f"\n+27 < {B}", ""], ids=["its own comes too", "its own is lost"])
def test_on_a_young_line_the_last_reply_once_more_is_not_taken_for_the_next(play, own: str) -> None:
    """As above, but the line is new: the second request is asked again, and has its own value."""
    played = play(f"{Q0}\n+20 < {A}\n+30 < {A}\n{Q2}{own}\n{Q2}\n+20 < {B}")
    first = played.line.read(1, FIRST, MANNERS)
    second = played.line.read(1, OTHER, MANNERS)
    assert second.words == (0x3333, 0x4444)
    assert first.words == (0x1111, 0x2222)


def test_two_registers_with_the_same_value_are_asked_for_twice_on_a_young_line_only(play) -> None:
    played = play(f"{Q0}\n+20 < {A}\n{Q2}\n+20 < {A}\n{Q2}\n+20 < {A}")
    outcomes = [played.line.read(1, request, MANNERS) for request in (FIRST, OTHER)]
    assert [outcome.words for outcome in played.line.settle(outcomes)] == [(0x1111, 0x2222)] * 2
    aged = play(f"{AGED}{Q0}\n+20 < {A}\n{Q2}\n+20 < {A}")
    age(aged)
    outcomes = [aged.line.read(1, request, MANNERS) for request in (FIRST, OTHER)]
    assert [outcome.words for outcome in aged.line.settle(outcomes)] == [(0x1111, 0x2222)] * 2


def test_values_that_were_never_proven_in_step_fall_with_the_next_reply_that_is_damaged(play) -> None:
    """All but the first: one reply too many, and one damaged, would leave nothing over."""
    played = play(f"{AGED}{Q0}\n+20 < {A}\n{Q2}\n+20 < {B}\n{Q0}\n+20 < {A[:-1]}5")
    age(played)
    outcomes = [played.line.read(1, request, ONCE) for request in (FIRST, OTHER, FIRST)]
    final = played.line.settle(outcomes, until=played.clock.at + 1.0)
    assert [outcome.status for outcome in final] == [Status.OK, Status.WRONG_REPLY, Status.DAMAGED_REPLY]
    assert final[1].cause == "never proven in step"
    assert played.line.statistics.unproven == 1


def test_values_stand_where_silence_follows(play) -> None:
    """A reply one behind would have come instead of the silence."""
    played = play(f"{AGED}{Q0}\n+20 < {A}\n{Q2}\n+20 < {B}\n{Q0}")
    age(played)
    outcomes = [played.line.read(1, request, ONCE) for request in (FIRST, OTHER, FIRST)]
    final = played.line.settle(outcomes, until=played.clock.at + 1.0)
    assert [outcome.status for outcome in final] == [Status.OK, Status.OK, Status.NO_REPLY]


def test_doubt_that_comes_after_a_value_was_used_is_counted(play) -> None:
    played = play(f"{Q0}\n+20 < {A}\n+30 < {A}\n{Q2}\n+20 < {B}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert played.line.settle([outcome]) == (outcome,)
    played.clock.at += 0.03
    played.line.read(1, OTHER, MANNERS)
    assert played.line.statistics.doubted_late == 1
    assert "had been used by then" in " ".join(played.line.statistics.advice)


def test_bytes_long_behind_a_reply_leave_it_as_it_was(play) -> None:
    played = play(f"{Q0}\n+20 < {A}\n+300 < 55 AA 12\n{Q2}\n+20 < {B}")
    outcome = played.line.read(1, FIRST, MANNERS)
    assert played.line.settle([outcome], until=played.clock.at + 1.0) == (outcome,)
    played.clock.at += 1.0
    assert played.line.read(1, OTHER, MANNERS).status is Status.OK
    assert played.line.settle([outcome]) == (outcome,)
    assert played.line.strays == 3


def test_behind_silence_another_length_is_asked_for_first(play) -> None:
    """So a reply later than any waiting cannot be taken for the next request's: here it comes after 1.9 s."""
    played = play(f"{Q0}\n+1900 < {A}\n{ONE_AT_2}\n+500 < {ONE_REPLY}\n{Q2}\n+20 < {B}")
    silent = played.line.read(1, FIRST, ONCE)
    assert silent.status is Status.NO_REPLY
    outcome = played.line.read(1, OTHER, ONCE)
    assert outcome.words == (0x3333, 0x4444)
    assert played.line.statistics.spacers == 1


def test_the_spacers_silence_is_the_requests_silence(play) -> None:
    """With a read that this meter is known to answer: it is not asked a third time in vain."""
    known = "> 01 03 00 09 00 03 D5 C9"
    played = play(f"{known}\n+20 < 01 03 06 00 01 00 02 00 03 FD 74\n{Q0}\n{known}")
    played.line.read(1, ReadRequest(Table.HOLDING, 9, 3), MANNERS)
    outcome = played.line.read(1, FIRST, MANNERS)
    assert (outcome.status, outcome.words, outcome.repeats) == (Status.NO_REPLY, (), 1)
    assert outcome.request == bytes.fromhex(Q0[2:])


def test_a_silent_read_of_one_register_is_spaced_by_two(play) -> None:
    played = play(f"{ONE}\n{Q0}\n+20 < {A}\n{ONE}\n+20 < {ONE_REPLY}")
    outcome = played.line.read(1, ReadRequest(Table.HOLDING, 0, 1), MANNERS)
    assert outcome.words == (0x1111,)


def test_an_exception_to_the_spacer_will_do(play) -> None:
    played = play(f"{Q0}\n{ONE}\n+20 < 01 83 02 C0 F1\n{Q0}\n+20 < {A}")
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)


def test_another_meter_is_asked_at_once(play) -> None:
    """Its replies have another address."""
    played = play(f"{Q0}\n> 02 03 00 00 00 02 C4 38\n+20 < 02 03 04 11 11 22 22 04 B3")
    played.line.read(1, FIRST, ONCE)
    assert played.line.read(2, FIRST, ONCE).words == (0x1111, 0x2222)


def test_a_minute_after_a_silence_nothing_is_asked_first(play) -> None:
    played = play(f"{Q0}\n{Q2}\n+20 < {B}")
    played.line.read(1, FIRST, ONCE)
    played.clock.at += 60
    assert played.line.read(1, OTHER, ONCE).words == (0x3333, 0x4444)


def test_rubbish_that_was_not_the_reply_leaves_the_reply_to_come(play) -> None:
    """The repeat gets the old reply, which is as good; the repeat's own must not answer the next request."""
    played = play(f"""
        {Q0}
        +20 < 55 AA 55 AA 55
        {Q0}
        +5 < {A}
        {ONE_AT_2}
        +15 < {A}
        +20 < {ONE_REPLY}
        {Q2}
        +20 < {B}
    """)
    assert played.line.read(1, FIRST, MANNERS).words == (0x1111, 0x2222)
    assert played.line.read(1, OTHER, MANNERS).words == (0x3333, 0x4444)
