"""Readings as a person reads them: a small table for a screen, one line for a pipe or a log."""

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from protocols.units import printed
from readout.cli.output import columns
from readout.clock import iso

if TYPE_CHECKING:
    import pyarrow as pa

    from readout.cli.read import Result

#: Shown where a meter has no value to give.
NOTHING = "–"


def text_of(result: "Result") -> str:
    """A heading with time and status, then a line a reading: name, value, unit, remarks."""
    heading = f"{result.point.name}  {site_time(result)}  {result.status.value}"
    if result.found is None:
        return heading
    conditions = result.conditions()
    gauges = {value.name: value.gauge for value in result.point.map.readings}
    rows = [
        (
            f"  {name}",
            value_text(reading["value"]),
            unit_text(reading["unit"], gauge=gauges[name]),
            _remarks(reading, conditions.get(name)),
        )
        for name, reading in result.readings().items()
    ]
    return "\n".join([heading, *columns(rows, right=frozenset({1}))])


def line_of(result: "Result") -> str:
    """Everything on one line, for a pipe or a log."""
    heading = f"{iso(result.utc)} {result.point.name} {result.status.value}"
    if result.found is None:
        return f"{heading}: {result.reason}"
    conditions = result.conditions()
    gauges = {value.name: value.gauge for value in result.point.map.readings}
    readings = []
    for name, reading in result.readings().items():
        unit = unit_text(reading["unit"], gauge=gauges[name])
        remarks = _remarks(reading, conditions.get(name))
        said = f"{name} {value_text(reading['value'])} {unit}".rstrip()
        readings.append(f"{said} ({remarks})" if remarks else said)
    return f"{heading}: {'; '.join([*readings, result.reason] if result.reason else readings)}"


def stored_text(row: "pa.Table") -> list[str]:
    """One sealed row (a table of one) as lines: its due time, then its readings, from the file alone."""
    (held,) = row.to_pylist()
    lines = []
    for column in row.schema:
        about = {key.decode(): text.decode() for key, text in (column.metadata or {}).items()}
        if "register" in about:
            value = _stored_value(held[column.name], about.get("words"), single=column.type == "float")
            unit = held.get(f"{column.name}_unit") or about.get("unit", "")
            remarks = [f"at {printed(about['reference'])}"] if "reference" in about else []
            remarks += [held[f"{column.name}_flag"]] if held.get(f"{column.name}_flag") else []
            lines.append(
                (f"  {column.name}", value_text(value), unit_text(unit, gauge=False), "; ".join(remarks))
            )
    heading = f"  due {held['due']:%Y-%m-%d %H:%M:%S} UTC, status {held['status']}"
    return [heading, *columns(lines, right=frozenset({1}))]


def _stored_value(value: Any, words: str | None, *, single: bool) -> Any:
    """A stored value as `value_text` wants it: codes and bits by their words, float32 as short as it is."""
    if value is None:
        return None
    named = json.loads(words) if words else {}
    if "codes" in named:
        return named["codes"].get(str(value), f"unknown({value})")
    if "bits" in named:
        on = [n for n in range(int(value).bit_length()) if value >> n & 1]
        return [named["bits"].get(str(n), f"bit{n}") for n in on]
    if single:
        import numpy as np

        return float(str(np.float32(value)))
    return value


def value_text(value: Any) -> str:
    """A number without noise, words as they are, a list of words or "none", a dash for no value."""
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, list):
        return ", ".join(value) or "none"
    if isinstance(value, float):
        return f"{value:.15g}" if abs(value) < 1e12 else repr(value)
    return str(value)


def unit_text(unit: str | None, *, gauge: bool) -> str:
    """The unit as people write it, nothing for a plain number's 1; a gauge pressure says so."""
    told = "" if unit is None or unit == "1" else printed(unit)
    return f"{told}(g)" if told and gauge and not told.endswith("(g)") else told


def site_time(result: "Result") -> str:
    """The reading's moment in the site's time zone, with its offset."""
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    moment = datetime.fromtimestamp(result.utc, UTC).astimezone(ZoneInfo(result.point.time_zone))
    return moment.strftime("%Y-%m-%d %H:%M:%S %z")


def _remarks(reading: Mapping[str, Any], conditions: str | None) -> str:
    """Reference conditions, which say nothing where there is no value, and the flag."""
    said = [f"at {printed(conditions)}"] if conditions and reading["value"] is not None else []
    if reading["flag"]:
        said.append(reading["flag"])
    return "; ".join(said)
