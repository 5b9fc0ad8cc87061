"""Warnings: what is allowed, but probably not meant."""

from decimal import Decimal

from protocols.register_map.build.numbers import Built
from protocols.register_map.checks.kinds import NUMBERS, UNSIGNED
from protocols.register_map.faults import Report
from protocols.register_map.grammar import values as g
from protocols.register_map.model import Kind
from protocols.units import Dimension, unit_of

#: A float32 counts in steps of 1 up to here: 24 bits of significand (IEEE 754).
_FLOAT32_WHOLE = 2**24
_LIQUIDS = ("water", "glycol", "oil", "brine", "coolant", "liquid", "condensate", "milk", "fuel", "diesel")


def hint_at(built: Built, fluid: str | None, principle: str | None, report: Report) -> None:
    """Warnings on one reading."""
    entries, value = built.entries, built.value
    number = value.number
    lowest = number.offset if number.scale > 0 else Decimal("-Infinity")
    is_unsigned = number.kind in UNSIGNED and lowest >= 0 and not value.plus
    if is_unsigned and value.range is not None and value.range.low < 0:
        report.warn(
            entries.at(g.RANGE),
            f"the range begins below 0, but {number.kind} has no negative numbers; is the type signed?",
        )
    if value.totaliser is not None and number.kind is Kind.FLOAT32:
        rolls = value.totaliser.rolls_over_at
        if rolls is None or number.scale == 0 or rolls / abs(number.scale) > _FLOAT32_WHOLE:
            report.warn(
                entries.at(g.TYPE),
                "a float32 total loses single units above 16,777,216; prefer the meter's integer register",
            )
    is_plain = not (value.codes or value.bits or entries.has(g.CODES) or entries.has(g.BITS))
    if number.kind in NUMBERS and is_plain and not entries.has(g.UNIT):
        report.warn(built.name, f"'{value.name}' has no unit; say unit: 1 for a plain number")
    _hint_at_reference(built, fluid, principle, report)


def _hint_at_reference(built: Built, fluid: str | None, principle: str | None, report: Report) -> None:
    """A gas volume without its conditions may mean any of five amounts."""
    entries, value = built.entries, built.value
    unit = None if value.unit is None else unit_of(value.unit)
    is_liquid = principle == "magnetic" or any(word in (fluid or "").lower() for word in _LIQUIDS)
    if unit is None or is_liquid or entries.has(g.REFERENCE) or entries.has(g.BASIS) or unit.conditional:
        return
    if unit.dimension is Dimension.VOLUME_FLOW or (unit.dimension is Dimension.VOLUME and value.totaliser):
        report.warn(
            entries.at(g.UNIT),
            f"{unit.word} of a gas without a reference: say reference: {{temperature: …, pressure: …}}, or "
            "basis: actual where the meter tells the volume as it is in the pipe",
        )
