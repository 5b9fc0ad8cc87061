"""What a unit word of a map measures, and its size: just enough to give a simulated sensor its signal.

Conversions for results are not made here; an unknown word only means that the generic signal is used.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray


class Dimension(Enum):
    """What a simulated sensor can measure; the value is the unit in which the plant counts it."""

    FLOW = "m3/h"
    VOLUME = "m3"
    VELOCITY = "m/s"
    PRESSURE = "bar"
    TEMPERATURE = "degC"
    LENGTH = "mm"
    TIME = "s"


@dataclass(frozen=True, slots=True)
class Unit:
    """value in the dimension's own unit = number × factor + offset."""

    dimension: Dimension
    factor: float
    offset: float = 0.0

    def from_plant(self, quantity: float) -> float:
        """A quantity in the dimension's own unit, as a number in this unit."""
        return (quantity - self.offset) / self.factor

    def from_plant_many(self, quantities: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same for many."""
        return np.asarray((quantities - self.offset) / self.factor)


_FOOT = 0.3048  # m, exact since 1959

UNITS = {
    "m3/h": Unit(Dimension.FLOW, 1.0),
    "Nm3/h": Unit(Dimension.FLOW, 1.0),
    "m3/min": Unit(Dimension.FLOW, 60.0),
    "m3/s": Unit(Dimension.FLOW, 3600.0),
    "l/s": Unit(Dimension.FLOW, 3.6),
    "l/min": Unit(Dimension.FLOW, 0.06),
    "l/h": Unit(Dimension.FLOW, 0.001),
    "cfm": Unit(Dimension.FLOW, 60 * _FOOT**3),
    "m3": Unit(Dimension.VOLUME, 1.0),
    "Nm3": Unit(Dimension.VOLUME, 1.0),
    "l": Unit(Dimension.VOLUME, 0.001),
    "ft3": Unit(Dimension.VOLUME, _FOOT**3),
    "m/s": Unit(Dimension.VELOCITY, 1.0),
    "ft/s": Unit(Dimension.VELOCITY, _FOOT),
    "ft/min": Unit(Dimension.VELOCITY, _FOOT / 60),
    "bar": Unit(Dimension.PRESSURE, 1.0),
    "mbar": Unit(Dimension.PRESSURE, 0.001),
    "hPa": Unit(Dimension.PRESSURE, 0.001),
    "kPa": Unit(Dimension.PRESSURE, 0.01),
    "MPa": Unit(Dimension.PRESSURE, 10.0),
    "Pa": Unit(Dimension.PRESSURE, 0.00001),
    "psi": Unit(Dimension.PRESSURE, 0.0689475729),
    "degC": Unit(Dimension.TEMPERATURE, 1.0),
    "K": Unit(Dimension.TEMPERATURE, 1.0, -273.15),
    "degF": Unit(Dimension.TEMPERATURE, 5 / 9, -160 / 9),
    "mm": Unit(Dimension.LENGTH, 1.0),
    "cm": Unit(Dimension.LENGTH, 10.0),
    "m": Unit(Dimension.LENGTH, 1000.0),
    "in": Unit(Dimension.LENGTH, 25.4),
    "s": Unit(Dimension.TIME, 1.0),
    "ms": Unit(Dimension.TIME, 0.001),
    "min": Unit(Dimension.TIME, 60.0),
    "h": Unit(Dimension.TIME, 3600.0),
}
