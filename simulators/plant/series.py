"""The plant's values at many moments at once: what nine days of records need in a second instead of a minute.

The same signals as `AirPlant` and `PlantValues` give one by one; a test holds one against the other. All
moments are float64 [n], rising, UTC seconds since 1970.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.model import Kind, Value
from simulators.plant.air import (
    EPOCH,
    HOUR,
    UNREST_CELL,
    WAVE_PERIOD,
    AirPlant,
    pressure_phase,
    shifts_of,
    temperature_phase,
)
from simulators.plant.replay import ReplayedValues
from simulators.plant.signals import (
    FLOW_NOISE,
    PRESSURE_NOISE,
    STEPS,
    TEMPERATURE_NOISE,
    UPDATE,
    PlantValues,
    noise_seed,
)
from simulators.plant.source import Moment, Quantity, Source
from simulators.plant.units import UNITS, Dimension

Doubles = NDArray[np.float64]

_GOLDEN, _SEED, _START = 0x9E3779B97F4A7C15, 0xD1B54A32D192ED03, 0x632BE59BD9B4E019


def quantities(
    source: Source, value: Value, unit: str | None, utc: Doubles, running: Doubles
) -> Sequence[Quantity]:
    """What `source` says of `value` at each moment; `running` [n] counts since the meter was switched on."""
    source = _behind(source, value)
    dimension = _measured_dimension(source, value, unit)
    if dimension is None or not isinstance(source, PlantValues) or not len(utc):
        moments = map(Moment, utc.tolist(), running.tolist())
        return [source.quantity(value, unit, moment) for moment in moments]
    found = UNITS[unit or ""].from_plant_many(_sensed(source.plant, value, dimension, utc))
    if value.range is not None:
        found = np.clip(found, float(value.range.low), float(value.range.high))
    told: list[Quantity] = found.tolist()
    return told


def means(
    source: Source, value: Value, unit: str | None, starts: Doubles, ends: Doubles
) -> Sequence[Quantity] | None:
    """The mean of a flow over each interval, exact; None where only a value in its middle can be had."""
    source = _behind(source, value)
    if _measured_dimension(source, value, unit) is not Dimension.FLOW or not isinstance(source, PlantValues):
        return None
    flow = (totals(source.plant, ends) - totals(source.plant, starts)) / (ends - starts) * HOUR
    found: list[Quantity] = UNITS[unit or ""].from_plant_many(flow).tolist()
    return found


def amounts(
    source: Source, value: Value, unit: str | None, starts: Doubles, ends: Doubles
) -> Sequence[Quantity] | None:
    """The volume of each interval; None for anything but a volume of the plant."""
    source = _behind(source, value)
    if _measured_dimension(source, value, unit) is not Dimension.VOLUME or not isinstance(
        source, PlantValues
    ):
        return None
    volume = totals(source.plant, ends) - totals(source.plant, starts)
    found: list[Quantity] = UNITS[unit or ""].from_plant_many(volume).tolist()
    return found


def _behind(source: Source, value: Value) -> Source:
    """Who answers for the value: a table that lacks it leaves it to the plant behind it."""
    while isinstance(source, ReplayedValues) and value.name not in source.rows[0]:
        source = source.others
    return source


def _measured_dimension(source: Source, value: Value, unit: str | None) -> Dimension | None:
    """What of the plant the value is; None for anything without a sensor there."""
    known = UNITS.get(unit or "")
    plain = value.number.kind not in (Kind.TEXT, Kind.BIT) and not value.codes and not value.bits
    if not isinstance(source, PlantValues) or known is None or not plain:
        return None
    sensed = known.dimension not in (Dimension.LENGTH, Dimension.TIME)
    return known.dimension if sensed else None


def _sensed(plant: AirPlant, value: Value, dimension: Dimension, utc: Doubles) -> Doubles:
    """What the sensor shows, in the dimension's own unit."""
    if dimension is Dimension.VOLUME:
        return totals(plant, utc)
    ticks = np.floor(utc / UPDATE).astype(np.int64)
    at: Doubles = ticks.astype(np.float64) * UPDATE
    true = flows(plant, at)
    flow = _stepped(true * (1 + FLOW_NOISE * _noise(plant, Dimension.FLOW, ticks)), Dimension.FLOW)
    if dimension is Dimension.FLOW:
        return flow
    pressure = np.asarray(plant.pressure(true, np.sin(pressure_phase(at))))
    for one in plant.episodes:
        pressure = pressure + one.pressure * one.holds(at)
    temperature = np.asarray(plant.temperature(true, np.sin(temperature_phase(at))))
    if dimension is Dimension.VELOCITY:
        expansion = plant.expansion(pressure, temperature) if value.basis == "actual" else 1.0
        return np.asarray(flow * plant.velocity(1.0) * expansion)
    if dimension is Dimension.PRESSURE:
        base = pressure if value.gauge else pressure + plant.atmosphere
        return _stepped(base + PRESSURE_NOISE * _noise(plant, dimension, ticks), dimension)
    return _stepped(temperature + TEMPERATURE_NOISE * _noise(plant, dimension, ticks), dimension)


def flows(plant: AirPlant, utc: Doubles) -> Doubles:
    """`AirPlant.flow` [n], m³/h."""
    flow = plant.out_of_hours + plant.wave_flow * np.sin(2 * np.pi * utc / WAVE_PERIOD)
    for shift_flow, start, end in _shifts(plant, utc):
        part = slice(*np.searchsorted(utc, (start, end + plant.ramp)).tolist())
        since = utc[part] - start
        up = np.clip(since / plant.ramp, 0.0, 1.0)
        down = np.clip((since - (end - start)) / plant.ramp, 0.0, 1.0)
        flow[part] += shift_flow * (up - down)
    for one in plant.episodes:
        flow += one.flow * one.holds(utc)
    return np.asarray(flow + _unrest(plant, utc)[1] * HOUR)


def totals(plant: AirPlant, utc: Doubles) -> Doubles:
    """`AirPlant.total` [n], m³."""
    if not len(utc):
        return utc.copy()
    shifts = np.zeros(len(utc))
    over = np.zeros(len(utc) + 1)  # what a shift that is over adds to everything behind it
    for shift_flow, start, end in _shifts(plant, utc):
        low, high = np.searchsorted(utc, (start, end + plant.ramp)).tolist()
        since = utc[low:high] - start
        area = _ramp_area(since, plant.ramp) - _ramp_area(since - (end - start), plant.ramp)
        shifts[low:high] += shift_flow * area
        over[high] += shift_flow * (end - start)
    shifts += np.cumsum(over[:-1])
    for one in plant.episodes:
        shifts += one.flow * one.lasted(utc)
    wave = -plant.wave_flow * WAVE_PERIOD / (2 * np.pi) * np.cos(2 * np.pi * utc / WAVE_PERIOD)
    volume = (plant.out_of_hours * (utc - EPOCH) + shifts + wave) / HOUR + _unrest(plant, utc)[0]
    return np.asarray(plant.total(float(utc[0])) + volume - volume[0])


def _shifts(plant: AirPlant, utc: Doubles) -> list[tuple[float, float, float]]:
    """Flow, start and end of every shift that may matter between the first and the last moment."""
    first, last = (_local_day(plant, float(end)) for end in (utc[0], utc[-1]))
    days = (first - timedelta(2) + timedelta(i) for i in range((last - first).days + 3))
    return [(shift.flow, start, end) for day in days for shift, start, end in shifts_of(plant, day)]


def _local_day(plant: AirPlant, utc: float) -> date:
    return datetime.fromtimestamp(utc, UTC).astimezone(ZoneInfo(plant.time_zone)).date()


def _ramp_area(seconds: Doubles, ramp: float) -> Doubles:
    return np.where(seconds < ramp, np.maximum(seconds, 0) ** 2 / (2 * ramp), seconds - ramp / 2)


def _unrest(plant: AirPlant, utc: Doubles) -> tuple[Doubles, Doubles]:
    cell = np.floor(utc / UNREST_CELL)
    u = utc / UNREST_CELL - cell
    low, high = (plant.unrest_volume * scatters(plant.seed, cell.astype(np.int64) + i) for i in (0, 1))
    return low + (high - low) * u * u * (3 - 2 * u), (high - low) * 6 * u * (1 - u) / UNREST_CELL


def _noise(plant: AirPlant, dimension: Dimension, ticks: NDArray[np.int64]) -> Doubles:
    return scatters(noise_seed(plant.seed, dimension), ticks)


def _stepped(numbers: Doubles, dimension: Dimension) -> Doubles:
    per_unit = round(1 / STEPS[dimension])
    return np.asarray(np.rint(numbers * per_unit) / per_unit)


def scatters(seed: int, steps: NDArray[np.int64]) -> Doubles:
    """`source.scatter` for many steps: the same mixer on 64 bits that wrap."""
    start = np.uint64((seed * _SEED + _START) & 0xFFFFFFFFFFFFFFFF)
    mixed = steps.astype(np.uint64) * np.uint64(_GOLDEN) + start
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray((mixed ^ (mixed >> np.uint64(31))).astype(np.float64) / float(1 << 63) - 1.0)
