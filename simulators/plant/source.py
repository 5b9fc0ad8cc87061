"""Where a simulated meter's values come from: one question, answered for any instant."""

from decimal import Decimal
from typing import NamedTuple, Protocol

from protocols.register_map.model import Value

#: What a source may say: a number in the value's unit, text, or None for "not available".
Quantity = Decimal | float | int | str | None

_MASK = (1 << 64) - 1


class Moment(NamedTuple):
    """One instant on both of a meter's clocks, in seconds."""

    utc: float  # since 1970-01-01T00:00Z
    running: float  # since the meter was switched on


class Source(Protocol):
    """Gives the readings of one meter. The same moment always gives the same answer."""

    def quantity(self, value: Value, unit: str | None, at: Moment) -> Quantity:
        """The value's quantity at that moment in `unit`; None where there is none."""
        ...


def scatter(seed: int, step: int) -> float:
    """A number in −1…1 that looks random and is always the same for (seed, step): splitmix64's mixer."""
    mixed = (step * 0x9E3779B97F4A7C15 + seed * 0xD1B54A32D192ED03 + 0x632BE59BD9B4E019) & _MASK
    mixed = ((mixed ^ (mixed >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & _MASK
    return (mixed ^ (mixed >> 31)) / (1 << 63) - 1.0
