"""The meter at a point as the memory's commands meet it: its line open, its memory described, who it is."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from readout.errors import FellShort, NothingTrusted, PortError, WrongUse

#: The line is listened to this long [s] behind each look at the meter's clock.
LISTENED_S = 0.06
#: A bad line must not end a visit before it has begun: so often is a meter asked who it is.
INTRODUCTIONS = 3

if TYPE_CHECKING:
    from protocols.modbus.requests import Request
    from protocols.register_map.memory_model import LogMemory
    from readout.bus.exchange import Line
    from readout.bus.outcome import Outcome
    from readout.clock import Clock
    from readout.daemon.points import PointToRecord
    from readout.poll.introduction import Introduction


@dataclass(frozen=True)
class MemoryMeter:
    """A point, its open line, and what its meter told of itself.

    `serial`: as told, else the point file's. `clock_offset_s`: meter minus computer, None where it was not
    measured; it was at `measured_utc_s`. `meter_now_ms`: what its clock shows, ms since 1970 by that clock.
    `interval_ms`: its setting `log_interval`.
    """

    point: "PointToRecord"
    memory: "LogMemory"
    line: "Line"
    told: "Introduction"
    serial: str | None
    clock_offset_s: float | None
    measured_utc_s: float
    meter_now_ms: int | None
    interval_ms: int | None


@dataclass(frozen=True)
class PointWithMemory:
    """A point, and what its map says of the meter's memory."""

    point: "PointToRecord"
    memory: "LogMemory"


def point_with_memory(file: Path) -> PointWithMemory:
    """The point of a file; WrongUse where its map describes no log memory."""
    from readout.daemon.points import load_points

    (point,) = load_points([file], None)
    memory = point.map.log_memory
    if memory is None:
        raise WrongUse(
            f"{point.map_file}: the map describes no `log_memory`, so there is nothing to fetch from the "
            "meter at this point. If the meter has one, describe it as docs/maps.md shows."
        )
    return PointWithMemory(point, memory)


@contextmanager
def met(loaded: PointWithMemory, clock: "Clock", trace: Path | None) -> Iterator[MemoryMeter]:
    """Open the line and ask the meter who it is.

    Raises `PortError`, and where it does not answer `FellShort`, or `NothingTrusted` where what came cannot
    be trusted.
    """
    from readout.bus.trace import Trace
    from readout.daemon.connect import connector

    kept = Trace(trace, clock) if trace else None
    line = None
    try:
        line = connector(clock, kept)([loaded.point])
        yield introduced(loaded, line, clock)
    finally:
        if line is not None:
            line.close()
        if kept is not None:
            kept.close()


def _refuse_unheard(point: "PointToRecord", told: "Introduction") -> None:
    from readout.bus.outcome import Status

    if told.status is Status.PORT_LOST:
        raise PortError("lost", told.text)
    if told.status is Status.NO_REPLY:
        raise FellShort(f"{point.name}: the meter does not answer. {told.text}")
    if told.status in (Status.DAMAGED_REPLY, Status.WRONG_REPLY):
        raise NothingTrusted(f"{point.name}: no reply of the meter could be trusted. {told.text}")


def introduced(loaded: PointWithMemory, line: "Line", clock: "Clock") -> MemoryMeter:
    """The meter on an open line, after it told who it is; see `met` for what is raised."""
    from zoneinfo import ZoneInfo

    from readout.bus.outcome import Status
    from readout.daemon.computer_clock import ClockQuality, clock_quality
    from readout.daemon.identity import SERIAL_NUMBER
    from readout.poll.introduction import introduce
    from readout.retrieve.meter_clock import clock_of, clock_offset, watch_clock

    point, memory = loaded.point, loaded.memory
    for _ in range(INTRODUCTIONS):
        told = introduce(line, point.map, point.format, point.unit_address, point.polled.manners, clock)
        if told.status not in (Status.DAMAGED_REPLY, Status.WRONG_REPLY):
            break
    _refuse_unheard(point, told)
    serial = told.meter.get(SERIAL_NUMBER)
    shown = clock_of(point.map)
    seen = None
    if shown is not None:
        polled = point.polled

        def ask(request: "Request") -> "Outcome":
            outcome = line.transact(polled.unit, request, polled.manners)
            return line.settle([outcome], clock.monotonic() + LISTENED_S)[0]

        seen = watch_clock(ask, shown, point.map.wire, clock)
    offset_s = None
    if seen is not None and clock_quality(seen.at_utc_s) is not ClockQuality.UNSET:
        offset_s = clock_offset(seen, memory.clock, ZoneInfo(point.time_zone))
    return MemoryMeter(
        point, memory, line, told,
        point.point.meter.serial_number if serial is None else str(serial),
        offset_s,
        clock.utc() if seen is None else seen.at_utc_s,
        None if seen is None else seen.shown_ms(clock.utc()),
        _interval_ms(told),
    )  # fmt: skip


def _interval_ms(told: "Introduction") -> int | None:
    """The setting `log_interval`, where it is a number of a unit of time."""
    from protocols.log_memory.state import UNIT_MS

    found = told.settings.get("log_interval", {})
    value, unit = found.get("value"), found.get("unit") or "s"
    if not isinstance(value, int | float) or unit not in UNIT_MS:
        return None
    return round(value * UNIT_MS[unit])
