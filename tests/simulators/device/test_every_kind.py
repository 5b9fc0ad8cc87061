"""What a simulated meter tells in registers, read back by the map: every kind of number, and every form.

Decoding is checked against published bytes elsewhere; here the meter tells what its source said.
"""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from protocols.modbus.replies import Registers, read_reply
from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.register_map.model import (
    WORDS,
    Column,
    Kind,
    NotAvailable,
    Number,
    Order,
    RegisterMap,
    Span,
    ToldUnit,
    Value,
)
from protocols.values.decode import Words, decode
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.plant import Moment, PlantValues, Quantity, read_values

UNIT = 12
NUMBERS = [
    Kind.INT16, Kind.UINT16, Kind.INT32, Kind.UINT32, Kind.INT48, Kind.UINT48, Kind.INT64, Kind.UINT64,
    Kind.FLOAT32, Kind.FLOAT64, Kind.BCD16, Kind.BCD32, Kind.SIGN16,
]  # fmt: skip


class Says:
    """A source that says one thing."""

    def __init__(self, quantity: Quantity) -> None:
        self.said = quantity
        self.units: list[str | None] = []

    def quantity(self, value: Value, unit: str | None, at: Moment) -> Quantity:
        self.units.append(unit)
        return self.said


def holding(address: int, kind: Kind, **more: Any) -> Number:
    return Number(Table.HOLDING, address, kind, WORDS[kind], WORDS[kind], **more)


def told(meter_map: RegisterMap, value: Value, source: Any, clock: FakeClock | None = None) -> Any:
    """Everything the meter tells of `value`: one row of it, decoded."""
    meter = SimulatedMeter(
        replace(meter_map, readings=(value,), settings=(), identity=()),
        source=source,
        clock=clock or FakeClock(),
    )
    return decode(value, words_of(meter, value))


def words_of(meter: SimulatedMeter, value: Value) -> Mapping[Column, Words]:
    found = {}
    for column in value.columns():
        request = ReadRequest(Table.HOLDING, column.address, 1)
        frame = meter.reply(request.frame(UNIT))
        assert frame is not None
        reply = read_reply(request, UNIT, frame)
        assert isinstance(reply, Registers), reply
        found[column] = Words(np.array(reply.words, np.uint16), np.ones(1, np.bool_))
    return found


@pytest.mark.parametrize("kind", NUMBERS)
@pytest.mark.parametrize("word_order", list(Order))
@pytest.mark.parametrize("byte_order", list(Order))
def test_every_kind_of_number_tells_what_its_source_says(
    meter_map: RegisterMap, kind: Kind, word_order: Order, byte_order: Order
):
    number = holding(10, kind, word_order=word_order, byte_order=byte_order, scale=Decimal("0.5"))
    found = told(meter_map, Value("flow", number, unit="m3/h"), Says(Decimal("3210.5")))
    assert found.available[0]
    assert found.data[0] == 3210.5


@pytest.mark.parametrize("kind", NUMBERS)
def test_the_plant_gives_every_kind_of_number_something_to_tell(meter_map: RegisterMap, kind: Kind):
    span = Span(Decimal(0), Decimal(5000))
    found = told(meter_map, Value("flow", holding(10, kind), unit="m3/h", range=span), PlantValues())
    assert found.available[0]
    assert 40 < found.data[0] < 80  # out of hours: 61 m³/h and what is restless about it


def test_a_quantity_beyond_the_registers_stands_at_the_end_of_the_range(meter_map: RegisterMap):
    span = Span(Decimal(0), Decimal(200))
    value = Value("pressure", holding(10, Kind.UINT16), unit="bar", range=span)
    assert told(meter_map, value, Says(70_000)).data[0] == 200
    assert told(meter_map, value, Says(-3)).data[0] == 0


def test_a_quantity_beyond_everything_is_not_available(meter_map: RegisterMap):
    value = Value("pressure", holding(10, Kind.UINT16), not_available=NotAvailable((Decimal(65535),)))
    assert not told(meter_map, value, Says(1e9)).available[0]
    assert not told(meter_map, value, Says(None)).available[0]


def test_parts_add_up_to_what_the_source_says(meter_map: RegisterMap):
    value = Value(
        "total",
        holding(10, Kind.UINT32),
        plus=(holding(12, Kind.UINT16, scale=Decimal("0.001")),),
        unit="m3",
    )
    assert told(meter_map, value, Says(Decimal("123456.789"))).data[0] == 123456.789


def test_values_that_share_a_power_of_ten_both_stay_true_to_it(meter_map: RegisterMap):
    power = holding(20, Kind.INT16)
    flow = Value("flow", holding(10, Kind.UINT16), times_ten_to=power, unit="m3/h")
    total = Value("total", holding(12, Kind.UINT32), times_ten_to=power, unit="m3")
    readings = replace(meter_map, readings=(flow, total), settings=(), identity=())
    clock = FakeClock()
    meter = SimulatedMeter(readings, clock=clock)
    plant = PlantValues().plant
    for _ in range(20):
        truth = plant.truth(clock.utc())
        assert decode(flow, words_of(meter, flow)).data[0] == pytest.approx(truth.flow, rel=0.01)
        assert decode(total, words_of(meter, total)).data[0] == pytest.approx(truth.total, rel=1e-4)
        clock.advance(3601)


def test_a_meter_that_tells_its_unit_tells_values_in_it(meter_map: RegisterMap):
    unit = ToldUnit(holding(11, Kind.UINT16), {0: "unheard-of", 3: "l/s", 4: "m3/h"})
    value = Value("flow", holding(10, Kind.FLOAT32), told_unit=unit)
    value = replace(value, told_unit=replace(unit, number=holding(12, Kind.UINT16)))
    source = Says(17.5)
    found = told(meter_map, value, source)
    assert (found.data[0], found.unit[0]) == (17.5, "l/s")
    assert set(source.units) == {"l/s"}


@pytest.mark.parametrize("coding", ["bcd", "binary"])
def test_a_calendar_shows_the_meters_clock(meter_map: RegisterMap, coding: str):
    number = Number(Table.HOLDING, 10, Kind.CALENDAR, 3, 3)
    layout = (("minute", "second"), ("day", "hour"), ("year", "month"))
    value = Value("meter_clock", number, layout=layout, coding=coding)
    clock = FakeClock(utc=1_777_939_445.0)
    assert told(meter_map, value, Says(None), clock).data[0] == 1_777_939_445_000


def test_text_of_a_table_is_told_as_text(meter_map: RegisterMap):
    value = Value("operator", Number(Table.HOLDING, 10, Kind.TEXT, 4, 4))
    source = read_values(
        b"operator\nNiamh\n", "hall.csv", replace(meter_map, readings=(value,)), PlantValues()
    )
    assert told(meter_map, value, source).data[0] == "Niamh"


def test_a_word_of_the_codes_is_replayed_as_its_number(meter_map: RegisterMap):
    value = Value("mode", holding(10, Kind.UINT16), codes={0: "idle", 7: "running"})
    source = read_values(b"mode\nrunning\n", "hall.csv", replace(meter_map, readings=(value,)), PlantValues())
    assert told(meter_map, value, source).data[0] == 7
