"""Memories that lag, move, repeat, refuse and lose replies: every record once, or its loss stated."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from simulators.log_memory import LogOptions

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
MOVING = "{window: {pointer: {holding: 400}, data: {holding: 401}, records: 10, advance: by read}}"
BLIND = "{window: {pointer: {holding: 82}, data: {holding: 401}, records: 10}}"
QUEUE = "{queue: {address: 600, advance: by read}}"
NUMBERED = """\
  record:
    registers: 4
    fields:
      number: {at: 0, type: uint16}
      flow: {at: 1, type: uint16, scale: 0.1, unit: kg/h, not_available: [65535]}
      temperature: {at: 2, type: int16, scale: 0.1, unit: degC}
      check: {at: 3, type: crc16}
"""
COUNTED = "  capacity: 500\n  oldest: {input: 96}\n  next: {input: 98}\n  count: {input: 100}\n"


def stopped(records: int, faults: str = "") -> LogOptions:
    return LogOptions.prefilled(records, 5.0, recording=False, faults=faults)


@pytest.mark.parametrize(
    ("way", "faults"),
    [
        ("window", "pointer ignored x2 at 60"),
        ("window", "pointer moves 1 x2 at 60"),
        ("window", "window lags 2 at 60"),
        (MOVING, "repeats at 80"),
        (MOVING, "reply lost x2 at 50"),
        (MOVING, "window lags 2 at 60"),
        (BLIND, "pointer ignored at 60"),
        ("registers", "refused 4 at 60"),
        ("files", "reply lost x2 at 60"),
        ("files", "file inner length at 60"),
        ("files", "file outer length at 60"),
        ("files", "file reference at 60"),
        ("files", "file zero length at 60"),
        ("queue", "queue count at 60"),
        ("queue", "pointer ignored at 60"),
    ],
)
def test_a_meter_that_errs_now_and_then_gives_every_record_once(
    hall: Callable[..., Any], memory: SimpleNamespace, way: str, faults: str
) -> None:
    text = memory.map_text(way, memory=COUNTED, record=NUMBERED)
    place = hall(text, stopped(200, faults))
    visit = place.fetch()
    assert visit.retrieved.gaps == []
    assert visit.retrieved.ended is None
    found, truth = place.rows(), place.meter.log.truth()
    assert found["record"] == truth.number.tolist()
    for name in ("flow", "temperature"):
        assert found[name] == truth.values[name].data.tolist()


def test_what_a_queue_that_moves_on_lost_is_stated_by_number(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """Seven records of four registers a reply; two replies do not arrive, and their records are gone."""
    place = hall(
        memory.map_text(QUEUE, memory=COUNTED, record=NUMBERED),
        stopped(200, "reply lost at 70; reply lost at 140"),
    )
    visit = place.fetch()
    found = place.rows()["record"]
    lost = [number for gap in visit.document["gaps"] for number in range(gap["first"], gap["last"] + 1)]
    assert len(lost) == 14
    assert sorted([*found, *lost]) == list(range(200))
    assert not visit.retrieved.complete


def test_the_water_meters_ring_in_files(hall: Callable[..., Any]) -> None:
    """The demonstration's second meter: low word first, numbers from 1, a ring that goes on, BCD times by the
    site's clock, a total in two parts with a unit that the meter tells."""
    text = (DEMO / "rinse-water-meter.yaml").read_text(encoding="utf-8")
    place = hall(text, LogOptions.prefilled(4300, 60.0))
    visit = place.fetch()
    truth, found = place.meter.log.truth(), place.rows()
    assert visit.retrieved.complete
    assert visit.document["records_new"] >= 3990
    row = {number: at for at, number in enumerate(truth.number.tolist())}
    for at, number in enumerate(found["record"]):
        if number in row:
            assert abs(found["time"][at] - truth.time_ms[row[number]]) <= 1000
    for name, held in truth.values.items():
        kept = dict(zip(found["record"], found[name], strict=True))
        for number, at in row.items():
            if number in kept and held.available[at]:
                assert kept[number] == pytest.approx(held.data[at].item(), rel=1e-12), name
    again = place.fetch()
    assert again.document["records_new"] <= 2
    assert again.document["records_changed"] == 0


def test_a_ring_that_was_erased_is_a_new_session_and_no_endless_gap(hall: Callable[..., Any]) -> None:
    """Its 32-bit numbers cannot have turned between two visits."""
    text = (DEMO / "rinse-water-meter.yaml").read_text(encoding="utf-8")
    place = hall(text, LogOptions.prefilled(300, 60.0))
    switched_on = place.clock.monotonic()
    before = place.fetch().document["records_new"]
    place.meter.log.recorder.erase_and_go_on(place.clock.monotonic() - switched_on)
    place.clock.advance(630.0)
    visit = place.fetch()
    new = visit.document["records_new"]
    assert (visit.retrieved.restarted, visit.document["gaps"]) == (1, [])
    assert new == visit.document["expected"] >= 9
    assert place.rows()["session"] == [1] * before + [2] * new
