"""The meter's clock, wrong in every way: rows with the time that can be known, twice the same.

The night is that of 27 October 2024 in Europe/Berlin, when 02:00 to 03:00 came twice (IANA zone data: the
second time begins at 01:00Z). The table is constructed.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from protocols.modbus.crc import with_crc
from simulators.log_memory import LogOptions

#: Six words of BCD in three registers, then a flow of as many kg/h as the record's number.
MAP = """\
register_map: 1
meter: Hollow Mere night meter
fluid: compressed air
serial: {baud_rate: 19200, parity: even, unit_address: 12}
settings:
  log_interval: {holding: 50, type: uint16, unit: min}
log_memory:
  capacity: 100
  clock: {zone: site}
  count: {holding: 51}
  record:
    registers: 4
    fields:
      time: {at: 0, type: calendar, layout: [minute/second, day/hour, year/month], coding: bcd}
      flow: {at: 3, type: uint16, unit: kg/h}
  reached_by: {registers: {holding: 100}}
"""
NIGHT = [
    "2024-10-27T01:30", "2024-10-27T02:00", "2024-10-27T02:30", "2024-10-27T02:00", "2024-10-27T02:30",
    "2024-10-27T03:00", "2000-01-01T00:00", "2024-10-27T04:00", "2024-10-27T05:30", "2024-10-27T06:00",
    "2024-10-27T05:30", None, "2024-10-27T06:30",
]  # fmt: skip
#: UTC and flag of each row: half-hourly records; from 04:00 to 05:30 the clock was put forward an hour, from
#: 06:00 to 05:30 back by one; the record without a time has the day 1D.
ROWS = [
    ("2024-10-26T23:30", None), ("2024-10-27T00:00", "dst first"), ("2024-10-27T00:30", "dst first"),
    ("2024-10-27T01:00", "dst second"), ("2024-10-27T01:30", "dst second"), ("2024-10-27T02:00", None),
    (None, "unset"), ("2024-10-27T03:00", None), ("2024-10-27T04:30", "stepped forward"),
    ("2024-10-27T05:00", None), ("2024-10-27T04:30", "stepped back"), (None, "invalid"),
    ("2024-10-27T05:30", None),
]  # fmt: skip


def bcd(figures: int) -> int:
    return figures // 10 << 4 | figures % 10


def record(time: str | None, number: int) -> list[int]:
    """A record's words: minute/second, day/hour, year/month in BCD, flow."""
    if time is None:
        return [0x0000, 0x1D06, 0x2410, number]
    t = datetime.fromisoformat(time)
    parts = (t.minute, t.second), (t.day, t.hour), (t.year % 100, t.month)
    return [bcd(high) << 8 | bcd(low) for high, low in parts] + [number]


class NightMeter:
    """Function 3 only: registers 100 and up hold the records, 50 the interval in minutes, 51 their number."""

    def __init__(self, times: list[str | None]) -> None:
        words = [word for number, time in enumerate(times) for word in record(time, number)]
        self.registers = {50: 30, 51: len(times)} | {100 + i: word for i, word in enumerate(words)}

    def reply(self, frame: bytes) -> bytes:
        start, count = int.from_bytes(frame[2:4]), int.from_bytes(frame[4:6])
        data = b"".join(self.registers.get(start + i, 0).to_bytes(2) for i in range(count))
        return with_crc(bytes([frame[0], 3, 2 * count]) + data)


def ms(text: str | None) -> int | None:
    return (
        None if text is None else round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)
    )


@pytest.fixture
def night(hall: Callable[..., Any]) -> Any:
    place = hall(MAP, LogOptions())
    point = place.folder / "header.yaml"
    point.write_text(
        point.read_text(encoding="utf-8").replace("Europe/Dublin", "Europe/Berlin"), encoding="utf-8"
    )
    return place


def test_a_night_with_everything_that_clocks_do_row_by_row(night: Any) -> None:
    """The doubled hour by the order of the records, steps flagged, no time where there is none."""
    visit = night.fetch(answer=NightMeter(NIGHT).reply)
    assert (visit.document["records_new"], visit.document["records_flagged"]) == (13, 8)
    found = night.rows()
    assert found["record"] == list(range(13))
    assert found["flow"] == list(range(13))
    assert list(zip(found["time"], found["time_flag"], strict=True)) == [
        (ms(utc), flag) for utc, flag in ROWS
    ]
    assert found["meter_time"] == [ms(time) for time in NIGHT]
    again = night.fetch(answer=NightMeter(NIGHT).reply)
    assert (again.document["records_new"], again.document["records_changed"]) == (0, 0)
    assert night.rows() == found


@pytest.mark.parametrize("visit_after", range(1, 13))
def test_two_visits_see_the_same_night(night: Any, visit_after: int) -> None:
    """Records of the second visit get their times beside those of the first, wherever the first ended.

    What only a later record could tell stays unknown: the first visit's rows are not rewritten.
    """
    night.fetch(answer=NightMeter(NIGHT[:visit_after]).reply)
    night.fetch(answer=NightMeter(NIGHT).reply)
    found = night.rows()
    rows = list(zip(found["time"], found["time_flag"], strict=True))
    assert rows == [(ms(utc), flag) for utc, flag in ROWS]


@pytest.mark.parametrize(("ahead_s", "drift_ppm"), [(0.0, 20.0), (90.0, 20.0), (-3600.0, -20.0)])
def test_a_clock_that_drifts_is_put_right_between_two_measurements(
    hall: Callable[..., Any], memory: SimpleNamespace, ahead_s: float, drift_ppm: float
) -> None:
    """20 ppm are 15.6 s in nine days. A visit at the start, one at the end: no record is off by more than a
    second, though the meter's own times are by up to fifteen."""
    log = LogOptions(interval=None, clock_ahead=ahead_s, drift_ppm=drift_ppm)
    place = hall(memory.map_text("window", head=memory.head.replace(
        "settings:\n", "settings:\n  log_interval: {holding: 70, type: uint16, unit: s, steps: [600]}\n"
    )), log)  # fmt: skip
    place.fetch()
    place.clock.advance(timedelta(days=9).total_seconds())
    visit = place.fetch()
    assert abs(visit.document["clock_offset_s"] - ahead_s - drift_ppm * 0.7776) < 0.1
    found = place.rows()
    true = place.meter.log.truth().time_ms.tolist()[: len(found["record"])]  # it recorded on since
    assert len(true) > 1000
    off = [kept - one for kept, one in zip(found["time"], true, strict=True)]
    assert max(map(abs, off)) <= 1000
    shown = [kept - one for kept, one in zip(found["meter_time"], true, strict=True)]
    assert max(abs(one - ahead_s * 1000) for one in shown) > 10_000
