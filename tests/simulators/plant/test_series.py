"""The plant at many moments at once gives what it gives at each of them alone."""

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import numpy as np
import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Kind, Number, Span, Value
from simulators.plant import AirPlant, Moment, PlantValues, ReplayedValues
from simulators.plant.series import amounts, means, quantities, scatters
from simulators.plant.source import scatter

FLOAT = Number(Table.INPUT, 0, Kind.FLOAT32, 2, 2)
#: Two weeks around the missing hour of March, over nights, shifts and a week-end, not in step with anything.
MOMENTS = np.arange(
    datetime(2026, 3, 20, tzinfo=UTC).timestamp(), datetime(2026, 4, 3, tzinfo=UTC).timestamp(), 613.7
)


@pytest.mark.parametrize(
    "value",
    [
        Value("flow", FLOAT, unit="m3/h"),
        Value("flow", FLOAT, unit="cfm", range=Span(Decimal(50), Decimal(150))),
        Value("velocity", FLOAT, unit="m/s", basis="actual"),
        Value("velocity", FLOAT, unit="ft/min", basis="reference"),
        Value("pressure", FLOAT, unit="bar", gauge=True),
        Value("pressure", FLOAT, unit="kPa"),
        Value("temperature", FLOAT, unit="degF"),
        Value("total", FLOAT, unit="m3"),
        Value("depth", FLOAT, unit="mm"),
        Value("state", FLOAT, bits={0: "sensor fault"}),
    ],
    ids=lambda value: f"{value.name} {value.unit}",
)  # fmt: skip
def test_many_moments_are_many_times_one(value: Value) -> None:
    source = PlantValues()
    many = quantities(source, value, value.unit, MOMENTS, MOMENTS)
    one_by_one = [source.quantity(value, value.unit, Moment(utc, utc)) for utc in MOMENTS.tolist()]
    assert len(many) == len(one_by_one)
    assert np.allclose(np.array(many, float), np.array(one_by_one, float), rtol=1e-12, atol=0)


def test_a_total_goes_on_right_before_and_behind_the_plants_own_epoch() -> None:
    plant = AirPlant()
    around = np.arange(1_767_225_600.0 - 5 * 86_400, 1_767_225_600.0 + 5 * 86_400, 4111.0)
    value = Value("total", FLOAT, unit="m3")
    found = quantities(PlantValues(plant), value, "m3", around, around)
    assert np.allclose(np.array(found, float), [plant.total(utc) for utc in around.tolist()], rtol=1e-12)


def test_the_mean_of_an_interval_is_its_volume_over_its_time() -> None:
    source = PlantValues()
    starts, ends = MOMENTS[:-1], MOMENTS[1:]
    flow, total = Value("flow", FLOAT, unit="m3/h"), Value("total", FLOAT, unit="m3")
    found, volumes = means(source, flow, "m3/h", starts, ends), amounts(source, total, "m3", starts, ends)
    wanted = [source.plant.volume_between(a, b) for a, b in zip(starts.tolist(), ends.tolist(), strict=True)]
    assert found is not None
    assert volumes is not None
    assert np.allclose(np.array(volumes, float), wanted, rtol=1e-8)
    assert np.allclose(np.array(found, float) * (ends - starts) / 3600, wanted, rtol=1e-8)
    assert means(source, replace(flow, unit="bar"), "bar", starts, ends) is None


def test_the_mixer_wraps_as_whole_numbers_do() -> None:
    steps = [-5, -1, 0, 1, 7_111_111_111, 2**62]
    assert scatters(99, np.array(steps)).tolist() == [scatter(99, step) for step in steps]


def test_a_table_that_lacks_a_value_leaves_it_to_the_plant_behind_it() -> None:
    source = ReplayedValues((0.0, 60.0), ({"flow": 1.5}, {"flow": None}), PlantValues())
    flow, total = Value("flow", FLOAT, unit="m3/h"), Value("total", FLOAT, unit="m3")
    running = np.array([-5.0, 0.0, 59.0, 60.0])
    utc = MOMENTS[:4]
    assert quantities(source, flow, "m3/h", utc, running) == [1.5, 1.5, 1.5, None]
    assert means(source, flow, "m3/h", utc, utc + 60) is None, "a table has no means"
    assert quantities(source, total, "m3", utc, running) == quantities(
        PlantValues(), total, "m3", utc, running
    )
    assert amounts(source, total, "m3", utc, utc + 60) == amounts(PlantValues(), total, "m3", utc, utc + 60)
