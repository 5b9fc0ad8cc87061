"""The plant's truth: what flows, and exactly how much in between.

Integrals are compared with a sum of samples, times with the zone's rules as published (IANA: Dublin is at
UTC+1 from the last Sunday of March to the last of October), velocities with arithmetic done by hand.
"""

from dataclasses import replace
from datetime import date, datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from simulators.plant import AirPlant, Shift

DUBLIN = ZoneInfo("Europe/Dublin")


def at(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> float:
    return datetime(year, month, day, hour, minute, tzinfo=DUBLIN).timestamp()


def summed(plant: AirPlant, start: float, seconds: int) -> float:
    """m³ by the midpoint rule, steps of half a second."""
    return sum(plant.flow(start + (i + 0.5) / 2) for i in range(2 * seconds)) / 2 / 3600


@pytest.mark.parametrize(
    "start",
    [
        at(2026, 5, 5, 5, 50),  # the early shift comes up
        at(2026, 5, 5, 13, 55),  # one shift hands over to the next
        at(2026, 5, 8, 21, 58),  # the last shift before the weekend ends
        at(2026, 10, 26, 5, 55),  # the first shift in winter time
        at(2025, 12, 30, 5, 55),  # before the counter's epoch
    ],
)
def test_the_total_is_the_integral_of_the_flow(start: float):
    plant = AirPlant()
    counted = plant.total(start + 1500) - plant.total(start)
    assert counted == pytest.approx(summed(plant, start, 1500), abs=2e-4)
    assert counted == pytest.approx(plant.volume_between(start, start + 1500), abs=1e-6)


def test_out_of_hours_demand_of_a_closed_day_is_what_the_plant_was_given():
    # 2026-05-04 is a Monday, and closed; a whole number of waves, unrest at most 2 × 0.006 m³
    plant = AirPlant(out_of_hours=61.0)
    assert plant.volume_between(at(2026, 5, 4), at(2026, 5, 5)) == pytest.approx(24 * 61.0, abs=0.012)


def test_a_production_day_adds_each_shifts_flow_times_its_hours():
    plant = AirPlant(out_of_hours=61.0)
    expected = 24 * 61.0 + 8 * 238.0 + 8 * 191.0  # m³; ramps do not change a shift's volume
    assert plant.volume_between(at(2026, 5, 5), at(2026, 5, 6)) == pytest.approx(expected, abs=0.012)


def test_a_night_shift_over_the_october_change_lasts_an_hour_longer():
    night = AirPlant(
        out_of_hours=0.0, shifts=(Shift("night", time(22), time(6), 100.0),), production_days=(5,), closed=()
    )
    # Saturday 2026-10-24 22:00 to Sunday 06:00 wall-clock is 9 h: clocks go back at 02:00
    assert night.volume_between(at(2026, 10, 24, 12), at(2026, 10, 25, 12)) == pytest.approx(900.0, abs=0.1)
    assert night.volume_between(at(2026, 10, 17, 12), at(2026, 10, 18, 12)) == pytest.approx(800.0, abs=0.1)


def test_shifts_keep_the_sites_wall_clock_in_summer_and_winter():
    plant = AirPlant()
    for utc_hour, day in ((5, date(2026, 7, 7)), (6, date(2026, 12, 8))):
        start = datetime(day.year, day.month, day.day, utc_hour, tzinfo=ZoneInfo("UTC")).timestamp()
        assert plant.flow(start - 60) < 61 + 15
        assert plant.flow(start + plant.ramp) > 61 + 238 - 15


def test_the_flow_never_falls_to_zero_and_the_total_never_runs_backwards():
    plant = AirPlant()
    start = at(2026, 5, 3)
    totals = [plant.total(start + 97 * i) for i in range(2000)]
    assert all(after > before for before, after in pairwise(totals))
    assert min(plant.flow(start + 97 * i) for i in range(2000)) > 61 - 5 - 9.3


def test_velocity_is_flow_over_the_section():
    # by hand: 400 m³/h in 53.1 mm: 0.111111 m³/s over 0.00221452 m² = 50.174 m/s
    assert AirPlant(inside_diameter=53.1).velocity(400.0) == pytest.approx(50.174, abs=5e-4)


def test_the_actual_velocity_is_slower_by_the_ratio_of_densities():
    # ideal gas, by hand: (1.0 / (7.0 + 1.008)) at equal temperatures = 0.12488
    plant = replace(AirPlant(), pressure_at_rest=7.0)
    truth = plant.truth(at(2026, 5, 4, 3))
    expected = 1.0 / (truth.pressure + 1.008) * (truth.temperature + 273.15) / 293.15
    assert truth.actual_velocity / truth.velocity == pytest.approx(expected, rel=1e-9)
    assert 0.12 < truth.actual_velocity / truth.velocity < 0.13


def test_the_same_seed_tells_the_same_story_and_another_seed_another():
    moment = at(2026, 5, 5, 9, 17) + 0.3
    assert AirPlant(seed=4).truth(moment) == AirPlant(seed=4).truth(moment)
    assert AirPlant(seed=4).flow(moment) != AirPlant(seed=5).flow(moment)


def test_pressure_sags_when_more_air_is_taken():
    plant = AirPlant()
    rest = [plant.truth(at(2026, 5, 4, 9) + i).pressure for i in range(0, 950, 5)]
    load = [plant.truth(at(2026, 5, 5, 9) + i).pressure for i in range(0, 950, 5)]
    assert sum(load) / len(load) < sum(rest) / len(rest) - 0.15
