"""A round: the bytes that are sent, the words that come back and in which order, the time it takes."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from crccheck.crc import CrcModbus

from protocols.errors import RequestError
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import Column, Condition, Number, Reference, RegisterMap, Value
from readout.plan.plan import Role, plan_round, polled_values, raw_name
from readout.plan.show import describe

FORMAT = SerialFormat(9600, "even")
MakeMap = Callable[..., RegisterMap]
MakeNumber = Callable[..., Number]


def rtu(pdu: str) -> bytes:
    """Unit address 12, the bytes, and the checksum of an independent library, low byte first."""
    body = bytes.fromhex("0C" + pdu)
    return body + int(CrcModbus.calc(body)).to_bytes(2, "little")


@pytest.fixture
def insertion_meter(make_map: MakeMap, number: MakeNumber) -> RegisterMap:
    """Flow, velocity, pressure, temperature, total, state at input 16 to 24; two told conditions."""
    told = [Value(name, number(Table.HOLDING, place)) for place, name in ((40, "t"), (41, "p"))]
    reference = Reference(Condition(told=told[0]), Condition(told=told[1]))
    starts = {"flow": (16, 2), "velocity": (18, 2), "pressure": (20, 1), "total": (22, 2), "state": (24, 1)}
    readings = [Value(name, number(Table.INPUT, *span)) for name, span in starts.items()]
    readings[0] = replace(readings[0], reference=reference)
    return make_map(readings, registers_per_read=48, bridge=4)


def test_a_whole_meter_is_read_in_two_requests_with_the_bytes_of_the_specification(
    insertion_meter: RegisterMap,
) -> None:
    """Function 4 for input, 3 for holding registers (Application Protocol V1.1b3, 6.3, 6.4)."""
    plan = plan_round(insertion_meter, polled_values(insertion_meter), FORMAT, 12)
    assert [read.request.frame(plan.unit) for read in plan.reads] == [
        rtu("04 0010 0009"),
        rtu("03 0028 0002"),
    ]
    assert [read.reply_characters for read in plan.reads] == [5 + 18, 5 + 4]


def test_raw_columns_follow_the_words_on_the_wire_bridged_ones_too(insertion_meter: RegisterMap) -> None:
    plan = plan_round(insertion_meter, polled_values(insertion_meter), FORMAT, 12)
    assert tuple(map(raw_name, plan.columns)) == (
        *(f"raw_input_{address}" for address in range(16, 25)),
        "raw_holding_40",
        "raw_holding_41",
    )


def test_the_time_of_a_round_is_its_characters_its_silences_and_the_turnaround(
    insertion_meter: RegisterMap,
) -> None:
    """By hand: (8 + 23 + 8 + 9) characters of 11 bits at 9600, twice 3.5 characters and 20 ms."""
    plan = plan_round(insertion_meter, polled_values(insertion_meter), FORMAT, 12, turnaround_s=0.020)
    assert plan.wire_seconds == pytest.approx((48 + 7) * 11 / 9600 + 0.040)
    assert plan.shortest_ms == 104


def test_a_meter_that_needs_a_rest_gets_it_instead_of_the_silence_not_on_top(
    make_map: MakeMap, number: MakeNumber
) -> None:
    resting = make_map([Value("flow", number(Table.INPUT, 0))], pause=0.100)
    plan = plan_round(resting, resting.readings, FORMAT, 1, turnaround_s=0.0)
    assert plan.wire_seconds == pytest.approx((8 + 7) * 11 / 9600 + 0.100)


def test_two_words_behind_one_address_have_a_name_each(make_map: MakeMap, number: MakeNumber) -> None:
    """200.0 behind one address: a request for 1, a reply with 4 bytes."""
    wide = make_map([Value("flow", number(Table.HOLDING, 7006, words=2, addresses=1))])
    plan = plan_round(wide, wide.readings, FORMAT, 12)
    (read,) = plan.reads
    assert read.request.frame(12) == rtu("03 1B5E 0001")
    assert read.reply_characters == 9
    assert tuple(map(raw_name, plan.columns)) == ("raw_holding_7006", "raw_holding_7006_2")
    assert raw_name(Column(Table.HOLDING, 7006, 1)) == "raw_holding_7006_2"


def test_parts_that_cannot_be_had_at_once_are_read_first_first_others_first(
    make_map: MakeMap, number: MakeNumber
) -> None:
    total = Value("total", number(Table.INPUT, 10, 2), plus=(number(Table.INPUT, 500, 1),), apart=True)
    torn = make_map([total, Value("flow", number(Table.INPUT, 20, 2))])
    plan = plan_round(torn, torn.readings, FORMAT, 12)
    sent = [(read.block.start, read.block.count, read.role, read.apart) for read in plan.reads]
    assert sent == [
        (20, 2, Role.DATA, None),
        (10, 2, Role.DATA, "total"),
        (10, 2, Role.COMPARED, "total"),
        (500, 1, Role.DATA, "total"),
        (10, 2, Role.COMPARED, "total"),
    ]
    assert len(plan.columns) == len(set(plan.columns)) == 5


def test_a_value_read_apart_anyway_is_not_read_twice(make_map: MakeMap, number: MakeNumber) -> None:
    total = Value("total", number(Table.INPUT, 10, 2), plus=(number(Table.INPUT, 500),), apart=True)
    whole = make_map([total, Value("whole_part", number(Table.INPUT, 10, 2))])
    assert all(read.apart == "total" for read in plan_round(whole, whole.readings, FORMAT, 12).reads)


@pytest.mark.parametrize("apart", [True, False])
def test_a_value_that_would_be_put_together_from_two_moments_is_refused(
    apart: bool, make_map: MakeMap, number: MakeNumber
) -> None:
    total = Value("total", number(Table.INPUT, 10), plus=(number(Table.INPUT, 500),), apart=True)
    torn = make_map([total, Value("mass", number(Table.INPUT, 10, 2), apart=apart)])
    with pytest.raises(RequestError, match="share input 10"):
        plan_round(torn, torn.readings, FORMAT, 12)


def test_parts_in_two_tables_are_refused_with_the_way_out(make_map: MakeMap, number: MakeNumber) -> None:
    split = make_map([Value("total", number(Table.INPUT, 1), times_ten_to=number(Table.HOLDING, 1))])
    with pytest.raises(RequestError, match=r"total: its parts lie in several tables.*parts: apart"):
        plan_round(split, split.readings, FORMAT, 12)


def test_what_will_be_sent_can_be_shown_before_it_is(make_map: MakeMap, number: MakeNumber) -> None:
    gap = make_map([Value("a", number(Table.INPUT, 8)), Value("b", number(Table.INPUT, 10))], bridge=1)
    shown = describe(plan_round(gap, gap.readings, FORMAT, 12))
    assert shown["line"] == "9600 8E1"
    (read,) = shown["reads"]
    assert bytes.fromhex(read["request"]) == rtu("04 0008 0003")
    assert (read["reply_characters"], read["bridged"]) == (11, [9])
    assert [entry["value"] for entry in shown["registers"]] == ["a", "b"]
