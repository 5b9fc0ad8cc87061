"""A value is never put together from two instants, and an address is sent as the manual means it.

The meter here counts on behind every request that it answers, as the fastest one could; bytes of the requests
are those of the Modbus documents (function, address, count; CRC-16 of the serial line guide).
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.plan.plan import RoundPlan, plan_round, polled_values
from readout.poll.readings import readings_of
from readout.poll.round import PolledPoint, poll

FORMAT = SerialFormat(9600, "even", 8, 1)
#: One count below the step of the high word.
START = 0x0000FFFF


@dataclass
class Counting:
    """A total in two registers that is one more behind every answered request; `also`: more registers."""

    count: int = START
    also: dict[int, int] | None = None

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        held = {0: self.count >> 16, 1: self.count & 0xFFFF, **(self.also or {})}
        words = tuple(held[request.start + i] for i in range(request.count))
        self.count += 1
        return Outcome(Status.OK, "", "", b"", b"\x01", words, None, 1.0, 2.0, False, 0)

    def settle(self, outcomes: Sequence[Outcome], until: float) -> Sequence[Outcome]:
        return outcomes


def plan_of(text: str) -> RoundPlan:
    parsed = parse_map(f"register_map: 1\nmeter: m\n{text}".encode(), "map.yaml")
    assert parsed.map is not None, [str(fault) for fault in parsed.faults]
    return plan_round(parsed.map, polled_values(parsed.map), FORMAT, 1)


def total_of(meter: Counting, plan: RoundPlan) -> tuple[object, str | None]:
    found = poll(meter, PolledPoint("header", 1, plan, Manners()))
    told = readings_of(plan, found, plan.values)["total"]
    return told["value"], told["flag"]


def test_a_total_over_two_registers_is_one_request_and_true_a_thousand_times() -> None:
    """M13. Asked for register by register it would be 0 or 131071 (0001 FFFF) at the first step."""
    plan = plan_of("readings: {total: {holding: 0, type: uint32, unit: kg}}\n")
    (read,) = plan.reads
    assert read.request.frame(1) == bytes.fromhex("01 03 00 00 00 02 C4 0B")
    meter = Counting()
    assert [total_of(meter, plan) for _ in range(1000)] == [(START + i, None) for i in range(1000)]


def test_where_the_meter_gives_one_register_a_read_the_map_is_refused() -> None:
    text = b"register_map: 1\nmeter: m\nwire: {registers_per_read: 1}\n"
    text += b"readings: {total: {holding: 0, type: uint32, unit: kg}}\n"
    parsed = parse_map(text, "map.yaml")
    assert parsed.map is None
    assert [fault.name for fault in parsed.faults] == ["wider than a read"]


def test_parts_read_apart_from_a_meter_that_counts_are_true_or_unsteady() -> None:
    """High and low word in two reads: first, first, second, first. A high word that moved is told."""
    plan = plan_of(
        "wire: {registers_per_read: 1}\nreadings:\n"
        "  total: {holding: 0, type: uint16, scale: 65536, unit: kg, parts: apart, "
        "plus: [{holding: 1, type: uint16}]}\n"
    )
    assert [(read.request.start, read.request.count) for read in plan.reads] == [
        (0, 1),
        (0, 1),
        (1, 1),
        (0, 1),
    ]
    meter = Counting(START - 40)
    told = []
    for _ in range(30):
        before = meter.count
        told.append((before, *total_of(meter, plan), meter.count))
    kept = [(before, value, after) for before, value, flag, after in told if flag is None]
    assert len(kept) >= 28, "one step of the high word in 120 counts spoils one round, or two"
    assert all(isinstance(value, float) and before <= value <= after for before, value, after in kept)
    assert {flag for _, _, flag, _ in told} == {None, "unsteady"}


#: MODBUS Application Protocol V1.1b3, 4.4: what is numbered from 1 is addressed from 0.
PRINTED = [
    ("from 0", "holding: 0", 3), ("from 0", "holding: 0x0000", 3), ("from 1", "holding: 1", 3),
    ("table digit", "holding: 40001", 3), ("table digit", "holding: 400001", 3),
    ("table digit", "input: 30001", 4), ("table digit", "input: 300001", 4),
]  # fmt: skip
FRAMES = {3: "01 03 00 00 00 02 C4 0B", 4: "01 04 00 00 00 02 71 CB"}


@pytest.mark.parametrize(("numbering", "printed", "function"), PRINTED)
def test_however_the_manual_counts_the_same_bytes_are_sent(
    numbering: str, printed: str, function: int
) -> None:
    """M01. A float of 3.14159 at address 0 is read, whatever its number is in the manual."""
    plan = plan_of(
        f"wire: {{numbering: {numbering}}}\nreadings: {{total: {{{printed}, type: float32, unit: kg}}}}\n"
    )
    (read,) = plan.reads
    assert read.request.frame(1) == bytes.fromhex(FRAMES[function])
    assert read.request.table is (Table.HOLDING if function == 3 else Table.INPUT)
    high, low = struct.unpack(">HH", struct.pack(">f", 3.14159))
    assert total_of(Counting(high << 16 | low), plan) == (3.14159, None)
