"""What the sensors of a simulated meter show of the plant."""

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from protocols.register_map.model import RegisterMap, Span, Value
from simulators.plant import AirPlant, Moment, PlantValues

NOON = Moment(1_777_975_200.0, 0.0)  # 2026-05-05T10:00Z, the early shift


def shown(meter_map: RegisterMap, name: str, moment: Moment = NOON, **changes: object) -> float:
    value = replace(meter_map.reading(name), **changes)  # type: ignore[arg-type]
    found = PlantValues().quantity(value, value.unit, moment)
    assert isinstance(found, int | float)
    return float(found)


def test_sensors_show_the_truth_within_their_noise(meter_map: RegisterMap):
    truth = AirPlant().truth(NOON.utc)
    assert shown(meter_map, "flow") == pytest.approx(truth.flow, rel=0.0041)
    assert shown(meter_map, "velocity") == pytest.approx(truth.velocity, rel=0.0041)
    assert shown(meter_map, "pressure") == pytest.approx(truth.pressure, abs=0.0026)
    assert shown(meter_map, "temperature") == pytest.approx(truth.temperature, abs=0.056)
    assert shown(meter_map, "total") == truth.total


def test_flow_and_velocity_of_one_meter_agree_to_the_last_digit(meter_map: RegisterMap):
    area = math.pi / 4 * 0.0531**2  # m²
    assert shown(meter_map, "velocity") * area * 3600 == pytest.approx(shown(meter_map, "flow"), rel=1e-12)


def test_a_sensor_shows_its_last_number_until_it_has_a_new_one(meter_map: RegisterMap):
    steps = [shown(meter_map, "flow", Moment(NOON.utc + i * 0.05, 0.0)) for i in range(40)]
    assert len(set(steps)) == 8  # 2 s at four numbers a second
    assert all(round(step, 2) == step for step in steps)


def test_the_noise_is_there_and_averages_out(meter_map: RegisterMap):
    plant = AirPlant()
    off = [
        shown(meter_map, "flow", Moment(NOON.utc + i, 0.0)) / plant.flow(NOON.utc + i) - 1
        for i in range(2000)
    ]
    assert max(off) > 0.003
    assert min(off) < -0.003
    assert abs(sum(off) / len(off)) < 2e-4


@pytest.mark.parametrize(
    ("unit", "factor"),
    # from the units' definitions: 1 h = 60 min = 3600 s; 1 ft = 0.3048 m; 1 m³ = 1000 l
    [("m3/min", 1 / 60), ("l/s", 1 / 3.6), ("l/min", 1000 / 60), ("cfm", 1 / (60 * 0.3048**3))],
)
def test_a_meter_tells_the_flow_in_its_own_unit(meter_map: RegisterMap, unit: str, factor: float):
    assert shown(meter_map, "flow", unit=unit) == pytest.approx(shown(meter_map, "flow") * factor, rel=1e-12)


def test_temperatures_come_in_kelvin_and_fahrenheit_too(meter_map: RegisterMap):
    celsius = shown(meter_map, "temperature")
    assert shown(meter_map, "temperature", unit="K") == pytest.approx(celsius + 273.15)
    assert shown(meter_map, "temperature", unit="degF") == pytest.approx(celsius * 1.8 + 32)


def test_a_gauge_shows_less_than_an_absolute_sensor_by_the_atmosphere(meter_map: RegisterMap):
    absolute = shown(meter_map, "pressure", gauge=False)
    assert absolute - shown(meter_map, "pressure") == pytest.approx(1.008, abs=1e-9)


def test_a_reading_of_an_unknown_unit_moves_within_its_range(meter_map: RegisterMap):
    span = Span(Decimal(-40), Decimal(-20))
    values = [
        shown(meter_map, "flow", Moment(NOON.utc + i, 0.0), unit="dewpoint", range=span) for i in range(300)
    ]
    assert all(-40 <= value <= -20 for value in values)
    assert max(values) - min(values) > 10


def test_states_are_calm_and_codes_stand_at_the_first(meter_map: RegisterMap):
    state = meter_map.reading("state")
    assert PlantValues().quantity(state, None, NOON) == 0
    coded: Value = replace(state, bits={}, codes={3: "running", 1: "idle"})
    assert PlantValues().quantity(coded, None, NOON) == 1
