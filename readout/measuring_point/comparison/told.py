"""A setting as a meter told it, as a quantity."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from protocols.units import Dimension, Quantity, quantity_of

#: Name → {value, unit, flag}; reference conditions that the meter tells stand under `NAME at REGISTER`.
Settings = Mapping[str, Mapping[str, Any]]


def told_quantity(settings: Settings, name: str, dimension: Dimension) -> Quantity | None:
    """A setting of that dimension; None where the meter has none, did not tell it, or in no known unit."""
    told = told_setting(settings, name)
    if told is None:
        return None
    value, word = told.get("value"), told.get("unit")
    if isinstance(value, bool) or not isinstance(value, int | float) or not isinstance(word, str):
        return None
    unit = quantity_of(f"1 {word}")
    if not isinstance(unit, Quantity) or unit.unit.dimension is not dimension:
        return None
    return Quantity(Decimal(repr(value)), unit.unit, unit.gauge)


def told_word(settings: Settings, name: str) -> str | None:
    """A setting whose codes have words; None for anything else."""
    told = told_setting(settings, name)
    value = None if told is None else told.get("value")
    return value if isinstance(value, str) else None


def told_setting(settings: Settings, name: str) -> Mapping[str, Any] | None:
    """The setting of that name, or what a reading's reference tells under it."""
    return next((one for key, one in settings.items() if key.partition(" at ")[0] == name), None)
