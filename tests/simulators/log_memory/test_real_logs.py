"""Real logs, put into a meter's memory row for row, and found again record for record with their times.

Water through a pipeline branch, March to May 2022, 1,268 hourly values in litres a second, with hours that
are missing: `river.datasets.WaterFlow`. Carbon dioxide at Mauna Loa, 1958 to 2001, weekly, 59 weeks without a
value: `statsmodels.datasets.co2`. Both are loaded from their libraries.
"""

from datetime import datetime, timedelta
from itertools import pairwise
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from river import datasets

from protocols.log_memory.times import SessionClock, times_counted, times_told
from protocols.register_map.memory_model import MarkedAt
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions, Rows

HOUR, WEEK = 3600.0, 7 * 86_400.0
BERLIN = "Europe/Berlin"  # the log's own offset: +01:00 before 27 March 2022, +02:00 after
#: Weeks by which the log of Mauna Loa is put later: a clock that tells of 1958 was never set.
LATER = 3131


@pytest.fixture(scope="module")
def water() -> tuple[list[datetime], list[float]]:
    rows = list(datasets.WaterFlow())
    assert len(rows) == 1268
    return [told["Time"] for told, _ in rows], [flow for _, flow in rows]


@pytest.mark.parametrize("way", ["files", "window", "banks", "queue that moves on"])
def test_the_water_log_with_its_missing_hours_is_found_by_records_that_tell_their_time(
    logs: SimpleNamespace, clock: FakeClock, water: tuple[list[datetime], list[float]], way: str
) -> None:
    times, flows = water
    record = (
        "  record:\n    registers: 4\n    fields:\n"
        "      time: {at: 0, type: calendar, layout: [minute/second, day/hour, year/month], coding: bcd}\n"
        "      flow: {at: 3, type: uint16, scale: 0.01, unit: l/s, basis: actual}\n"
    )
    reached = {
        "files": "files: {first_file: 1, records_per_file: 400}",
        "banks": "registers: {input: 1000, bank: {holding: 84}, records_per_bank: 700}",
    }
    text = logs.map_text(
        reached.get(way, way), record=record, capacity=1300, clock="{zone: site}", holds="mean"
    )
    rows = Rows([moment.timestamp() for moment in times], {"flow": flows}, HOUR)
    options = LogOptions([rows], recording=False, site=BERLIN)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    found = logs.retrieve(meter)
    assert found.numbers == list(range(1268))
    assert found.values("flow") == flows
    shown = np.array(found.values("time"), np.int64)
    wanted = [moment.replace(tzinfo=None) for moment in times]
    assert shown.astype("datetime64[ms]").tolist() == wanted, "the figures of the log's own clock"
    session = SessionClock(meter.register_map.log_memory.clock, ZoneInfo(BERLIN), int(HOUR * 1000))
    utc = times_told(shown, np.ones(1268, np.bool_), np.arange(1268), session)
    assert utc.utc_ms.tolist() == [int(moment.timestamp() * 1000) for moment in times]
    assert utc.known.all()


def test_the_water_log_without_times_is_a_session_for_each_stretch_of_hours(
    logs: SimpleNamespace, clock: FakeClock, water: tuple[list[datetime], list[float]]
) -> None:
    times, flows = water
    record = (
        "  record: {registers: 2, fields: {flow: {at: 0, type: float32, word_order: low first, unit: l/s, "
        "basis: actual}}}\n"
    )
    sessions = logs.SESSIONS.replace("most: 6", "most: 20")
    text = logs.map_text("window", sessions, record, capacity=1300, holds="mean", marked_at="end")
    rows = Rows([moment.timestamp() for moment in times], {"flow": flows}, HOUR)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions([rows], recording=False))
    found = logs.retrieve(meter)
    assert found.walker.state is not None
    told = found.walker.state.sessions
    assert len(told) == 1 + sum(b - a != timedelta(hours=1) for a, b in pairwise(times)) == 11
    assert found.values("flow") == [float(np.float32(flow)) for flow in flows]
    utc: list[int] = []
    for session in told:
        clocked = SessionClock(meter.register_map.log_memory.clock, None, session.interval_ms)
        places = np.arange(session.records)
        utc += times_counted(session.started_ms, places, MarkedAt.END, clocked).utc_ms.tolist()
    assert utc == [int(moment.timestamp() * 1000) for moment in times]


@pytest.mark.parametrize("way", ["function 23", "registers", "queue"])
def test_the_weeks_of_mauna_loa_are_found_with_those_that_have_no_value(
    logs: SimpleNamespace, clock: FakeClock, way: str
) -> None:
    from statsmodels.datasets import co2

    data = co2.load_pandas().data["co2"]
    weeks = [week.timestamp() + LATER * WEEK for week in data.index]
    values = [None if np.isnan(value) else float(value) for value in data]
    assert (len(values), values.count(None)) == (2284, 59)
    sessions = logs.SESSIONS.replace("type: uint16, unit: s", "type: uint16, unit: h")
    record = (
        "  record: {registers: 1, fields: {co2: {at: 0, type: uint16, scale: 0.1, unit: 1, "
        "not_available: [65535]}}}\n"
    )
    text = logs.map_text(way, sessions, record, capacity=2400, holds="mean")
    options = LogOptions([Rows(weeks, {"co2": values}, WEEK)], recording=False)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    found = logs.retrieve(meter)
    assert found.numbers == list(range(2284))
    assert found.values("co2") == values
    (session,) = found.walker.state.sessions
    clocked = SessionClock(meter.register_map.log_memory.clock, None, session.interval_ms)
    utc = times_counted(session.started_ms, np.arange(2284), MarkedAt.START, clocked)
    assert utc.utc_ms.tolist() == [int(week * 1000) for week in weeks]
