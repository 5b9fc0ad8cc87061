"""How every point stands now, as plain data for a page, and numbered so that only changes are sent."""

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from protocols.register_map.model import Value
from protocols.units import Dimension, unit_of
from readout.bus.outcome import Status
from readout.daemon.live.told import Told, ToldReading
from readout.daemon.points import PointToRecord

#: Figures shown of a number whose meter does not say how many it has.
FIGURES = 5
#: Whole numbers beyond this are not exact in a browser (IEEE 754: 2^53).
_EXACT = 1 << 53


@dataclass
class PointNow:
    """One point. `counts` are rows by status since this process began.

    `good` is the last row with values; `lacking_since_ms` the due time of the first of `lacking` rows
    without any, up to now; `lacking_status` the newest status of theirs that is not a round left out.
    """

    facts: PointToRecord
    last: Told | None = None
    good: Told | None = None
    lacking: int = 0
    lacking_since_ms: int | None = None
    lacking_status: str | None = None


class Board:
    """Written by one thread, read by any."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._points: dict[str, PointNow] = {}
        self._counts: dict[tuple[str, str], int] = {}
        self._version = 0
        self._changed: dict[str, int] = {}

    def begin(self, points: Sequence[PointToRecord]) -> None:
        """A run begins with these points; what is known of those that stay is kept."""
        with self._lock:
            self._version += 1
            before = self._points
            self._points = {
                point.name: PointNow(point)
                if (kept := before.get(point.name)) is None
                else replace(kept, facts=point)
                for point in points
            }
            self._changed = dict.fromkeys(self._points, self._version)

    def add(self, told: Told) -> None:
        """A row has become durable."""
        with self._lock:
            point = self._points.get(told.point)
            if point is None:
                return
            self._version += 1
            self._changed[told.point] = self._version
            key = (told.point, told.status)
            self._counts[key] = self._counts.get(key, 0) + 1
            point.last = told
            if told.has_values:
                point.good, point.lacking = told, 0
                point.lacking_since_ms = point.lacking_status = None
            else:
                point.lacking += 1
                point.lacking_since_ms = point.lacking_since_ms or told.due_ms
                # A silent meter is asked seldom: what it is silent about stays the news.
                if point.lacking_status is None or told.status != Status.SKIPPED:
                    point.lacking_status = told.status

    @property
    def version(self) -> int:
        """Grows with every change."""
        return self._version

    def facts(self) -> list[PointToRecord]:
        """The points that are recorded now."""
        with self._lock:
            return [point.facts for point in self._points.values()]

    def rows(self) -> tuple[dict[str, Told], dict[tuple[str, str], int]]:
        """Of one moment: every point's last row; rows by (point, status) since this process began."""
        with self._lock:
            newest = {name: point.last for name, point in self._points.items() if point.last is not None}
            return newest, dict(self._counts)

    def since(self, version: int) -> tuple[int, list[dict[str, Any]]]:
        """The version now, and the points that have changed after `version` (all after 0)."""
        with self._lock:
            changed = [
                _as_json(point)
                for name, point in self._points.items()
                if self._changed.get(name, 0) > version
            ]
            return self._version, changed


def main_reading(values: Sequence[Value]) -> str | None:
    """The reading that is shown largest: the first volume flow, else mass flow, else the first of all."""
    for wanted in (Dimension.VOLUME_FLOW, Dimension.MASS_FLOW):
        for value in values:
            unit = unit_of(value.unit) if value.unit else None
            if unit is not None and unit.dimension is wanted and value.totaliser is None:
                return value.name
    return values[0].name if values else None


def _as_json(point: PointNow) -> dict[str, Any]:
    facts = point.facts
    values = {value.name: value for value in facts.map.readings}
    return {
        "name": facts.name,
        "site": facts.point.site.name,
        "zone": facts.time_zone,
        "meter": facts.map.meter,
        "every_ms": facts.every_ms,
        "main": main_reading(facts.map.readings),
        "charts": [value.name for value in values.values() if _is_number(value)],
        "last": None if point.last is None else _row(point.last, values),
        "good": None if point.good is None or point.good is point.last else _row(point.good, values),
        "lacking": point.lacking,
        "lacking_since_ms": point.lacking_since_ms,
        "lacking_status": point.lacking_status,
    }


def _row(told: Told, values: Mapping[str, Value]) -> dict[str, Any]:
    return {
        "sequence": told.sequence, "due_ms": told.due_ms, "time_ms": told.time_ms, "clock": told.clock,
        "status": told.status, "cause": told.cause,
        "readings": [
            {
                "name": reading.name, "text": shown(reading, values.get(reading.name)), "unit": reading.unit,
                "flag": reading.flag, "reference": reading.reference,
            }
            for reading in told.readings
        ],
    }  # fmt: skip


def _is_number(value: Value) -> bool:
    return value.unit is not None or value.told_unit is not None


def shown(reading: ToldReading, value: Value | None) -> str | None:
    """A reading's value for a screen, None where there is none; a number always with as many decimals.

    As many as the map's scale gives; of a float the figures that matter. A total is never shortened.
    """
    told = reading.value
    if told is None:
        return None
    if isinstance(told, bool):
        return "on" if told else "off"
    if isinstance(told, list):
        return ", ".join(told) or "none"
    if isinstance(told, float):
        if value is not None and value.number.scale.as_tuple().exponent != 0 and not value.plus:
            return f"{told:.{_decimals(value)}f}"
        if value is not None and value.totaliser is not None:
            return f"{told:.12g}"
        return _figures(told)
    return str(told)


def _decimals(value: Value) -> int:
    exponent = value.number.scale.normalize().as_tuple().exponent
    return max(0, min(9, -exponent)) if isinstance(exponent, int) else 0


def _figures(number: float) -> str:
    size = abs(number)
    if size != 0 and not 1e-4 <= size < 1e9:
        return f"{number:.{FIGURES}g}"
    whole = len(str(int(size)))
    return f"{number:.{max(0, FIGURES - whole)}f}"
