"""How long a meter's own memory lasts and what was fetched of it, from the archive alone.

50,000 records every 5 s last 250,000 s, 69 h 26 min 40 s. A thousand were fetched from 4 May 2026, 00:00 UTC
on: the newest is of 01:23:15. Constructed; `memory plan` has the same arithmetic.
"""

from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from readout.daemon.health.health import health
from readout.daemon.health.meter_memory import MeterMemory
from readout.daemon.health.shortfalls import shortfalls
from storage.archive import Archive
from storage.ledger import Kind

COUNT, EVERY_MS, LASTS_MS = 1000, 5000, 250_000_000
RING = """\
  oldest: {{input: 40, type: uint32}}
  next: {{input: 42, type: uint32}}
  when_full: overwrite oldest
"""


def asked(hall: ModuleType, root: Path, now_ms: int, log: str, *lines: tuple[Kind, str, Any]) -> MeterMemory:
    """An archive with a live row, the thousand records, and lines of the ledger at a time; its memory."""
    first = hall.ms("2026-05-04T00:00Z")
    text = hall.MAP.replace(
        "readings:", log.format(holds="sample", marked_at="start", reading="flow") + "readings:"
    )
    times = [first + EVERY_MS * n for n in range(COUNT)]
    hall.memory(root, times, [1.0] * COUNT, EVERY_MS, holds="sample", marked_at="start")
    clock = [now_ms]
    with Archive.open(root, utc=lambda: clock[0] / 1000) as archive:
        hall.fill(archive, hall.record(60_000, map_text=text), [first], lambda _: (1.0, 7000, 1))
        for kind, at, content in lines:
            clock[0] = hall.ms(at)
            archive.ledger.append(kind, {"point": hall.POINT, **content})
    found = health(root, now_ms).points[hall.POINT].memory
    assert found is not None
    return found


def test_a_ring_overwrites_the_first_record_that_was_not_fetched(hall: ModuleType, root: Path) -> None:
    """Record 1000 is written at 01:23:20; 50,000 intervals later record 51,000 takes its place."""
    ring = hall.LOG.replace("  when_full: stop\n", RING)
    now_ms = hall.ms("2026-05-05T00:00Z")
    fetch = (Kind.RETRIEVED, "2026-05-04T01:24Z", {"expected": COUNT})
    found = asked(hall, root, now_ms, ring, fetch)
    assert (found.capacity, found.is_ring, found.interval_ms, found.lasts_s) == (50_000, True, 5000, 250_000)
    assert found.fetched_ms == hall.ms("2026-05-04T01:24Z")
    assert found.newest_ms == hall.ms("2026-05-04T01:23:15Z")
    assert found.until_ms == hall.ms("2026-05-04T01:23:20Z") + LASTS_MS
    assert found.until_ms is not None
    near = [found.is_near(found.until_ms - left) for left in (LASTS_MS // 10, LASTS_MS // 10 - 1, -1)]
    assert near == [False, True, True]


@pytest.mark.parametrize(
    ("lines", "until"),
    [
        # 49,000 places were left behind the newest record, of 01:23:15: 245,000 s.
        ([(Kind.RETRIEVED, "2026-05-04T01:24Z", {"expected": COUNT})], "2026-05-06T21:26:35Z"),
        # Emptied at 02:00: 250,000 s from there.
        ([(Kind.RETRIEVED, "2026-05-04T01:24Z", {"expected": COUNT}),
          (Kind.SETTING, "2026-05-04T02:00Z", {"name": "erase"})], "2026-05-06T23:26:40Z"),
        ([], None),
    ],
)  # fmt: skip
def test_a_memory_that_stops_has_the_places_that_were_left(
    hall: ModuleType, root: Path, lines: list[Any], until: str | None
) -> None:
    found = asked(hall, root, hall.ms("2026-05-05T00:00Z"), hall.LOG, *lines)
    assert not found.is_ring
    assert found.until_ms == (None if until is None else hall.ms(until))


def test_a_memory_that_is_nearly_lost_falls_short(hall: ModuleType, root: Path) -> None:
    """Said for each kind, before and after; never fetched is no shortfall."""
    now_ms = hall.ms("2026-05-05T00:00Z")
    asked(hall, root, now_ms, hall.LOG)
    found = health(root, now_ms)
    point = found.points[hall.POINT]

    def told(memory: MeterMemory) -> str:
        changed = replace(found, points={hall.POINT: replace(point, memory=memory)})
        return " ".join(line for line in shortfalls(changed, 0.0, now_ms) if "memory" in line)

    ring = MeterMemory(50_000, True, EVERY_MS, now_ms - 1, now_ms - 1, now_ms + hall.HOUR)
    assert "will overwrite records that were never fetched, from 2026-05-05T01:00Z on" in told(ring)
    assert "may have overwritten" in told(replace(ring, until_ms=now_ms - 1))
    assert "will be full at 2026-05-05T01:00Z" in told(replace(ring, is_ring=False))
    assert "may have been full since" in told(replace(ring, is_ring=False, until_ms=now_ms))
    assert told(replace(ring, until_ms=now_ms + LASTS_MS // 2)) == ""
    assert told(MeterMemory(50_000, True, EVERY_MS)) == ""
