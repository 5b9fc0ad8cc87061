"""The keys of point and job files, what each takes and means: for the checker and the JSON Schemas."""

import re
from dataclasses import replace
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from protocols.register_map import grammar as g
from protocols.register_map.faults import quoted
from protocols.register_map.forms import (
    Choice,
    Duration,
    Exact,
    Integer,
    Key,
    Keys,
    ListOf,
    Named,
    Schema,
    Shape,
    Text,
    document_schema,
)
from protocols.units import Dimension, Quantity
from readout.measuring_point.forms import Between, Day, Measured, Price, ShiftTimes, UnitWord, Weekdays
from readout.measuring_point.model import Owner

POINT_NAME = "[a-z][a-z0-9-]{0,39}"
_POINT_NAME = re.compile(POINT_NAME + r"\Z")
#: Words that YAML or a query reads as something else than a name.
_NO_NAMES = ("true", "false", "null")

ROLES = ("header flow", "branch flow", "compressor power", "pressure", "dew point", "other")
FITTINGS = (
    "none", "single elbow", "two elbows in plane", "two elbows out of plane", "reducer", "expander",
    "open valve", "tee", "unknown",
)  # fmt: skip
POSITIONS = ("centre", "mean velocity")
FLUIDS = (
    "air", "nitrogen", "oxygen", "argon", "carbon dioxide", "helium", "hydrogen", "methane", "water", "other",
)  # fmt: skip
#: What a meter may already have taken into account in what it tells.
APPLIED = ("velocity profile", "stem blockage", "inlet run", "reference conditions", "gas")
PIPE_SIZES = ("outside_diameter", "circumference", "inside_diameter", "standard")


def wrong_point_name(name: str) -> str:
    """What is wrong with the name of a measuring point, which becomes a folder of the archive, or nothing."""
    if not _POINT_NAME.match(name):
        return f"{quoted(name)} is no point name: a to z, 0 to 9 and -, a letter first, at most 40 characters"
    return f"'{name}' is read as a truth value elsewhere; choose another name" if name in _NO_NAMES else ""


def _wrong_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (LookupError, ValueError, OSError):
        near = [zone for zone in available_timezones() if zone.lower().endswith(name.lower().strip())]
        hint = f"; did you mean {min(near)}" if near else ""
        return f"{quoted(name)} is no time zone{hint}; write a name such as Europe/Dublin or UTC"
    return ""


def _wrong_shift_name(name: str) -> str:
    return "" if 0 < len(name) <= 40 and name.strip() == name else f"{quoted(name)} is no name of a shift"


def _quantity(
    name: str, form: Measured, means: str, example: str, *, required: bool = False
) -> Key[Quantity]:
    """A key whose faults show its own example."""
    return Key(name, replace(form, example=example), means, example, required)


def _length(name: str, means: str, example: str) -> Key[Quantity]:
    return _quantity(name, Measured((Dimension.LENGTH,), above=Decimal(0)), means, example)


_FLOWS = (Dimension.VOLUME_FLOW, Dimension.MASS_FLOW)
_WIDTHS = (
    Dimension.LENGTH,
    Dimension.RATIO,
    Dimension.VELOCITY,
    Dimension.VOLUME_FLOW,
    Dimension.MASS_FLOW,
    Dimension.PRESSURE,
    Dimension.TEMPERATURE,
)

# what the points of a job share
SITE_NAME = Key("name", Text(), "name of the site", "Hollow Mere bottling hall", required=True)
TIME_ZONE = Key(
    "time_zone", Text(60, check=_wrong_zone), "time zone of the IANA database", "Europe/Dublin", required=True
)
ALTITUDE = _quantity("altitude", Measured((Dimension.LENGTH,)), "height above the sea", "40 m")
ATMOSPHERIC_PRESSURE = _quantity(
    "atmospheric_pressure",
    Measured((Dimension.PRESSURE,), above=Decimal(0), absolute=True),
    "air pressure",
    "1.008 bar(a)",
)
SITE = Key(
    "site", Keys((SITE_NAME, TIME_ZONE, ALTITUDE, ATMOSPHERIC_PRESSURE), "site", "the site"),
    "where the points are",
    {"name": "Hollow Mere bottling hall", "time_zone": "Europe/Dublin"},
)  # fmt: skip
CUSTOMER = Key("customer", Text(), "for whom", "Hollow Mere bottling hall")
ORDER = Key("order", Text(), "number of the order", "HM-17")
AIM = Key("aim", Text(500), "what the job is to find out", "out-of-hours demand")
UNIT_KEYS: tuple[Key[str], ...] = (
    Key("flow", UnitWord(_FLOWS), "unit of flows", "m3/min"),
    Key("velocity", UnitWord((Dimension.VELOCITY,)), "unit of velocities", "m/s"),
    Key("pressure", UnitWord((Dimension.PRESSURE,)), "unit of pressures, with (g) or (a)", "bar(g)"),
    Key("temperature", UnitWord((Dimension.TEMPERATURE,)), "unit of temperatures", "degC"),
    Key("total", UnitWord((Dimension.VOLUME, Dimension.MASS)), "unit of totals", "m3"),
)
UNITS = Key(
    "units",
    Keys(UNIT_KEYS, "units", "units"),
    "units of screens and reports; storage keeps the map's",
    {"flow": "m3/min", "pressure": "bar(g)"},
)
SHIFTS = Key(
    "shifts", Named(ShiftTimes(), ".{1,40}", _wrong_shift_name), "shifts by name", {"early": "06:00-14:00"}
)
PRODUCTION = Key("production", Weekdays(), "days on which the site produces", "Mon-Fri")
CLOSED = Key("closed", ListOf(Day(), 0, 400), "days on which it does not, besides", ["2026-05-04"])
PRESSURISED = Key("pressurised_hours_per_year", Integer(0, 8784), "hours a year under pressure", 8760)
CALENDAR = Key(
    "calendar",
    Keys((SHIFTS, PRODUCTION, CLOSED, PRESSURISED), "calendar", "the calendar"),
    "when the site works",
    {"shifts": {"early": "06:00-14:00", "late": "14:00-22:00"}, "production": "Mon-Fri"},
)
SPECIFIC_POWER = _quantity(
    "specific_power",
    Measured((Dimension.SPECIFIC_POWER,), above=Decimal(0)),
    "power for each unit of flow",
    "6.4 kW/(m3/min)",
)
AT = _quantity("at", Measured((Dimension.PRESSURE,)), "pressure at which it holds", "7.5 bar(g)")
POWER_BASIS = Key("basis", Choice(("package", "shaft", "motor"), "basis"), "whose power", "package")
PRICE = Key("price", Price(), "price of energy", "0.21 EUR/kWh")
CARBON = _quantity(
    "carbon", Measured((Dimension.CARBON,), least=Decimal(0)), "carbon of energy", "0.25 kg/kWh"
)
ENERGY = Key(
    "energy",
    Keys((SPECIFIC_POWER, AT, POWER_BASIS, PRICE, CARBON), "energy", "energy"),
    "what the air costs",
    {"specific_power": "6.4 kW/(m3/min)", "price": "0.21 EUR/kWh"},
)

# the point itself
NAME = Key(
    "name", Text(40, POINT_NAME, "write such as header-1", wrong_point_name), "name of the point", "header-1",
    required=True,
)  # fmt: skip
JOB = Key("job", Text(400), "job file, relative to this file", "job.yaml")
ROLE = Key("role", Choice(ROLES, "role"), "what is measured here", "header flow")
MAP = Key("map", Text(400), "register map, relative to this file", "example-map.yaml", required=True)
SERIAL_NUMBER = Key("serial_number", Text(60), "serial number of the meter", "EX-0042")
OWNER = Key("owner", Choice(tuple(Owner), "owner"), "a customer's meter is never written to", "ours")
METER = Key(
    "meter", Keys((MAP, g.UNIT_ADDRESS, SERIAL_NUMBER, OWNER), "meter", "the meter"),
    "the meter at this point",
    {"map": "example-map.yaml", "unit_address": 12}, required=True,
)  # fmt: skip
PORT = Key(
    "port", Text(400), "any serial port, socket://, rfc2217://; ./NAME lies beside this file", "/dev/ttyUSB0",
    required=True,
)  # fmt: skip
LINE = Key(
    "line", Keys((PORT, g.BAUD_RATE, g.PARITY, g.DATA_BITS, g.STOP_BITS), "line", "the line"),
    "the serial line; settings are the map's unless given here", {"port": "/dev/ttyUSB0"},
)  # fmt: skip
OUTSIDE_DIAMETER = _length("outside_diameter", "measured across the pipe", "60.3 mm")
CIRCUMFERENCE = _length("circumference", "measured round the pipe", "189.4 mm")
INSIDE_DIAMETER = _length("inside_diameter", "bore of the pipe", "53.1 mm")
STANDARD = Key(
    "standard", Text(80, ".+ DN ?[0-9]+", "write such as EN 10255 medium DN 50"), "pipe standard and size",
    "EN 10255 medium DN 50",
)  # fmt: skip
TABLE = Key(
    "table",
    Text(400),
    "your own list of pipes (CSV: dn,outside_mm,wall_mm), relative to this file",
    "pipes.csv",
)
WALL_THICKNESS = _length("wall_thickness", "wall of the pipe", "3.6 mm")
DIAMETER_FROM = Key(
    "diameter_from",
    Choice(("measured", "table", "marking", "assumed"), "source"),
    "how it is known",
    "measured",
)
SET_IN_METER = _length("diameter_set_in_meter", "what the meter computes its flow with", "53.1 mm")
POSITION = Key(
    "position",
    Choice(POSITIONS, "position"),
    "where the sensor stands; else where calibrated_for says",
    "centre",
)
CALIBRATED_FOR = Key(
    "calibrated_for", Choice(POSITIONS, "position"), "the position for which the meter computes its flow",
    "centre",
)  # fmt: skip
STEM_LENGTH = _length("stem_length", "from the tip to the end of the stem that can still be read", "400 mm")
FAR_WALL = Key(
    "far_wall",
    Choice(("keep clear", "may be touched"), "answer"),
    "may be touched: the meter's manual lets the tip be set on the far wall and drawn back",
    "keep clear",
)
STEM = _length("stem_diameter", "diameter of the stem", "10 mm")
SENSOR_TO_TIP = _quantity(
    "sensor_to_tip",
    Measured((Dimension.LENGTH,), least=Decimal(0)),
    "from the sensor to the tip of the stem",
    "8 mm",
)
FITTING_HEIGHT = _length("fitting_height", "from the pipe to the top of the fitting", "142 mm")
PROBE = Key(
    "probe",
    Keys(
        (POSITION, CALIBRATED_FOR, STEM, SENSOR_TO_TIP, FITTING_HEIGHT, STEM_LENGTH, FAR_WALL),
        "probe",
        "the probe",
    ),
    "the insertion probe",
    {"position": "centre", "stem_diameter": "10 mm"},
)
APPLIED_IN_METER = Key(
    "applied_in_meter", ListOf(Choice(APPLIED, "correction"), 0, 5), "corrections the meter has made already",
    ["velocity profile"],
)  # fmt: skip
RUN_LENGTH = _quantity(
    "length",
    Measured((Dimension.LENGTH,), least=Decimal(0)),
    "length of straight pipe",
    "1.8 m",
    required=True,
)
AFTER = Key("after", Choice(FITTINGS, "fitting"), "the fitting at its beginning", "single elbow")
ASKED_BY_MANUAL = Key(
    "asked_by_manual",
    Exact(Decimal(0), Decimal(500)),
    "what the meter's manual asks for, in inside diameters; it rules",
    20,
)
INLET_RUN = Key(
    "inlet_run",
    Keys((RUN_LENGTH, AFTER, ASKED_BY_MANUAL), "inlet_run", "the inlet run"),
    "straight pipe before the meter",
    {"length": "1.8 m", "after": "single elbow"},
)
OUTLET_RUN = Key(
    "outlet_run",
    Keys((RUN_LENGTH, ASKED_BY_MANUAL), "outlet_run", "the outlet run"),
    "straight pipe behind the meter",
    {"length": "0.6 m"},
)
PIPE = Key(
    "pipe",
    Keys(
        (
            OUTSIDE_DIAMETER, CIRCUMFERENCE, INSIDE_DIAMETER, STANDARD, TABLE, WALL_THICKNESS, DIAMETER_FROM,
            SET_IN_METER, PROBE, APPLIED_IN_METER, INLET_RUN, OUTLET_RUN,
        ),
        "pipe", "the pipe", one_of=PIPE_SIZES,
    ),
    "the pipe and how the meter sits in it",
    {"outside_diameter": "60.3 mm", "wall_thickness": "3.6 mm", "diameter_from": "measured"},
)  # fmt: skip
PRESSURE = _quantity("pressure", Measured((Dimension.PRESSURE,)), "pressure in the pipe", "7 bar(g)")
TEMPERATURE = _quantity(
    "temperature", Measured((Dimension.TEMPERATURE,)), "temperature in the pipe", "25 degC"
)
EXPECTED_FLOW = Key(
    "expected_flow", Between(Measured(_FLOWS, least=Decimal(0))), "flow from, to", "40 m3/h to 420 m3/h"
)
FLUID = Key("fluid", Choice(FLUIDS, "fluid"), "what flows; else what the map says", "air")
CONDITIONS = Key(
    "conditions", Keys((FLUID, PRESSURE, TEMPERATURE, EXPECTED_FLOW), "conditions", "conditions"),
    "what is expected", {"pressure": "7 bar(g)", "temperature": "25 degC"},
)  # fmt: skip
REFERENCE_TEMPERATURE = _quantity(
    "temperature", Measured((Dimension.TEMPERATURE,)), "its temperature", "20 degC", required=True
)
REFERENCE_PRESSURE = _quantity(
    "pressure", Measured((Dimension.PRESSURE,), above=Decimal(0), absolute=True), "its absolute pressure",
    "1 bar(a)",
    required=True,
)  # fmt: skip
REFERENCE = Key(
    "reference", Keys((REFERENCE_TEMPERATURE, REFERENCE_PRESSURE), "reference", "the reference"),
    "what volumes are referred to in reports", {"temperature": "20 degC", "pressure": "1 bar(a)"},
)  # fmt: skip
_SHARE = Measured((Dimension.RATIO,), least=Decimal(0))
_WIDTH = Measured(_WIDTHS, least=Decimal(0), difference=True)
HALF_WIDTH = _quantity("half_width", _WIDTH, "half-width in the unit of the quantity, or %", "0.5 mm")
OF_READING = _quantity("of_reading", _SHARE, "half-width as a share of the reading", "2 %")
OF_FULL_SCALE = _quantity("of_full_scale", _SHARE, "half-width as a share of full scale", "0.3 %")
FULL_SCALE = _quantity("full_scale", _WIDTH, "full scale of the meter", "160 m/s")
K = Key("k", Exact(Decimal("0.1"), Decimal(10)), "coverage factor of the half-width; 2 unless given", 2)
DISTRIBUTION = Key(
    "distribution",
    Choice(("normal", "rectangular", "triangular"), "distribution"),
    "instead of k",
    "rectangular",
)
UNCERTAIN = Keys(
    (HALF_WIDTH, OF_READING, OF_FULL_SCALE, FULL_SCALE, K, DISTRIBUTION), "uncertain", "the uncertainty",
    some_of=("half_width", "of_reading", "of_full_scale"),
)  # fmt: skip
UNCERTAINTY_KEYS: tuple[Key[Any], ...] = tuple(
    Key(
        name,
        Shape(scalar=replace(_WIDTH, example=example), mapping=UNCERTAIN),
        f"uncertainty of {name.replace('_', ' ')}",
        {"of_reading": example} if name == "velocity" else example,
    )
    for name, example in (
        ("inside_diameter", "0.5 mm"), ("velocity", "2 %"), ("velocity_profile", "1 %"),
        ("flow", "2 %"), ("pressure", "0.05 bar"), ("temperature", "0.5 degC"),
        ("atmospheric_pressure", "10 mbar"),
        ("insertion_depth", "1 mm"), ("inlet_run", "1 %"), ("stem_blockage", "0.5 %"),
    )
)  # fmt: skip
UNCERTAINTY = Key(
    "uncertainty", Keys(UNCERTAINTY_KEYS, "uncertainty", "uncertainty"),
    "half-widths with k = 2 unless k or distribution is given", {"inside_diameter": "0.5 mm"},
)  # fmt: skip
EVERY = Key(
    "every",
    Duration(Decimal("0.1"), Decimal(86400)),
    "time from one reading to the next",
    "1 s",
    required=True,
)
RECORD = Key(
    "record", Keys((EVERY,), "record", "record"), "how the recorder reads this point", {"every": "1 s"}
)

#: What a job file may say for all its points, and a point for itself.
SHARED: tuple[Key[Any], ...] = (
    CUSTOMER, ORDER, AIM, SITE, UNITS, CALENDAR, ENERGY, LINE, CONDITIONS, REFERENCE, UNCERTAINTY, RECORD,
)  # fmt: skip
POINT_FORMAT = Key("measuring_point", Choice(("1",), "format version"), "format version", 1, required=True)
JOB_FORMAT = Key("job", Choice(("1",), "format version"), "format version", 1, required=True)
POINT = Keys((POINT_FORMAT, NAME, JOB, ROLE, METER, PIPE, *SHARED), of="the measuring point")
JOB_FILE = Keys((JOB_FORMAT, *SHARED), of="the job")


def point_schema() -> Schema:
    """The JSON Schema of point files, as kept under docs/schema."""
    return document_schema(POINT, "Measuring point", "measuring-point.schema.json")


def job_schema() -> Schema:
    """The JSON Schema of job files, as kept under docs/schema."""
    return document_schema(JOB_FILE, "Job", "job.schema.json")
