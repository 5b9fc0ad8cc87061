"""Where a meter's settings and the point file say different things, in plain words."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from protocols.units import Quantity, quantity_of
from readout.errors import WrongUse
from readout.measuring_point.conversion import difference
from readout.measuring_point.model import MeasuringPoint

#: Settings and the point file are the same within this share: registers round.
SAME_WITHIN = Decimal("0.001")


def differences(point: MeasuringPoint, meter: Mapping[str, Any], settings: Mapping[str, Any]) -> list[str]:
    """Sentences; none where all that can be compared agrees.

    `meter`: identity name → what the meter told. `settings`: name → {value, unit, flag},
    reference conditions that the meter tells under `NAME at REGISTER`.
    """
    return [*_serial_number(point, meter), *_quantities(point, settings)]


def is_another(point: MeasuringPoint, meter: Mapping[str, Any]) -> bool:
    """Whether the meter's own serial number is not the point file's; False where one of them is not told."""
    told, expected = meter.get("serial_number"), point.meter.serial_number
    return told is not None and expected is not None and str(told) != expected


def _serial_number(point: MeasuringPoint, meter: Mapping[str, Any]) -> Iterator[str]:
    told, expected = meter.get("serial_number"), point.meter.serial_number
    if is_another(point, meter):
        yield (
            f"another meter: it tells the serial number {told}, the point file says {expected}. If "
            "the meter was exchanged, mend the point file."
        )


def _quantities(point: MeasuringPoint, settings: Mapping[str, Any]) -> Iterator[str]:
    pipe, reference = point.pipe, point.reference
    said: list[tuple[str, str, Quantity | None]] = []
    if pipe is not None:
        said.append(("inside_diameter", "pipe: diameter_set_in_meter", pipe.diameter_set_in_meter))
        if pipe.diameter_set_in_meter is None:
            said.append(("inside_diameter", "pipe: inside_diameter", pipe.inside_diameter))
    if reference is not None:
        said.append(("reference_temperature", "reference: temperature", reference.temperature))
        said.append(("reference_pressure", "reference: pressure", reference.pressure))
    for name, place, expected in said:
        told = next((one for key, one in settings.items() if key.partition(" at ")[0] == name), None)
        if told is not None and expected is not None:
            yield from _one(name, told, place, expected)


def _one(name: str, told: Mapping[str, Any], place: str, expected: Quantity) -> Iterator[str]:
    value, word = told["value"], told["unit"]
    unit = None if word is None else quantity_of(f"1 {word}")
    if not isinstance(value, int | float) or not isinstance(unit, Quantity):
        return
    found = Quantity(Decimal(repr(value)), unit.unit, unit.gauge)
    try:
        off = difference(expected, Quantity(found.number, unit.unit))
    except WrongUse:
        return
    if abs(off) > SAME_WITHIN * max(abs(found.number), Decimal(1)):
        yield (
            f"{name} is {value} {word} in the meter, and {expected} in the point file ({place}): "
            "one of them is wrong, or the other must be reckoned with"
        )
