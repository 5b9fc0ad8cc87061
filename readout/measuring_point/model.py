"""A measuring point as frozen data, as its file and its job's file say it; nothing is computed here.

Quantities stay exact and in the unit they were written in. Where a file may leave something out, the
field is None: what needs it says so, nothing is assumed in its place.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from protocols.units import Quantity


class Owner(StrEnum):
    """Whose meter it is: a customer's is never written to."""

    OURS = "ours"
    CUSTOMER = "customer"


@dataclass(frozen=True, slots=True)
class Money:
    """A price: an amount of a currency (ISO 4217) for each unit, 0.21 EUR/kWh."""

    amount: Decimal
    currency: str
    per: str


@dataclass(frozen=True, slots=True)
class QuantitySpan:
    """From `low` to `high`, both in the same unit."""

    low: Quantity
    high: Quantity


@dataclass(frozen=True, slots=True)
class Site:
    """Where the points of a job are; `time_zone` is a name of the IANA database."""

    name: str
    time_zone: str
    altitude: Quantity | None = None
    atmospheric_pressure: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Shift:
    """A shift by wall clock; `until` before `begin` is on the next day. Minutes since midnight."""

    begin: int
    until: int


@dataclass(frozen=True, slots=True)
class WorkCalendar:
    """When the site produces. `production` holds weekdays, Monday = 0; None where the file does not say."""

    shifts: Mapping[str, Shift] = field(default_factory=dict)
    production: tuple[int, ...] | None = None
    closed: tuple[date, ...] = ()
    pressurised_hours_per_year: int | None = None


@dataclass(frozen=True, slots=True)
class Energy:
    """What the air costs: specific power of the compressors at a pressure, price and carbon of the energy."""

    specific_power: Quantity | None = None
    at: Quantity | None = None
    basis: str | None = None  # package | shaft | motor
    price: Money | None = None
    carbon: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Meter:
    """The meter at this point. `map` is a path as written, relative to the point file."""

    map: str
    unit_address: int | None = None
    serial_number: str | None = None
    owner: Owner = Owner.OURS


@dataclass(frozen=True, slots=True)
class Line:
    """The line as written; None means what the map says."""

    port: str
    baud_rate: int | None = None
    parity: str | None = None
    data_bits: int | None = None
    stop_bits: int | None = None


@dataclass(frozen=True, slots=True)
class Probe:
    """Where the sensor of an insertion meter stands in the pipe."""

    position: str | None = None  # centre | mean velocity
    calibrated_for: str | None = None  # centre | mean velocity: for which the meter computes
    stem_diameter: Quantity | None = None
    sensor_to_tip: Quantity | None = None
    fitting_height: Quantity | None = None
    stem_length: Quantity | None = None
    far_wall: str | None = None  # keep clear | may be touched (by the meter's manual)


@dataclass(frozen=True, slots=True)
class StraightRun:
    """Straight pipe before or behind the meter; `after` is the fitting before an inlet run.

    `asked_by_manual`: what the meter's manual asks for, in inside diameters.
    """

    length: Quantity
    after: str | None = None
    asked_by_manual: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Pipe:
    """The pipe: one of outside diameter, circumference, inside diameter and standard is there."""

    outside_diameter: Quantity | None = None
    circumference: Quantity | None = None
    inside_diameter: Quantity | None = None
    standard: str | None = None
    table: str | None = None  # the user's own list of pipes, a path as written
    wall_thickness: Quantity | None = None
    diameter_from: str | None = None  # measured | table | marking | assumed
    diameter_set_in_meter: Quantity | None = None
    probe: Probe | None = None
    applied_in_meter: tuple[str, ...] = ()
    inlet_run: StraightRun | None = None
    outlet_run: StraightRun | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """What is expected in the pipe."""

    fluid: str | None = None  # a word of the grammar's FLUIDS
    pressure: Quantity | None = None
    temperature: Quantity | None = None
    expected_flow: QuantitySpan | None = None


@dataclass(frozen=True, slots=True)
class ReferenceConditions:
    """What volumes are referred to in screens and reports; the pressure is absolute."""

    temperature: Quantity
    pressure: Quantity


@dataclass(frozen=True, slots=True)
class Uncertain:
    """One source of uncertainty: half-widths, with k = 2 unless `k` or `distribution` is given."""

    half_width: Quantity | None = None
    of_reading: Quantity | None = None
    of_full_scale: Quantity | None = None
    full_scale: Quantity | None = None
    k: Decimal | None = None
    distribution: str | None = None  # normal | rectangular | triangular


@dataclass(frozen=True, slots=True)
class MeasuringPoint:
    """One measuring point, its job's shared keys filled in. `record_every` in seconds."""

    name: str
    site: Site
    meter: Meter
    line: Line
    role: str | None = None
    customer: str | None = None
    order: str | None = None
    aim: str | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    calendar: WorkCalendar | None = None
    energy: Energy | None = None
    pipe: Pipe | None = None
    conditions: Conditions | None = None
    reference: ReferenceConditions | None = None
    uncertainty: Mapping[str, Uncertain] = field(default_factory=dict)
    record_every: Decimal | None = None
    text: str = ""
    job_text: str | None = None
