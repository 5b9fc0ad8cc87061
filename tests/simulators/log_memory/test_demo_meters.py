"""The two meters of the demonstration's bottling hall: their memories are found as they were recorded."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from protocols.register_map.parse import parse_map
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.errors import NotSimulated
from simulators.log_memory import LogOptions
from simulators.serve import Offer, Placed, run

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"


def demo(name: str, clock: FakeClock, log: LogOptions) -> SimulatedMeter:
    parsed = parse_map((DEMO / name).read_bytes(), name)
    assert parsed.map is not None
    assert not parsed.faults, "not even a warning"
    return SimulatedMeter(parsed.map, clock=clock, log=log)


def test_the_insertion_meters_means_are_the_plants_volume(logs: SimpleNamespace, clock: FakeClock) -> None:
    """The means of one production day add up to what flowed on it: 4896 m³, as the manual says."""
    clock.step_utc(2 * 86_400 - 3600)  # Tuesday 5 May is over in Dublin, where it is summer time
    meter = demo("insertion-meter.yaml", clock, LogOptions.prefilled(8640, 10.0, recording=False))
    found = logs.retrieve(meter)
    logs.same_as_truth(found, meter)
    assert sum(found.values("flow")) * 10 / 3600 == pytest.approx(4896, abs=0.5)


def test_the_water_meters_ring_tells_totals_in_parts_with_their_unit(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = demo("rinse-water-meter.yaml", clock, LogOptions.prefilled(4700, 60.0, recording=False))
    found = logs.retrieve(meter)
    assert found.numbers == list(range(700, 4700))
    logs.same_as_truth(found, meter)
    totals = found.values("total")
    assert totals == sorted(totals)
    assert 20_000 < totals[0] < totals[-1] < totals[0] + 11 * 24 * 3
    words = meter.log.store.words[0]
    assert words[5] | words[6] << 16 == int(found.values("total")[4000 - 700]), "whole units, low word first"
    assert words[8] == 0, "cubic metres"
    assert found.values("time") == meter.log.truth().meter_ms.tolist()


def test_a_map_without_a_memory_has_nothing_to_fill() -> None:
    import threading

    readings = b"readings: {a: {input: 0, type: uint16}}\n"
    text = b"register_map: 1\nmeter: Mere 1\nserial: {unit_address: 1}\n" + readings
    register_map = parse_map(text, "bare.yaml").map
    assert register_map is not None
    offer = Offer(log=LogOptions.prefilled(10))
    with pytest.raises(NotSimulated, match="no log_memory, so there is nothing to fill"):
        run([Placed(register_map)], offer, ready=print, stop=threading.Event())
