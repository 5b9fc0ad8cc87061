"""One field of a record, over many records at once: quantities to words, and to what a reader must find.

What must be found is worked out from the whole number of smallest steps, never from the words: a word in
the wrong place or order shows as a difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protocols.errors import RequestError
from protocols.register_map.checks.kinds import begins_again_at
from protocols.register_map.model import Kind, Number, Value
from protocols.values.encode import encode
from protocols.values.types import is_as_sent
from protocols.values.words import WHOLE_LIMITS, WordTable, raw_words
from simulators.plant import Quantity
from simulators.plant.units import UNITS

_FLOATS = {Kind.FLOAT32: np.float32, Kind.FLOAT64: np.float64}
_INT64 = np.iinfo(np.int64)
_UNSCALED = (Kind.TEXT, Kind.UNIX_TIME, Kind.CALENDAR, Kind.CRC16, Kind.BIT)


@dataclass(frozen=True, slots=True)
class Told:
    """What one field of n records tells: `data` [n] (int64, float64, or objects), where `available` [n]."""

    data: NDArray[Any]
    available: NDArray[np.bool_]


class Field:
    """Writes one field of a map's record into words."""

    def __init__(self, value: Value) -> None:
        self.value = value
        told = value.told_unit
        units = () if told is None else tuple(told.codes.values())
        #: The unit the quantities are in; where the meter tells it, the first that the plant can measure in.
        self.unit = value.unit if told is None else next((u for u in units if u in UNITS), units[0])
        self._known: dict[Quantity, tuple[int, ...] | None] = {}

    @property
    def is_quick(self) -> bool:
        """Whether numbers are split over the registers without asking `encode` for each of them."""
        value = self.value
        number = value.number
        if value.times_ten_to is not None or number.kind in _UNSCALED:
            return False
        parts = (number, *value.plus)
        if any(part.kind in _FLOATS for part in parts):
            return len(parts) == 1 and number.scale == 1 and number.offset == 0
        finest = min(abs(part.scale) for part in parts)
        return all(part.scale > 0 and part.scale % finest == 0 for part in parts)

    def write(self, table: WordTable, quantities: Sequence[Quantity]) -> Told:
        """Put the field into `table` [n, registers]; what it then tells. None: no reading."""
        if not self.is_quick:
            return self._each(table, quantities)
        self._tell_unit(table)
        numbers = np.array([np.nan if q is None else float(q) for q in quantities], np.float64)
        numbers = self._rolled_over(numbers)
        available = ~np.isnan(numbers)
        wanted = np.where(available, numbers, 0.0)
        if self.value.number.kind in _FLOATS:
            told = self._floats(table, wanted)
        else:
            told = self._wholes(table, wanted)
        nothing = self._nothing()
        if nothing is None:
            return Told(told, np.ones(len(numbers), np.bool_))  # the meter has no form for it: it tells 0
        for column, word in nothing.items():
            table[~available, column] = word
        return Told(told, available)

    def _tell_unit(self, table: WordTable) -> None:
        told = self.value.told_unit
        if told is not None:
            code = next(code for code, unit in told.codes.items() if unit == self.unit)
            raw = (code - told.number.offset) / told.number.scale
            _put(table, told.number, np.full(len(table), int(raw)))

    def _rolled_over(self, numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        total = self.value.totaliser
        limits = () if total is None else (total.rolls_over_at, begins_again_at(self.value))
        limit = min((limit for limit in limits if limit is not None), default=None)
        return numbers if limit is None else numbers % float(limit)

    def _floats(self, table: WordTable, wanted: NDArray[np.float64]) -> NDArray[Any]:
        number = self.value.number
        held = wanted.astype(_FLOATS[number.kind])
        _put(table, number, held)
        return held.astype(np.float64)

    def _wholes(self, table: WordTable, wanted: NDArray[np.float64]) -> NDArray[Any]:
        parts = sorted((self.value.number, *self.value.plus), key=lambda part: -part.scale)
        step, start = parts[-1].scale, sum((part.offset for part in parts), Decimal(0))
        limits = [WHOLE_LIMITS[part.kind] for part in parts]
        ratios = [int(part.scale / step) for part in parts]
        lowest = max(sum(low * r for (low, _), r in zip(limits, ratios, strict=True)), _INT64.min)
        highest = min(sum(high * r for (_, high), r in zip(limits, ratios, strict=True)), 1 << 62)
        steps = np.rint((wanted - float(start)) / float(step))
        steps = np.clip(steps, lowest, highest).astype(np.int64)
        if len(parts) == 1:
            steps = self._beside_declared(steps)
        rest = steps.copy()
        for part, ratio, (low, high) in zip(parts, ratios, limits, strict=True):
            raw = np.clip(rest // ratio, max(low, _INT64.min), min(high, _INT64.max)).astype(np.int64)
            rest = rest - raw * ratio
            _put(table, part, raw)
        return self._exact(steps - rest, step, start)

    def _exact(self, steps: NDArray[np.int64], step: Decimal, start: Decimal) -> NDArray[Any]:
        """The doubles nearest to steps × step + start; whole numbers where nothing is scaled."""
        if is_as_sent(self.value):
            return steps
        places = max(0, -min(_exponent(step), _exponent(start)))
        factor, offset = int(step.scaleb(places)), int(start.scaleb(places))
        return np.asarray((steps * factor + offset) / float(10**places))

    def _beside_declared(self, steps: NDArray[np.int64]) -> NDArray[np.int64]:
        """A meter never shows its "no reading" by chance: it shows the number beside it."""
        for declared in self.value.not_available.numbers:
            if declared == int(declared):
                beside = -1 if declared > 0 else 1
                steps = np.where(steps == int(declared), steps + beside, steps)
        return steps

    def _nothing(self) -> dict[int, int] | None:
        try:
            found = encode(self.value, None)
        except RequestError:
            return None
        return {column.address: word for column, word in found.items()}

    def _each(self, table: WordTable, quantities: Sequence[Quantity]) -> Told:
        """One by one, each different quantity once."""
        columns = [column.address for column in self.value.columns()]
        data = np.empty(len(quantities), object)
        available = np.ones(len(quantities), np.bool_)
        for row, quantity in enumerate(self._rounded(quantities)):
            words = self._known.get(quantity)
            if words is None:
                words = self._known[quantity] = self._encoded(quantity)
            data[row] = quantity
            if words is None:
                available[row] = False
                words = (0,) * len(columns)
            available[row] &= quantity is not None
            table[row, columns] = words
        return Told(data, available)

    def _rounded(self, quantities: Sequence[Quantity]) -> Sequence[Quantity]:
        """As fine as the meter tells it: its smallest step; four digits where a power of ten goes along."""
        if self.value.number.kind in (*_UNSCALED, *_FLOATS):
            return quantities
        step = min(abs(part.scale) for part in (self.value.number, *self.value.plus))
        found: list[Quantity] = []
        for quantity in quantities:
            if quantity is None or isinstance(quantity, str):
                found.append(quantity)
            elif self.value.times_ten_to is not None:
                found.append(float(f"{float(quantity):.4g}"))
            else:
                found.append(float(round(Decimal(repr(float(quantity))) / step) * step))
        return found

    def _encoded(self, quantity: Quantity) -> tuple[int, ...] | None:
        try:
            found = encode(self.value, quantity, unit=None if self.value.told_unit is None else self.unit)
        except RequestError:
            return None
        return tuple(found[column] for column in self.value.columns())


def _exponent(number: Decimal) -> int:
    return int(number.as_tuple().exponent)  # a scale of a map is finite


def _put(table: WordTable, number: Number, raw: NDArray[Any]) -> None:
    """Raw numbers [n] into the words of their run."""
    signed_for = raw if number.kind not in (Kind.UINT64, Kind.UINT48) else raw.astype(np.uint64)
    words = raw_words(signed_for, number.kind, number.word_order, number.byte_order)
    table[:, number.address : number.address + number.words] = words
