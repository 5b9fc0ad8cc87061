"""What a simulated meter says where the plant says nothing: who it is, and how it is set."""

from collections.abc import Iterable
from decimal import Decimal

from protocols.register_map.model import Kind, RegisterMap, Value
from simulators.plant.units import UNITS, Dimension

#: Settings by their well-known names, in the unit of `Dimension`: a pipe of EN 10255 medium DN 50, and so on.
_WELL_KNOWN: dict[str, tuple[Dimension | None, Decimal]] = {
    "inside_diameter": (Dimension.LENGTH, Decimal("53.1")),
    "log_interval": (Dimension.TIME, Decimal(10)),
    "damping": (Dimension.TIME, Decimal(2)),
    "low_flow_cut_off": (Dimension.VELOCITY, Decimal("0.4")),
    "calibration_factor": (None, Decimal(1)),
    "reference_temperature": (Dimension.TEMPERATURE, Decimal(20)),
    "reference_pressure": (Dimension.PRESSURE, Decimal(1)),
}

#: Without a plainer name, what a setting or a told condition of this dimension is likely to be.
_BY_DIMENSION: dict[Dimension, Decimal] = {
    Dimension.TEMPERATURE: Decimal(20),
    Dimension.PRESSURE: Decimal(1),
    Dimension.TIME: Decimal(10),
}

#: Serial number of unit 0; the meter with unit address n is number 30 + n of the invented make.
_SERIAL_START = 30


def setting(value: Value) -> Decimal | int | str:
    """A sensible quantity for a setting or a reference condition told by registers, in the value's unit.

    Within its `steps` or `range` where it has them; its first code; for text, its name.
    """
    if value.number.kind is Kind.TEXT:
        return fitting(value, value.name)
    if value.codes:
        return min(value.codes)
    if value.bits or value.number.kind is Kind.BIT:
        return 0
    wanted = _wanted(value)
    if value.steps:
        return min(value.steps, key=lambda step: abs(step - wanted))
    if value.range is not None:
        return min(max(wanted, value.range.low), value.range.high)
    return wanted


def _wanted(value: Value) -> Decimal:
    unit = UNITS.get(value.unit or "")
    dimension, amount = _WELL_KNOWN.get(value.name, (None, None))
    if amount is None and unit is not None:
        dimension, amount = unit.dimension, _BY_DIMENSION.get(unit.dimension)
    if amount is None:
        return Decimal(0) if value.range is None else (value.range.low + value.range.high) / 2
    if unit is None or unit.dimension is not dimension:
        return amount
    return Decimal(f"{unit.from_plant(float(amount)):.6g}")


def identity(value: Value, register_map: RegisterMap, unit_address: int) -> str | int:
    """Who the meter is: `EX-0042` for the meter with unit address 12, firmware 1.4, the map's meter."""
    text = value.number.kind is Kind.TEXT
    if value.name == "serial_number":
        number = _SERIAL_START + unit_address
        return fitting(value, f"EX-{number:04d}") if text else number
    if value.name == "firmware":
        return fitting(value, "1.4") if text else 14
    if value.name == "model":
        return fitting(value, register_map.meter) if text else 1
    return fitting(value, value.name) if text else 1


def fitting(value: Value, text: str) -> str:
    """`text`, cut to the value's registers, two characters each; what Latin-1 lacks becomes '?'."""
    return text.encode("latin-1", "replace").decode("latin-1")[: 2 * value.number.words]


def first_known(units: Iterable[str]) -> str | None:
    """The first unit that the plant can measure in; the first of all if there is none; None of none."""
    listed = list(units)
    return next((unit for unit in listed if unit in UNITS), listed[0] if listed else None)
