"""What lies in a meter's registers at one instant, and what becomes of a write."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from protocols.errors import RequestError
from protocols.log_memory.state import UNIT_MS
from protocols.modbus.exceptions import ExceptionCode
from protocols.register_map.checks.kinds import begins_again_at
from protocols.register_map.model import Column, Kind, Number, RegisterMap, Value
from protocols.values.decode import Words, decode
from protocols.values.encode import encode
from simulators.device.defaults import first_known, identity, setting
from simulators.device.image import Image
from simulators.device.recording import INTERVAL
from simulators.log_memory import SimulatedLog
from simulators.meter_clock import MeterClock
from simulators.plant import Moment, Quantity, Source
from simulators.refused import Refused

_MOMENTS = (Kind.UNIX_TIME, Kind.CALENDAR)

#: Powers of ten a meter tries for a number with its exponent in a register, the finest first …
_POWERS = (-3, -2, -1, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
#: … and how many times its first reading the number must still be able to hold.
_HEADROOM = 4


class Memory:
    """Settings and identity are kept as words; readings are asked of the source, clocks of the time."""

    def __init__(
        self,
        register_map: RegisterMap,
        image: Image,
        source: Source,
        unit_address: int,
        clock: MeterClock,
        log: SimulatedLog | None,
    ) -> None:
        """Fill in who the meter is and how it is set. The log memory's registers are `log`'s own."""
        self._map = register_map
        self._image = image
        self._source = source
        self._clock = clock
        self._log = log
        self._powers: dict[Number, int] = {}
        self._units = _told_units(register_map)
        self._last: dict[str, tuple[Quantity, dict[Column, int]]] = {}
        self._stored: dict[Column, int] = {}
        kept: list[tuple[Value, Quantity]]
        kept = [(value, setting(value)) for value in register_map.told_conditions()]
        kept += [(value, identity(value, register_map, unit_address)) for value in register_map.identity]
        kept += [(v, self._setting(v)) for v in register_map.settings if v.number.kind not in _MOMENTS]
        for value, quantity in kept:
            self._stored |= self._words(value, quantity)

    def read(self, columns: Sequence[Column], at: Moment) -> list[int]:
        """The words of `columns`, all of the same instant; 0 where the map lists nothing."""
        found: dict[Column, int] = {} if self._log is None else self._log.read(columns)
        for column in columns:
            if column not in found and column not in self._stored:
                for value in self._image.owners.get(column, ()):
                    found = self._now(value, at) | found
        return [self._stored.get(column, found.get(column, 0)) for column in columns]

    def write(self, words: Mapping[Column, int], at: Moment) -> None:
        """Take the words, or none of them: Refused with 02 for what is not writable, 03 for its contents.

        Part of a setting alone is taken only by meters that are written one register at a time.
        """
        touched: dict[str, Value] = {}
        logs: dict[Column, int] = {}
        for column in words:
            if column in self._image.writable:
                touched[self._image.writable[column].name] = self._image.writable[column]
            elif self._log is not None and self._log.is_writable(column):
                logs[column] = words[column]
            else:
                raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        merged = {}
        for value in touched.values():
            before = dict(zip(value.columns(), self.read(value.columns(), at), strict=True))
            after = before | {column: words[column] for column in before if column in words}
            if all(column in words for column in before):
                _check(value, after)
            elif self._map.wire.write_with != 6:
                raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
            merged[value.name] = after
        if self._log is not None and logs:
            self._log.write(logs)
        for name, after in merged.items():
            self._keep(touched[name], after, at)

    def stored_text(self, value: Value) -> bytes:
        """A kept text as its characters, for a reply that tells who the meter is."""
        return str(_decoded(value, self._stored)).encode("latin-1", "replace")

    def _setting(self, value: Value) -> Quantity:
        if value.name == INTERVAL and self._log is not None:
            return self._log.recorder.interval * 1000 / UNIT_MS.get(value.unit or "s", 1000)
        return setting(value)

    def _keep(self, value: Value, words: Mapping[Column, int], at: Moment) -> None:
        if value.number.kind in _MOMENTS:
            milliseconds = _decoded(value, words)
            if milliseconds is not None:
                self._clock.set_figures(float(milliseconds), at.running)
            return
        self._stored |= words
        if value.name == INTERVAL and self._log is not None:
            seconds = interval_s(value, words)
            if seconds is not None:
                self._log.recorder.set_interval(seconds, at.running)

    def _now(self, value: Value, at: Moment) -> dict[Column, int]:
        """The words of a reading, or of a clock, at that instant."""
        if value.number.kind in _MOMENTS:
            return self._words(value, self._clock.figures(at.running))
        unit = self._units.get(value.name, value.unit)
        quantity = self._source.quantity(value, unit, at)
        last = self._last.get(value.name)
        if last is None or last[0] != quantity:  # encoding is exact, and slow: 50 µs
            last = self._last[value.name] = (quantity, self._words(value, rolled_over(value, quantity)))
        return last[1]

    def _words(self, value: Value, quantity: Quantity | datetime) -> dict[Column, int]:
        """The words that tell `quantity`; the nearest the registers can hold where they cannot hold it."""
        unit = self._units.get(value.name)
        for tried in (quantity, *_nearest(value, quantity)):
            try:
                return encode(value, tried, exponent=self._power(value, tried), unit=unit)
            except RequestError:
                continue
        return dict.fromkeys(value.columns(), 0)

    def _power(self, value: Value, quantity: Quantity | datetime) -> int | None:
        """The power of ten a meter stands at; it stays, and values that share the register share it."""
        register = value.times_ten_to
        if register is None or not isinstance(quantity, int | float):
            return None if register is None else self._powers.get(register, 0)
        if register not in self._powers:
            self._powers[register] = next((p for p in _POWERS if _holds(value, quantity, p)), 0)
        return self._powers[register]


def interval_s(value: Value, words: Mapping[Column, int]) -> float | None:
    """The seconds that words of the setting `log_interval` mean; None for none."""
    found = _decoded(value, words)
    return None if found is None else float(found) * UNIT_MS.get(value.unit or "s", 1000) / 1000


def _told_units(register_map: RegisterMap) -> dict[str, str]:
    """The unit of each value that tells its own; values that share a unit's register share its number."""
    numbers: dict[Number, int] = {}
    units: dict[str, str] = {}
    for value in register_map.values():
        told = value.told_unit
        if told is not None and told.codes:
            wanted = first_known(told.codes.values())
            code = numbers.setdefault(told.number, next(c for c, u in told.codes.items() if u == wanted))
            units[value.name] = told.codes.get(code, wanted or "")
    return units


def rolled_over(value: Value, quantity: Quantity) -> Quantity:
    """A total as the counter shows it: less than `rolls_over_at`, and than what its registers come to."""
    if value.totaliser is None or quantity is None or isinstance(quantity, str):
        return quantity
    limits = [limit for limit in (value.totaliser.rolls_over_at, begins_again_at(value)) if limit is not None]
    if not limits:
        return quantity
    limit = min(limits)
    return quantity % float(limit) if isinstance(quantity, float) else quantity % limit


def _holds(value: Value, quantity: float, power: int) -> bool:
    try:
        encode(value, quantity * _HEADROOM, exponent=power)
    except RequestError:
        return False
    return True


def _nearest(value: Value, quantity: Quantity | datetime) -> list[Quantity]:
    """What to tell instead of a quantity that the registers cannot hold: an end of the range, or nothing."""
    if not isinstance(quantity, int | float) or value.range is None:
        return [None]
    ends = sorted((value.range.low, value.range.high), key=lambda end: abs(float(end) - quantity))
    return [*ends, None]


def _check(value: Value, words: Mapping[Column, int]) -> None:
    """Refused (03) where a real meter would not take this setting."""
    found = _decoded(value, words)
    if found is None:
        raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
    if value.number.kind in (Kind.TEXT, Kind.BIT, *_MOMENTS):
        return
    number = float(found)
    held = found.dtype.type  # 0.1 as a float32 holds it is not 0.1
    steps = not value.steps or any(number == float(held(float(step))) for step in value.steps)
    span = value.range
    inside = span is None or float(held(float(span.low))) <= number <= float(held(float(span.high)))
    if not (steps and inside and (not value.codes or int(number) in value.codes)):
        raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)


def _decoded(value: Value, words: Mapping[Column, int]) -> Any:
    """One numpy number (or str) as the map says it; None where it is not available."""
    one = {c: Words(np.array([words[c]], np.uint16), np.ones(1, np.bool_)) for c in value.columns()}
    found = decode(value, one)
    return found.data[0] if found.available[0] else None
