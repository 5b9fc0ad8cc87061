"""A compressed-air header with a known truth: what flows, at any instant, and exactly how much in between.

Every part of the flow has an integral in closed form, so the running total is the integral of the flow and
not a sum of samples: what a report should find (out-of-hours demand, consumption of a shift) is known.

    flow = out of hours + Σ shifts (a trapezoid each) + a slow wave + unrest
                      ____________
                     /            \\          one shift: up from its start, down from its end,
        ____________/              \\____     so its volume is flow × (end − start) whatever the ramp
"""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from simulators.plant.source import scatter

#: One instant or many.
Numbers = TypeVar("Numbers", float, NDArray[np.float64])

HOUR = 3600.0  # s
KELVIN = 273.15

#: The total counts from here: 2026-01-01T00:00Z.
EPOCH = 1_767_225_600.0

#: Unrest: the volume taken wanders between fixed random points this many seconds apart.
UNREST_CELL = 7.0

WAVE_PERIOD = 900.0  # s


@dataclass(frozen=True, slots=True)
class Shift:
    """A shift in the site's wall-clock time; `flow` in m³/h comes on top of the out-of-hours demand.

    A shift whose end is not after its start ends on the next day.
    """

    name: str
    start: time
    end: time
    flow: float


@dataclass(frozen=True, slots=True)
class Episode:
    """From `begin` to `end` (s since 1970) `flow` m³/h more is taken, and pressure is `pressure` bar more.

    Both may be negative. A leak has no end: `math.inf`.
    """

    begin: float
    end: float
    flow: float
    pressure: float = 0.0

    def holds(self, utc: Numbers) -> Numbers:
        """1 while it lasts, else 0."""
        return ((utc >= self.begin) & (utc < self.end)) * 1.0  # type: ignore[return-value]  # as utc is

    def lasted(self, utc: Numbers) -> Numbers:
        """How long it has lasted at `utc`, s."""
        since: Numbers = np.clip(utc - self.begin, 0.0, self.end - self.begin)
        return since


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true in the pipe at one instant. Flow and total at the reference conditions."""

    flow: float  # m³/h
    velocity: float  # m/s, mean over the section, at reference conditions
    actual_velocity: float  # m/s, mean over the section, as it flows
    pressure: float  # bar(g)
    temperature: float  # °C
    total: float  # m³ since EPOCH, plus what the counter showed then


@dataclass(frozen=True, slots=True)
class AirPlant:
    """The invented bottling hall's header: two shifts Monday to Friday, leaks and idlers all the time."""

    time_zone: str = "Europe/Dublin"
    out_of_hours: float = 61.0  # m³/h
    shifts: tuple[Shift, ...] = (
        Shift("early", time(6), time(14), 238.0),
        Shift("late", time(14), time(22), 191.0),
    )
    production_days: tuple[int, ...] = (0, 1, 2, 3, 4)  # Monday is 0
    closed: tuple[date, ...] = (date(2026, 5, 4),)
    ramp: float = 600.0  # s, from one demand to the next; shorter than any shift
    inside_diameter: float = 53.1  # mm, of the pipe
    pressure_at_rest: float = 7.35  # bar(g)
    atmosphere: float = 1.008  # bar(a)
    reference_temperature: float = 20.0  # °C
    reference_pressure: float = 1.0  # bar(a)
    total_at_epoch: float = 48_211.0  # m³
    wave_flow: float = 5.0  # m³/h
    #: How far the volume taken wanders, in m³. As a flow that is at most 2 × 1.5 × 0.006 m³ / 7 s = 9.3 m³/h.
    unrest_volume: float = 0.006
    mean_temperature: float = 23.0  # °C
    seed: int = 1
    episodes: tuple[Episode, ...] = ()

    def flow(self, utc: float) -> float:
        """Demand at reference conditions, m³/h."""
        shifts = sum(
            shift.flow * self._trapezoid(utc - start, end - start)
            for day in self._days_near(utc)
            for shift, start, end in shifts_of(self, day)
        )
        wave = self.wave_flow * math.sin(2 * math.pi * utc / WAVE_PERIOD)
        more = sum(one.flow * one.holds(utc) for one in self.episodes)
        return self.out_of_hours + shifts + more + wave + self._unrest(utc)[1] * HOUR

    def total(self, utc: float) -> float:
        """What an ideal totaliser shows, m³: the exact integral of `flow` from EPOCH on."""
        return self.total_at_epoch + self._volume(utc) - self._volume(EPOCH)

    def volume_between(self, start: float, end: float) -> float:
        """Volume at reference conditions from `start` to `end` (seconds since 1970), m³."""
        return self._volume(end) - self._volume(start)

    def truth(self, utc: float) -> Truth:
        """Everything in the pipe at one instant."""
        flow = self.flow(utc)
        velocity = self.velocity(flow)
        pressure = self.pressure(flow, math.sin(pressure_phase(utc)))
        pressure += sum(one.pressure * one.holds(utc) for one in self.episodes)
        temperature = self.temperature(flow, math.sin(temperature_phase(utc)))
        actual = velocity * self.expansion(pressure, temperature)
        return Truth(flow, velocity, actual, pressure, temperature, self.total(utc))

    def velocity(self, flow: float) -> float:
        """Mean velocity in the section, m/s, of `flow` in m³/h at the same conditions."""
        area = math.pi / 4 * (self.inside_diameter / 1000) ** 2
        return flow / HOUR / area

    def pressure(self, flow: Numbers, wave: Numbers) -> Numbers:
        """The header, bar(g), sags with the square of the flow; the compressors load and unload as a wave."""
        return self.pressure_at_rest - 0.45 * (flow / 400) ** 2 + 0.06 * wave

    def temperature(self, flow: Numbers, wave: Numbers) -> Numbers:
        """Of the air, °C: follows the day as a wave, and the coolers' load a little."""
        return self.mean_temperature + 3.0 * wave + 1.5 * flow / 300

    def expansion(self, pressure: Numbers, temperature: Numbers) -> Numbers:
        """Volume as it flows, at bar(g) and °C, over the same at reference conditions."""
        warmer = (temperature + KELVIN) / (self.reference_temperature + KELVIN)
        return self.reference_pressure / (pressure + self.atmosphere) * warmer

    def _volume(self, utc: float) -> float:
        """An antiderivative of `flow`, m³."""
        days = self._days_near(utc)
        shifts = area_before(self, days[0]) + sum(
            shift.flow * self._trapezoid_area(utc - start, end - start)
            for day in days
            for shift, start, end in shifts_of(self, day)
        )
        wave = -self.wave_flow * WAVE_PERIOD / (2 * math.pi) * math.cos(2 * math.pi * utc / WAVE_PERIOD)
        more = sum(one.flow * float(one.lasted(utc)) for one in self.episodes)
        return (self.out_of_hours * (utc - EPOCH) + shifts + more + wave) / HOUR + self._unrest(utc)[0]

    def _days_near(self, utc: float) -> list[date]:
        """The local days on which a shift can have begun that still runs, or is still ramping down."""
        today = datetime.fromtimestamp(utc, UTC).astimezone(ZoneInfo(self.time_zone)).date()
        return [today - timedelta(2), today - timedelta(1), today]

    def _trapezoid(self, since_start: float, length: float) -> float:
        """0 to 1: how far a shift's demand is up, `since_start` seconds after its start."""
        up = min(max(since_start / self.ramp, 0.0), 1.0)
        down = min(max((since_start - length) / self.ramp, 0.0), 1.0)
        return up - down

    def _trapezoid_area(self, since_start: float, length: float) -> float:
        """Integral of `_trapezoid` from −∞, in seconds."""
        return self._ramp_area(since_start) - self._ramp_area(since_start - length)

    def _ramp_area(self, seconds: float) -> float:
        if seconds <= 0:
            return 0.0
        return seconds**2 / (2 * self.ramp) if seconds < self.ramp else seconds - self.ramp / 2

    def _unrest(self, utc: float) -> tuple[float, float]:
        """What machines take at random: volume so far in m³, never adding up, and its slope in m³/s."""
        cell = math.floor(utc / UNREST_CELL)
        u = utc / UNREST_CELL - cell
        low, high = (self.unrest_volume * scatter(self.seed, cell + i) for i in (0, 1))
        return low + (high - low) * u * u * (3 - 2 * u), (high - low) * 6 * u * (1 - u) / UNREST_CELL


def pressure_phase(utc: Numbers) -> Numbers:
    """Where in their turn of 95 s the compressors are, in radians."""
    return utc * (2 * math.pi / 95)


def temperature_phase(utc: Numbers) -> Numbers:
    """Where in the day of the warmth the hall is, in radians; it is warmest at 15:00 UTC."""
    return (utc / 86_400 - 0.375) * (2 * math.pi)


@lru_cache(maxsize=1024)
def shifts_of(plant: AirPlant, day: date) -> tuple[tuple[Shift, float, float], ...]:
    """Each shift that begins on the local `day`, with its start and end in seconds since 1970."""
    if day.weekday() not in plant.production_days or day in plant.closed:
        return ()
    zone = ZoneInfo(plant.time_zone)
    found = []
    for shift in plant.shifts:
        last = day if shift.end > shift.start else day + timedelta(1)
        start, end = (datetime.combine(d, w, zone) for d, w in ((day, shift.start), (last, shift.end)))
        found.append((shift, start.timestamp(), end.timestamp()))
    return tuple(found)


@lru_cache(maxsize=64)
def area_before(plant: AirPlant, day: date) -> float:
    """m³/h × s of all shifts that began between the epoch's day and `day`; negative for earlier days."""
    epoch = datetime.fromtimestamp(EPOCH, UTC).date()
    first, last, sign = (epoch, day, 1) if day >= epoch else (day, epoch, -1)
    days = (first + timedelta(i) for i in range((last - first).days))
    return sign * sum(shift.flow * (end - start) for d in days for shift, start, end in shifts_of(plant, d))
