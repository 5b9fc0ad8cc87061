"""Testing a line on a clock that jumps: kinds of fault, and timings that make the next run clean."""

from dataclasses import replace

import pytest

from protocols.modbus.replies import Registers
from protocols.modbus.requests import ReadRequest
from protocols.modbus.server import read_request, reply_frame
from protocols.modbus.symptoms import Kind
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.diagnose.trial import Prober, Query, alternating

FMT = SerialFormat(9600, "none")
READ = ReadRequest(Table.HOLDING, 0, 2)
GOOD = reply_frame(1, READ, Registers((0x1111, 0x2222)))


def run(hall, manners=None, reads=40):
    line = Line(hall.open(FMT), FMT, hall.clock)
    return Prober(line, FMT, hall.clock).run([Query(1, READ, manners or Manners())], reads)


def steady(after: float):
    return lambda _frame, _now: [(after, GOOD)]


def resting(rest: float):
    """A meter that ignores a request which begins less than `rest` seconds after its last byte."""
    state = {"last": 0.0}

    def replies(frame: bytes, now: float) -> list[tuple[float, bytes]]:
        if now - state["last"] < rest:
            return []
        state["last"] = now + FMT.wire_time(len(frame)) + 0.02
        unit, request = read_request(frame)  # any number of registers may be asked for
        words = (0x1111, 0x2222, 0x3333, 0x4444, 0x5555)[: request.count]
        return [(0.02, reply_frame(unit, request, Registers(words)))]

    return replies


def every(count: int, otherwise: bytes | None):
    """A meter whose every `count`-th reply is something else; None is silence."""
    state = {"asked": 0}

    def replies(_frame: bytes, _now: float) -> list[tuple[float, bytes]]:
        state["asked"] += 1
        if state["asked"] % count:
            return [(0.02, GOOD)]
        return [] if otherwise is None else [(0.02, otherwise)]

    return replies


def test_a_clean_line_says_how_fast_the_meter_is(hall) -> None:
    hall.meters = [(FMT, steady(0.03))]
    trial = run(hall)
    assert trial.clean
    assert trial.times is not None
    # The whole reply arrives 30 ms after the request's end; its 9 characters take 9.4 ms of that.
    assert trial.times.median == pytest.approx(0.0206, abs=0.0005)
    assert trial.symptoms == {}


def test_a_wait_much_longer_than_needed_is_told(hall) -> None:
    hall.meters = [(FMT, steady(0.03))]
    (proposal,) = run(hall, Manners(reply_within=1.0)).proposals
    assert (proposal.key, proposal.seconds) == ("reply_within", 0.1)


@pytest.mark.parametrize("rest", [0.03, 0.1, 0.15])
def test_a_meter_that_needs_a_rest_gets_a_pause_with_which_the_next_run_is_clean(hall, rest: float) -> None:
    hall.meters = [(FMT, resting(rest))]
    trial = run(hall)
    assert trial.alternates
    assert not trial.clean
    (proposal,) = trial.proposals
    assert proposal.key == "pause"
    assert rest <= proposal.seconds <= 4 * rest
    assert run(hall, Manners(pause=proposal.seconds)).clean


def test_the_pattern_is_seen_within_ten_reads(hall) -> None:
    hall.meters = [(FMT, resting(0.1))]
    assert run(hall, reads=10).alternates


@pytest.mark.parametrize("after", [0.62, 1.2])
def test_a_meter_slower_than_the_map_waits_gets_a_longer_wait_with_which_nothing_is_late(
    hall, after: float
) -> None:
    hall.meters = [(FMT, steady(after))]
    trial = run(hall, reads=20)
    assert not trial.clean
    (proposal,) = trial.proposals
    assert proposal.key == "reply_within"
    assert run(hall, Manners(reply_within=proposal.seconds), reads=20).clean


def test_a_meter_slower_than_even_the_late_window_is_told_from_a_dead_one(hall) -> None:
    hall.meters = [(FMT, steady(1.8))]
    (proposal,) = run(hall, reads=10).proposals
    assert proposal.seconds > 1.8
    hall.meters = []
    silent = run(hall, reads=10)
    assert silent.proposals == ()
    assert silent.symptoms == {Kind.SILENCE: 10}


def test_damage_now_and_then_is_named_with_its_worst_reply_and_two_things_to_try(hall) -> None:
    damaged = bytes((*GOOD[:4], GOOD[4] ^ 0x10, *GOOD[5:]))
    hall.meters = [(FMT, every(20, damaged))]
    trial = run(hall, reads=100)
    assert trial.statuses == {Status.OK: 95, Status.DAMAGED_REPLY: 5}
    (worst,) = trial.worst
    assert worst.kind is Kind.BAD_NOW_AND_THEN
    assert worst.received == damaged
    assert len(worst.advice) == 2
    assert not trial.alternates


def test_kinds_of_fault_are_counted_each(hall) -> None:
    hall.meters = [(FMT, every(7, GOOD[1:]))]
    trial = run(hall, reads=49)
    assert trial.symptoms == {Kind.START_CUT: 7}
    assert trial.bytes_missing


def test_for_some_seconds_instead_of_a_number_of_reads(hall) -> None:
    hall.meters = [(FMT, steady(0.03))]
    line = Line(hall.open(FMT), FMT, hall.clock)
    trial = Prober(line, FMT, hall.clock).run([Query(1, READ, replace(Manners()))], seconds=5)
    assert 5 <= hall.clock.at - 1000.0 < 5.1
    assert trial.reads > 100


@pytest.mark.parametrize(
    ("answered", "expected"),
    [
        ("x.x.x.x.x.", True),
        (".x.x.x.x.x", True),
        ("x.x.x..x.x.", True),
        ("..........", False),
        ("xxxxxxxxxx", False),
        ("..x.......x....x....", False),
        ("xx..xx..xx..", False),
        ("x.x.x", False),
    ],
)
def test_what_counts_as_taking_turns(answered: str, *, expected: bool) -> None:
    """`.` is a reply, `x` is none."""
    assert alternating([mark == "." for mark in answered]) is expected
