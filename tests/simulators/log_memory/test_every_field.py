"""Every form a field of a record can have: what the words decode to is what the meter says it recorded."""

from types import SimpleNamespace

import numpy as np
import pytest

from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions, Rows
from simulators.plant import Moment, PlantValues

FIELDS = {
    "a whole number": "{type: uint16, unit: degC}",
    "signed, scaled": "{type: int16, scale: 0.1, unit: degC}",
    "scaled by more than a power of ten": "{type: uint16, scale: 0.25, unit: m3/h, basis: actual}",
    "with an offset": "{type: uint16, scale: 0.01, offset: -40, unit: degC}",
    "sign and magnitude": "{type: sign16, scale: 0.01, unit: degC}",
    "four decimal digits": "{type: bcd16, scale: 0.1, unit: m3/h, basis: actual}",
    "eight decimal digits": "{type: bcd32, word_order: low first, unit: m3}",
    "32 bits, low word first": "{type: uint32, scale: 0.001, word_order: low first, unit: m3}",
    "48 bits, low byte first": "{type: int48, scale: 0.001, byte_order: low first, unit: m3}",
    "64 bits": "{type: uint64, scale: 0.01, unit: l}",
    "a single": "{type: float32, word_order: low first, byte_order: low first, unit: bar, gauge: true}",
    "a double": "{type: float64, unit: m/s, basis: actual}",
    "whole and fraction": "{type: uint32, unit: m3, plus: [{at: 4, type: uint16, scale: 0.001}]}",
    "a total that rolls over": "{type: uint16, unit: m3, totaliser: {rolls_over_at: 1000}}",
    "a power of ten beside it": "{type: uint16, unit: l/s, basis: actual, "
    "times_ten_to: {at: 4, type: int16}}",
    "a unit beside it": "{type: uint32, scale: 0.01, unit: {at: 4, type: uint16, codes: {3: ft3, 5: m3}}}",
    "codes": "{type: uint16, codes: {0: idle, 7: running}}",
    "bits": "{type: uint16, bits: {0: sensor fault}}",
    "no unit at all": "{type: int32, scale: 0.1, unit: 1}",
}


def test_of_each_the_reader_finds_what_the_meter_recorded(logs: SimpleNamespace, clock: FakeClock) -> None:
    for what, field in FIELDS.items():
        record = f"  record: {{registers: 6, fields: {{value: {field.replace('{', '{at: 0, ', 1)}}}}}\n"
        text = logs.map_text("files", record=record, holds="sample")
        options = LogOptions.prefilled(150, 60.0, recording=False)
        meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
        found = logs.retrieve(meter)
        logs.same_as_truth(found, meter)
        truth = meter.log.truth()
        assert truth.values["value"].available.all(), what
        value = meter.register_map.log_memory.record.field("value")
        unit = "ft3" if value.told_unit else value.unit
        plant = [PlantValues().quantity(value, unit, Moment(ms / 1000, 0)) for ms in truth.time_ms.tolist()]
        limit = 1000 if "rolls over" in what else None
        wanted = np.array(plant, float) if limit is None else np.array(plant, float) % limit
        step = float(min([abs(value.number.scale), *(abs(part.scale) for part in value.plus)]))
        near = step / 2 * 1.001 if value.times_ten_to is None else np.abs(wanted) * 1e-3
        assert (np.abs(np.array(found.values("value"), float) - wanted) <= near + 1e-6 * wanted).all(), what


@pytest.mark.parametrize(
    "time",
    [
        "{type: unix time}",
        "{type: unix time, word_order: low first, byte_order: low first}",
        "{type: calendar, layout: [minute/second, day/hour, year/month], coding: bcd}",
        "{type: calendar, layout: [year/month, day/weekday, hour/minute, second/none], coding: binary}",
        "{type: calendar, layout: [second/minute, hour/day, month/year], coding: bcd, byte_order: low first}",
    ],
)
@pytest.mark.parametrize("zone", ["utc", '"+05:30"', "site"])
def test_times_are_found_in_every_coding_and_zone(
    logs: SimpleNamespace, clock: FakeClock, time: str, zone: str
) -> None:
    record = f"  record: {{registers: 6, fields: {{time: {time.replace('{', '{at: 0, ', 1)}, " + (
        "flow: {at: 4, type: float32, unit: m3/h, basis: actual}}}\n"
    )
    text = logs.map_text("files", record=record, clock=f"{{zone: {zone}}}")
    # an hour and ten seconds at a time, over new year and the leap day of 2028
    start = 1_830_000_000.0
    rows = Rows([start + 3610 * n for n in range(0, 150)], {}, 3610.0)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions([rows], recording=False))
    truth = meter.log.truth()
    assert logs.retrieve(meter).values("time") == truth.meter_ms.tolist()
    hours = {"utc": 0, '"+05:30"': 5.5, "site": 0}[zone]  # Dublin in winter
    assert (truth.meter_ms - truth.time_ms).tolist() == [int(hours * 3_600_000)] * 150


def test_a_number_that_means_no_reading_is_never_told_by_chance(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    field = "{at: 0, type: uint16, scale: 0.1, unit: m3/h, basis: actual, not_available: [500, 65535]}"
    record = f"  record: {{registers: 1, fields: {{flow: {field}}}}}\n"
    rows = Rows([1.8e9 + 60 * n for n in range(5)], {"flow": [49.9, 50.0, 50.1, None, 9999.0]}, 60.0)
    meter = SimulatedMeter(
        logs.map_of(logs.map_text("files", record=record)),
        clock=clock,
        log=LogOptions([rows], recording=False),
    )
    assert logs.retrieve(meter).values("flow") == [49.9, 49.9, 50.1, None, 6553.4]
    logs.same_as_truth(logs.retrieve(meter), meter)


@pytest.mark.parametrize("way", ["window", "queue", "banks"])
def test_a_pointer_may_be_written_register_by_register(
    logs: SimpleNamespace, clock: FakeClock, way: str
) -> None:
    head = logs.HEAD.replace("wire: {", "wire: {write_with: 6, ")
    options = LogOptions.prefilled(180, recording=False)
    meter = SimulatedMeter(logs.map_of(logs.map_text(way, head=head)), clock=clock, log=options)
    logs.same_as_truth(logs.retrieve(meter), meter)
