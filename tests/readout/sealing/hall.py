"""An invented meter of the Hollow Mere bottling hall, and an archive filled by hand with its raw words.

Loaded by conftest as the fixture `meter`. The words are constructed: flow is a float32 at input 0-1, high
word first; pressure an integer in mbar at input 2; a spare word at input 3.
"""

import struct
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.plan.plan import plan_round, polled_values
from readout.sealing.record import Record, pack
from readout.sealing.seal import seal_journal
from storage.archive import Archive
from storage.journal import ClockNow, Row

POINT = "bottling-hall-header"
MAP = """\
register_map: 1
meter: Hollow Mere header meter
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: float32, unit: m3/h}
  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, not_available: [65535]}
"""
MIDNIGHT = 1_777_766_400_000  # 2026-05-03T00:00Z in ms, UTC
HOUR = 3_600_000


def parsed(text: str) -> Any:
    """The map of a text that has no faults."""
    found = parse_map(text.encode(), "map.yaml")
    assert found.map is not None, found.faults
    return found.map


def record(text: str = MAP, point: str = POINT, **changes: Any) -> Record:
    """What is true of rows that were read by this map."""
    found = parsed(text)
    plan = plan_round(found, polled_values(found), SerialFormat(19200, "even", 8, 1), 12)
    made = Record(
        name=point, source="live", columns=plan.columns, map_text=text, map_sha256=found.sha256,
        point={"site": "Hollow Mere bottling hall"}, plan={"every_ms": 1000}, meter={"identity": {}},
        settings={}, line={"port": "loop"}, version="0",
    )  # fmt: skip
    return replace(made, **changes)


def words_of(flow: float, mbar: int) -> list[int]:
    """Input 0-2 as the meter sends them."""
    return [*struct.unpack(">HH", struct.pack(">f", flow)), mbar]


def fill(
    archive: Archive,
    what: Record,
    dues: Sequence[int],
    words: Callable[[int], Sequence[int | None]],
    **changes: Any,
) -> None:
    """Commit a row for each due time [ms since 1970 UTC]; `words(i)` are those of row i."""
    plan = archive.journal.add_plan(what.to_text())
    start = archive.journal.next_sequence(what.name, "live")
    rows = []
    for index, due in enumerate(dues):
        packed, present = pack(words(index))
        row = Row(
            point=what.name, source="live", plan=plan, due=due, time=due + 31, clock="synchronised",
            status="ok", words=packed, present=present, sequence=start + index,
        )  # fmt: skip
        rows.append(replace(row, **changes))
    archive.journal.append(rows)


def seal(archive: Archive) -> None:
    """Seal everything, by a clock that was always right."""
    seal_journal(archive, ClockNow("", MIDNIGHT, 0, "synchronised"))


def hours(root: Path, count: int, rows: int = 5, what: Record | None = None) -> None:
    """Seal `count` hours from midnight on, a file each, `rows` seconds of each hour; flow counts up."""
    with Archive.open(root) as archive:
        for hour in range(count):
            dues = [MIDNIGHT + hour * HOUR + second * 1000 for second in range(rows)]
            fill(archive, what or record(), dues, lambda i, h=hour: words_of(h * rows + i + 0.5, 7000 + i))
            seal(archive)
