"""A round asks every block once and tells what came: status in the archive's words, words as received."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.plan.plan import plan_round, polled_values
from readout.poll.round import PolledPoint, poll

FORMAT = SerialFormat(19200, "even", 8, 1)

TWO_BLOCKS = b"""\
register_map: 1
meter: constructed, two islands
serial: {unit_address: 5}
readings:
  near: {input: 10, type: uint16, unit: bar}
  far: {input: 900, type: uint16, unit: bar}
"""

APART = b"""\
register_map: 1
meter: constructed, parts apart
serial: {unit_address: 5}
readings:
  total:
    input: 10
    type: uint16
    unit: m3
    parts: apart
    scale: 65536
    plus: [{input: 500, type: uint16}]
"""


class ScriptedLine:
    """A line whose outcomes are given by the request; it keeps what was asked."""

    def __init__(self, answer: Callable[[ReadRequest, int], Outcome]) -> None:
        self.asked: list[tuple[Table, int, int]] = []
        self._answer = answer

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        self.asked.append((request.table, request.start, request.count))
        return self._answer(request, len(self.asked))

    def settle(self, outcomes: Sequence[Outcome], until: float) -> Sequence[Outcome]:
        return outcomes


def outcome(
    status: Status, words: tuple[int, ...] = (), *, ended: float = 7.0, cause: str = "", late: bool = False
) -> Outcome:
    came = b"" if status is Status.NO_REPLY else b"\x01"
    return Outcome(
        status, cause, f"text of {cause}" if cause else "", b"", came, words, None, 1.0, ended, late, 0
    )


def point_of(text: bytes) -> PolledPoint:
    parsed = parse_map(text, "constructed.yaml")
    assert parsed.map is not None, parsed.faults
    plan = plan_round(parsed.map, polled_values(parsed.map), FORMAT, 5)
    return PolledPoint("hall", 5, plan, Manners())


def test_all_blocks_ok_is_ok_with_the_time_of_the_last_byte() -> None:
    line = ScriptedLine(lambda request, n: outcome(Status.OK, (request.start,), ended=float(n)))
    found = poll(line, point_of(TWO_BLOCKS))
    assert (found.status, found.words, found.ended, found.text) == (Status.OK, (10, 900), 2.0, "")


def test_a_value_that_is_taken_back_behind_the_round_is_not_in_its_row() -> None:
    """A second reply came behind the last one."""

    class Doubting(ScriptedLine):
        def settle(self, outcomes: Sequence[Outcome], until: float) -> Sequence[Outcome]:
            assert until == 12.5
            return [*outcomes[:-1], outcome(Status.WRONG_REPLY, cause="two replies")]

    line = Doubting(lambda request, n: outcome(Status.OK, (request.start,)))
    found = poll(line, replace(point_of(TWO_BLOCKS), free_until=12.5))
    assert (found.status, found.words, found.cause) == (Status.PARTIAL, (10, None), "two replies")


def test_some_blocks_ok_is_partial_and_keeps_what_came() -> None:
    def answer(request: ReadRequest, n: int) -> Outcome:
        if request.start == 10:
            return outcome(Status.DAMAGED_REPLY, cause="bad CRC")
        return outcome(Status.OK, (31,), late=True)

    found = poll(ScriptedLine(answer), point_of(TWO_BLOCKS))
    assert (found.status, found.cause, found.words) == (Status.PARTIAL, "bad CRC", (None, 31))
    assert found.late_replies == 1


@pytest.mark.parametrize(
    "status", [Status.NO_REPLY, Status.DAMAGED_REPLY, Status.WRONG_REPLY, Status.EXCEPTION]
)
def test_no_block_ok_gives_the_first_blocks_status(status: Status) -> None:
    def answer(request: ReadRequest, n: int) -> Outcome:
        return outcome(status if n == 1 else Status.NO_REPLY, cause=f"cause {n}")

    found = poll(ScriptedLine(answer), point_of(TWO_BLOCKS))
    assert (found.status, found.cause, found.words) == (status, "cause 1", (None, None))


def test_a_silent_round_has_no_time() -> None:
    found = poll(ScriptedLine(lambda r, n: outcome(Status.NO_REPLY)), point_of(TWO_BLOCKS))
    assert found.ended is None


def test_a_meter_known_to_be_silent_costs_one_block_not_all() -> None:
    line = ScriptedLine(lambda r, n: outcome(Status.NO_REPLY))
    poll(line, point_of(TWO_BLOCKS), first_only=True)
    assert len(line.asked) == 1


def test_a_lost_port_ends_the_round_at_once_and_keeps_what_came_before() -> None:
    def answer(request: ReadRequest, n: int) -> Outcome:
        return outcome(Status.OK, (10,)) if n == 1 else outcome(Status.PORT_LOST, cause="port lost")

    line = ScriptedLine(answer)
    found = poll(line, point_of(TWO_BLOCKS))
    assert (found.status, found.words, len(line.asked)) == (Status.PARTIAL, (10, None), 2)


def test_parts_read_apart_are_kept_when_all_three_firsts_agree() -> None:
    line = ScriptedLine(lambda request, n: outcome(Status.OK, (request.start % 7,)))
    found = poll(line, point_of(APART))
    assert [start for _, start, _ in line.asked] == [10, 10, 500, 10]
    assert found.unsteady == ()


@pytest.mark.parametrize("differing", [1, 2, 4])
def test_parts_read_apart_are_unsteady_when_one_first_differs(differing: int) -> None:
    line = ScriptedLine(lambda request, n: outcome(Status.OK, (9 if n == differing else 3,)))
    assert poll(line, point_of(APART)).unsteady == ("total",)


def test_parts_read_apart_are_unsteady_when_a_first_is_missing() -> None:
    def answer(request: ReadRequest, n: int) -> Outcome:
        return outcome(Status.NO_REPLY, cause="no reply") if n == 4 else outcome(Status.OK, (3,))

    found = poll(ScriptedLine(answer), point_of(APART))
    assert (found.status, found.unsteady) == (Status.PARTIAL, ("total",))
