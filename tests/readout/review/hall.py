"""An invented header meter of the Hollow Mere bottling hall, and archives filled by hand with its words.

Loaded by conftest as the fixture `hall`. Constructed: flow is a float32 at input 0-1 (m3/h), pressure in mbar
at input 2, the totaliser in tenths of a m3 at input 3-4, high word first.
"""

import struct
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.plan.plan import plan_round, polled_values
from readout.sealing.merge import rows_entry
from readout.sealing.record import Record, pack
from readout.sealing.seal import seal_journal
from storage.archive import Archive
from storage.journal import ClockNow, Row

POINT = "bottling-hall-header"
MAP = """\
register_map: 1
meter: Hollow Mere header meter
principle: thermal
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar(a)}}
  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, not_available: [65535]}
  total: {input: 3, type: uint32, scale: 0.1, unit: m3, totaliser: {rolls_over_at: 1000}}
"""
JOB = """\
job: 1
customer: Hollow Mere bottling hall
site: {name: Hollow Mere bottling hall, time_zone: ZONE, atmospheric_pressure: 1 bar(a)}
calendar:
  shifts: {early: "06:00-14:00", late: "14:00-22:00"}
  production: Mon-Fri
  closed: [2026-05-04]
  pressurised_hours_per_year: 8000
energy:
  {specific_power: 6.4 kW/(m3/min), at: 7 bar(g), basis: package, price: 0.25 EUR/kWh, carbon: 0.2 kg/kWh}
"""
POINT_FILE = """\
measuring_point: 1
name: NAME
job: job.yaml
role: header flow
meter: {map: map.yaml, serial_number: EX-0042}
line: {port: COM7}
pipe: {inside_diameter: 53.1 mm, diameter_set_in_meter: 53.1 mm, probe: {position: centre}}
conditions: {pressure: 7 bar(g)}
uncertainty: {velocity: {of_reading: 2 %}}
"""
MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000


def ms(text: str) -> int:
    """A moment as ms since 1970 UTC."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def record(
    every_ms: int = 1000,
    *,
    point: str = POINT,
    zone: str = "Europe/Dublin",
    job: str = JOB,
    file: str = POINT_FILE,
    map_text: str = MAP,
    **changes: Any,
) -> Record:
    """What is true of rows that come at this interval."""
    found = parse_map(map_text.encode(), "map.yaml").map
    assert found is not None
    plan = plan_round(found, polled_values(found), SerialFormat(19200, "even", 8, 1), 12)
    made = Record(
        name=point, source="live", columns=plan.columns, map_text=map_text, map_sha256=found.sha256,
        point={
            "site": "Hollow Mere bottling hall", "time_zone": zone, "serial_number": "EX-0042",
            "point_file": file.replace("NAME", point), "job_file": job.replace("ZONE", zone),
        },
        plan={"every_ms": every_ms}, meter={"identity": {}}, settings={}, line={"port": "loop"}, version="0",
    )  # fmt: skip
    return replace(made, **changes)


def words(flow: float | None, mbar: int | None, tenths: int | None) -> list[int | None]:
    """Input 0-4 as the meter sends them; None where no reply gave them."""
    first: list[int | None] = [None, None]
    if flow is not None:
        first = list(struct.unpack(">HH", struct.pack(">f", flow)))
    last: list[int | None] = [None, None] if tenths is None else [tenths >> 16, tenths & 0xFFFF]
    return [*first, mbar, *last]


def fill(
    archive: Archive,
    what: Record,
    dues: Sequence[int],
    row: Callable[[int], tuple[float | None, int | None, int | None]],
    **changes: Any,
) -> None:
    """Commit a row for each due time [ms since 1970 UTC]; `row(due)` is flow, pressure [mbar], total/10."""
    plan = archive.journal.add_plan(what.to_text())
    start = archive.journal.next_sequence(what.name, "live")
    rows = []
    for index, due in enumerate(dues):
        packed, present = pack(words(*row(due)))
        made = Row(
            point=what.name, source="live", plan=plan, due=due, time=due + 31, clock="synchronised",
            status="ok", words=packed, present=present, sequence=start + index,
        )  # fmt: skip
        rows.append(replace(made, **changes))
    archive.journal.append(rows)


def seal(archive: Archive, at: int) -> None:
    """Seal everything, by a clock that was always right."""
    seal_journal(archive, ClockNow("", at, 0, "synchronised"))


def every(step_ms: int, begin: str, end: str) -> list[int]:
    """Due times from one moment to another, which is not part of it."""
    return list(range(ms(begin), ms(end), step_ms))


def memory(
    root: Path,
    times: Iterable[int],
    flow: Sequence[float | None],
    interval_ms: int,
    *,
    holds: str,
    marked_at: str,
    zone: str = "Europe/Dublin",
    point: str = POINT,
    map_text: str = MAP,
    reading: str = "flow",
    session: int = 1,
    first: int = 1,
) -> None:
    """A sealed file of records of a meter's memory, one session; `first` is the sequence of its first row."""
    import json

    log = LOG.format(holds=holds, marked_at=marked_at, reading=reading)
    text = map_text.replace("readings:", log + "readings:")
    what = record(map_text=text, zone=zone, point=point, source="memory")
    moments = list(times)
    count = len(moments)
    table = pa.table(
        {
            "sequence": pa.array(range(first, first + count), pa.int64()),
            "time": pa.array(moments, pa.timestamp("ms", "UTC")),
            "meter_time": pa.array(moments, pa.timestamp("ms", "UTC")),
            "time_flag": pa.array([None] * count, pa.string()),
            "session": pa.array([session] * count, pa.int64()),
            "record": pa.array(range(count), pa.int64()),
            reading: pa.array(flow, pa.float64()),
        }
    )
    about = {
        "holds": holds, "marked_at": marked_at, "clock": "utc",
        "sessions": {str(session): {"interval_ms": interval_ms, "first": 0}},
    }  # fmt: skip
    metadata = what.metadata(rows_entry(table)) | {"pipeledger.memory": json.dumps(about)}
    with Archive.open(root) as archive:
        archive.seal(
            table, point=point, source="memory", date=datetime.fromtimestamp(moments[0] / 1000).date(),
            first_sequence=first, last_sequence=first + count - 1, metadata=metadata,
        )  # fmt: skip


LOG = """\
log_memory:
  capacity: 50000
  when_full: stop
  holds: {holds}
  marked_at: {marked_at}
  record:
    registers: 1
    fields:
      {reading}: {{at: 0, type: uint16, scale: 0.1, unit: m3/h}}
  reached_by:
    registers: {{input: 1000, records_per_bank: 1000, bank: {{holding: 9}}}}
"""
