"""Checked entries of a point file and its job file to the models."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import TypeVar

from protocols.register_map import grammar as g
from protocols.register_map.forms import Entries, Key
from protocols.units import Quantity
from readout.measuring_point import grammar as k
from readout.measuring_point.model import (
    Conditions,
    Energy,
    Line,
    Meter,
    Owner,
    Pipe,
    Probe,
    ReferenceConditions,
    Site,
    StraightRun,
    Uncertain,
    WorkCalendar,
)

T = TypeVar("T")


def build_site(entries: Entries | None) -> Site | None:
    """The site; None where it is not there or lacks what it needs."""
    if entries is None:
        return None
    name, zone = entries.get(k.SITE_NAME), entries.get(k.TIME_ZONE)
    if name is None or zone is None:
        return None
    return Site(name, zone, entries.get(k.ALTITUDE), entries.get(k.ATMOSPHERIC_PRESSURE))


def build_meter(entries: Entries | None) -> Meter | None:
    """The meter; None where its map is not named."""
    path = None if entries is None else entries.get(k.MAP)
    if entries is None or path is None:
        return None
    owner = Owner(entries.get(k.OWNER) or Owner.OURS)
    return Meter(path, entries.get(g.UNIT_ADDRESS), entries.get(k.SERIAL_NUMBER), owner)


def build_line(entries: Entries | None) -> Line | None:
    """The line; None where it has no port."""
    port = None if entries is None else entries.get(k.PORT)
    if entries is None or port is None:
        return None
    return Line(
        port, entries.get(g.BAUD_RATE), entries.get(g.PARITY), _whole(entries.get(g.DATA_BITS)),
        _whole(entries.get(g.STOP_BITS)),
    )  # fmt: skip


def build_units(entries: Entries | None) -> Mapping[str, str]:
    """Unit words by what they are for."""
    return {} if entries is None else dict(_present(entries, k.UNIT_KEYS))


def build_calendar(entries: Entries | None) -> WorkCalendar | None:
    """When the site works."""
    if entries is None:
        return None
    closed = entries.get(k.CLOSED)
    return WorkCalendar(
        {name: shift for name, (_, shift) in (entries.get(k.SHIFTS) or {}).items()},
        entries.get(k.PRODUCTION),
        () if closed is None else closed.values,
        entries.get(k.PRESSURISED),
    )


def build_energy(entries: Entries | None) -> Energy | None:
    """What the air costs."""
    if entries is None:
        return None
    return Energy(
        entries.get(k.SPECIFIC_POWER), entries.get(k.AT), entries.get(k.POWER_BASIS), entries.get(k.PRICE),
        entries.get(k.CARBON),
    )  # fmt: skip


def build_pipe(entries: Entries | None) -> Pipe | None:
    """The pipe as the file says it."""
    if entries is None:
        return None
    applied = entries.get(k.APPLIED_IN_METER)
    return Pipe(
        outside_diameter=entries.get(k.OUTSIDE_DIAMETER),
        circumference=entries.get(k.CIRCUMFERENCE),
        inside_diameter=entries.get(k.INSIDE_DIAMETER),
        standard=entries.get(k.STANDARD),
        table=entries.get(k.TABLE),
        wall_thickness=entries.get(k.WALL_THICKNESS),
        diameter_from=entries.get(k.DIAMETER_FROM),
        diameter_set_in_meter=entries.get(k.SET_IN_METER),
        probe=_probe(entries.get(k.PROBE)),
        applied_in_meter=() if applied is None else applied.values,
        inlet_run=_run(entries.get(k.INLET_RUN)),
        outlet_run=_run(entries.get(k.OUTLET_RUN)),
    )


def _probe(entries: Entries | None) -> Probe | None:
    if entries is None:
        return None
    return Probe(
        position=entries.get(k.POSITION),
        calibrated_for=entries.get(k.CALIBRATED_FOR),
        stem_diameter=entries.get(k.STEM),
        sensor_to_tip=entries.get(k.SENSOR_TO_TIP),
        fitting_height=entries.get(k.FITTING_HEIGHT),
        stem_length=entries.get(k.STEM_LENGTH),
        far_wall=entries.get(k.FAR_WALL),
    )


def _run(entries: Entries | None) -> StraightRun | None:
    length = None if entries is None else entries.get(k.RUN_LENGTH)
    if entries is None or length is None:
        return None
    return StraightRun(length, entries.get(k.AFTER), entries.get(k.ASKED_BY_MANUAL))


def build_conditions(entries: Entries | None) -> Conditions | None:
    """What is expected in the pipe."""
    if entries is None:
        return None
    return Conditions(
        entries.get(k.FLUID),
        entries.get(k.PRESSURE),
        entries.get(k.TEMPERATURE),
        entries.get(k.EXPECTED_FLOW),
    )


def build_reference(entries: Entries | None) -> ReferenceConditions | None:
    """What volumes are referred to in reports."""
    if entries is None:
        return None
    temperature, pressure = entries.get(k.REFERENCE_TEMPERATURE), entries.get(k.REFERENCE_PRESSURE)
    return None if temperature is None or pressure is None else ReferenceConditions(temperature, pressure)


def build_uncertainty(entries: Entries | None) -> Mapping[str, Uncertain]:
    """Sources of uncertainty by name."""
    if entries is None:
        return {}
    return {name: _uncertain(found) for name, found in _present(entries, k.UNCERTAINTY_KEYS)}


def _uncertain(found: Quantity | Entries) -> Uncertain:
    if isinstance(found, Quantity):
        return Uncertain(half_width=found)
    return Uncertain(
        found.get(k.HALF_WIDTH), found.get(k.OF_READING), found.get(k.OF_FULL_SCALE), found.get(k.FULL_SCALE),
        found.get(k.K), found.get(k.DISTRIBUTION),
    )  # fmt: skip


def build_every(entries: Entries | None) -> Decimal | None:
    """Seconds from one reading to the next."""
    return None if entries is None else entries.get(k.EVERY)


def _present(entries: Entries, keys: tuple[Key[T], ...]) -> Iterator[tuple[str, T]]:
    for key in keys:
        found = entries.get(key)
        if found is not None:
            yield key.name, found


def _whole(word: str | None) -> int | None:
    return None if word is None else int(word)
