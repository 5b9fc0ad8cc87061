"""`meter show`: who the meter is and how it is set, and where that differs from the point file."""

from typing import TYPE_CHECKING, Any

from readout.cli.at_meter import PointFile, at_meter, raise_untrusted
from readout.cli.options import AsJson, TraceFile
from readout.cli.output import columns, say, tell, tell_json

if TYPE_CHECKING:
    from readout.daemon.points import PointToRecord
    from readout.poll.introduction import Introduction

_NOTHING = "–"


def meter_show(point: PointFile, *, trace: TraceFile = None, as_json: AsJson = False) -> int:
    """Show identity and every setting of a meter, with units, and differences to the point file.

    Only reads. Exit status 1 where something was not told or another meter answers, 3 where the port is not
    to be had, 4 where replies came and none could be trusted.
    """
    from readout.bus.outcome import Status
    from readout.clock import iso
    from readout.daemon.points import load_points
    from readout.meter.differences import differences, is_another
    from readout.poll.introduction import introduce

    (loaded,) = load_points([point], None)
    with at_meter(loaded, trace) as at:
        polled = loaded.polled
        told = introduce(at.line, loaded.map, loaded.format, polled.unit, polled.manners, at.clock)
        raise_untrusted(told.status, told.text)
        utc = at.clock.utc()
    offset = _offset_s(loaded, told, utc)
    found = differences(loaded.point, told.meter, told.settings)
    if as_json:
        settings = {
            name: {**dict(one), "writable": _writable(loaded, name)} for name, one in told.settings.items()
        }
        tell_json(
            {
                "point": loaded.name,
                "time": iso(utc),
                "status": told.status.value,
                "identity": dict(told.meter),
                "settings": settings,
                "clock_offset_s": offset,
                "differences": found,
            }
        )
    else:
        _print(loaded, told, offset)
    if told.text:
        say(told.text)
    for sentence in found:
        say(sentence)
    return 1 if told.status is not Status.OK or is_another(loaded.point, told.meter) else 0


def _writable(point: "PointToRecord", name: str) -> bool:
    return any(setting.writable for setting in point.map.settings if setting.name == name)


def _offset_s(point: "PointToRecord", told: "Introduction", utc: float) -> float | None:
    """Meter minus computer [s]; None where the meter has no clock, or the computer's was never set."""
    from zoneinfo import ZoneInfo

    from readout.daemon.computer_clock import ClockQuality, clock_quality
    from readout.meter.clock import ahead_s, kept_by

    if told.clock_offset is None or clock_quality(utc) is ClockQuality.UNSET:
        return None
    return round(told.clock_offset - ahead_s(kept_by(point.map), ZoneInfo(point.time_zone), utc), 3)


def _print(point: "PointToRecord", told: "Introduction", offset: float | None) -> None:
    from readout.cli.readings_text import unit_text, value_text

    tell(f"{point.name}: {point.map.meter}, unit address {point.unit_address} at {point.format}")
    for line in columns([(f"  {name}", value_text(value)) for name, value in told.meter.items()]):
        tell(line)
    gauges = {setting.name: setting.gauge for setting in point.map.settings}
    rows = []
    for name, one in told.settings.items():
        remarks = [one["flag"]] if one["flag"] else []
        remarks += ["can be set"] if _writable(point, name) else []
        value = value_text(one["value"])
        if name == "clock" and offset is not None:
            value = str(one["value"]).removesuffix("Z").replace("T", " ").removesuffix(".000")
            remarks.insert(0, offset_words(offset))
        unit = unit_text(one["unit"], gauge=gauges.get(name, False))
        rows.append((f"  {name}", value or _NOTHING, unit, "; ".join(remarks)))
    for line in columns(rows, right=frozenset({1})):
        tell(line)


def offset_words(offset: float) -> str:
    """`3 s behind this computer's`: a clock that shows whole seconds is up to 1 s behind when it is right."""
    if -1.5 < offset < 0.5:
        return "as this computer's"
    return f"{abs(offset):.0f} s {'ahead of' if offset > 0 else 'behind'} this computer's"


def shown(reading: dict[str, Any], *, gauge: bool) -> str:
    """A value with its unit, as a person reads it."""
    from readout.cli.readings_text import unit_text, value_text

    return f"{value_text(reading['value'])} {unit_text(reading['unit'], gauge=gauge)}".strip()
