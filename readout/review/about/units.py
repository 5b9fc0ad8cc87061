"""Units of figures: a straight line from the rows' unit to the one shown, and what a flow adds up to."""

from dataclasses import dataclass
from decimal import Decimal

from protocols.units import Dimension, Quantity, Unit, unit_of
from readout.measuring_point.conversion import converted
from readout.review.about.installation import Installation, ReadingInfo, plain_unit

#: Volume words of flow words that do not show them.
_SHORT = {"cfm": "ft3", "cfh": "ft3", "lpm": "l", "gpm": "gal", "scfm": "scf", "scfh": "scf", "slpm": "l",
          "slm": "l", "sccm": "cm3", "SCFM": "scf", "SCFH": "scf", "SLPM": "l", "nlpm": "l"}  # fmt: skip
_PER = {"second": 1.0, "minute": 60.0, "hour": 3600.0}


@dataclass(frozen=True, slots=True)
class Shown:
    """value × `factor` + `offset` is in `unit` (None: a number without a unit)."""

    unit: str | None
    factor: float = 1.0
    offset: float = 0.0

    def of(self, value: float) -> float:
        """A value of the rows in the unit shown."""
        return value * self.factor + self.offset


def shown(installation: Installation, reading: ReadingInfo) -> Shown:
    """From the rows' unit to the customer's; the rows' own where no conversion is without doubt."""
    wanted = installation.shown_unit(reading)
    if wanted is None or wanted == reading.unit or reading.unit is None:
        return Shown(reading.unit)
    one, other = unit_of(plain_unit(reading.unit)), unit_of(plain_unit(wanted))
    assert one is not None
    assert other is not None
    line = _line(one, other)
    return Shown(wanted, *line)


def _line(one: Unit, other: Unit) -> tuple[float, float]:
    at_zero, at_hundred = (converted(Quantity(Decimal(n), one), other) for n in (0, 100))
    return float((at_hundred - at_zero) / 100), float(at_zero)


@dataclass(frozen=True, slots=True)
class Amount:
    """What a flow adds up to: flow unit × s, times `factor`, is in `unit`."""

    unit: str
    factor: float


def amount_of(flow_unit: str | None) -> Amount | None:
    """m3/min adds up to m3, kg/h to kg, cfm to ft3; None for what is no flow."""
    unit = unit_of(plain_unit(flow_unit or ""))
    if unit is None or unit.dimension not in (Dimension.VOLUME_FLOW, Dimension.MASS_FLOW):
        return None
    word, _, _ = unit.word.partition("/")
    seconds = _PER[unit.expression.rsplit("/", 1)[1]]
    return Amount(_SHORT.get(unit.word, word), 1 / seconds)


def number_in(quantity: Quantity, word: str) -> float:
    """The number of a quantity in a unit; WrongUse where they measure different things."""
    unit = unit_of(plain_unit(word))
    assert unit is not None
    return float(converted(quantity, unit))
