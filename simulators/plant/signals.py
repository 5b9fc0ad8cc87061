"""What the sensors of a simulated meter show: the plant's truth through a sensor, or a generic signal.

A reading gets its signal by its unit, so any map has moving values. The plant's flow counts at the map's own
reference conditions. Flow and velocity carry the same noise, because one sensor measures both.
"""

import math
import zlib
from decimal import Decimal

from protocols.register_map.model import Kind, Value
from simulators.plant.air import EPOCH, AirPlant
from simulators.plant.source import Moment, Quantity, scatter
from simulators.plant.units import UNITS, Dimension

#: A sensor gives a new number this often, in seconds; between two, it shows the last.
UPDATE = 0.25

#: Largest noise and the smallest step of each sensor, in the dimension's unit; flow's noise is a share.
FLOW_NOISE, PRESSURE_NOISE, TEMPERATURE_NOISE = 0.004, 0.002, 0.05
STEPS = {Dimension.FLOW: 0.01, Dimension.PRESSURE: 0.001, Dimension.TEMPERATURE: 0.01}

#: Where a map gives no span, generic signals move between these.
GENERIC_LOW, GENERIC_HIGH = 10.0, 90.0


#: A number of its own for each dimension.
_CHECKS = {dimension: zlib.crc32(dimension.name.encode()) for dimension in Dimension}


class PlantValues:
    """The readings of a meter fitted to `plant`; see `Source`. Deterministic by the plant's seed."""

    def __init__(self, plant: AirPlant | None = None) -> None:
        """`plant` defaults to the invented bottling hall's header."""
        self.plant = AirPlant() if plant is None else plant

    def quantity(self, value: Value, unit: str | None, at: Moment) -> Quantity:
        """See `Source`: a number within the value's range, never None."""
        if value.number.kind is Kind.TEXT:
            return value.name
        if value.codes:
            return min(value.codes)
        if value.bits:
            return 0
        if value.number.kind is Kind.BIT:
            return int(self._generic(value, at, 0.0, 1.0) >= 0.5)
        known = UNITS.get(unit or "")
        measured = None if known is None else self._measured(value, known.dimension, at)
        if known is None or measured is None:
            low, high = _span(value)
            return self._generic(value, at, low, high)
        number = known.from_plant(measured)
        if value.range is not None:
            number = min(max(number, float(value.range.low)), float(value.range.high))
        return number

    def _measured(self, value: Value, dimension: Dimension, at: Moment) -> float | None:
        """What a sensor of that dimension shows, in the dimension's unit; None if the plant has none such."""
        if dimension is Dimension.VOLUME:
            return self.plant.total(at.utc)
        tick = math.floor(at.utc / UPDATE)
        flow_noise = 1 + FLOW_NOISE * self._noise(Dimension.FLOW, tick)
        if dimension is Dimension.FLOW:
            return _stepped(self.plant.flow(tick * UPDATE) * flow_noise, STEPS[dimension])
        truth = self.plant.truth(tick * UPDATE)
        if dimension is Dimension.VELOCITY:
            velocity = self.plant.velocity(_stepped(truth.flow * flow_noise, STEPS[Dimension.FLOW]))
            return velocity * (truth.actual_velocity / truth.velocity if value.basis == "actual" else 1.0)
        if dimension is Dimension.PRESSURE:
            base = truth.pressure if value.gauge else truth.pressure + self.plant.atmosphere
            return _stepped(base + PRESSURE_NOISE * self._noise(dimension, tick), STEPS[dimension])
        if dimension is Dimension.TEMPERATURE:
            noise = TEMPERATURE_NOISE * self._noise(dimension, tick)
            return _stepped(truth.temperature + noise, STEPS[dimension])
        return None

    def _noise(self, dimension: Dimension, tick: int) -> float:
        return scatter(noise_seed(self.plant.seed, dimension), tick)

    def _generic(self, value: Value, at: Moment, low: float, high: float) -> float:
        """A wave between `low` and `high`, each name with a period of its own; a totaliser counts up."""
        if value.totaliser is not None:
            return math.floor(at.utc - EPOCH) / 10
        name = zlib.crc32(value.name.encode())
        period = 40 + name % 200  # s
        return low + (high - low) * (0.5 + 0.5 * math.sin(2 * math.pi * (at.utc / period + name % 7 / 7)))


def noise_seed(seed: int, dimension: Dimension) -> int:
    """Which noise the sensor of a dimension has."""
    return seed + _CHECKS[dimension]


def _span(value: Value) -> tuple[float, float]:
    """Where a generic signal moves: the inner four fifths of the range, if there is one."""
    if value.range is None:
        return GENERIC_LOW, GENERIC_HIGH
    low, high = float(value.range.low), float(value.range.high)
    return low + (high - low) / 10, high - (high - low) / 10


def _stepped(number: float, step: float) -> float:
    """The nearest multiple of `step`, without binary dust: 7.301, not 7.3010000000000002."""
    places = -Decimal(str(step)).as_tuple().exponent  # type: ignore[operator]  # a step is always finite
    return round(number, places)
