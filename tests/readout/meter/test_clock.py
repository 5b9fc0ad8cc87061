"""A meter's clock set to the computer's as a second begins, in each zone and form that clocks keep."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from crccheck.crc import CrcModbus

from protocols.register_map.memory_model import MeterClock
from readout.errors import FellShort, WrongUse
from readout.meter.clock import ClockSetting, ahead_s, is_moment, look, set_now

DUBLIN = ZoneInfo("Europe/Dublin")
CALENDAR = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{unit_address: 12}}
wire: {{reply_within: 100 ms, late_within: 100 ms}}
readings: {{flow: {{input: 0, type: float32}}}}
settings:
  clock: {{holding: 34, type: calendar, layout: {layout}, coding: bcd, write: allowed}}
"""
WITH_SECONDS = "[minute/second, day/hour, year/month]"


def clock_setting(hall, zone: str = "utc") -> ClockSetting:
    return ClockSetting(hall.setting("clock"), MeterClock(zone), DUBLIN, hall.format)


def test_the_clock_is_written_as_the_second_begins(hall) -> None:
    """The request's last bit arrives within a millisecond of the instant that it tells."""
    setting = clock_setting(hall)
    set_now(hall.meter, setting, hall.clock)
    shown = look(hall.meter, setting, hall.clock)
    (frame,) = hall.port.writes
    told = int.from_bytes(frame[9:11] + frame[7:9])  # low word first; 6.12: four bytes of data from byte 7
    at = hall.port.heard_at[hall.port.sent.index(frame)]
    assert told == pytest.approx(at, abs=0.003)
    assert setting.is_right(shown)
    assert shown.told_ms == told * 1000


def test_a_clock_days_off_is_right_afterwards_and_the_offset_before_is_known(hall) -> None:
    setting = clock_setting(hall)
    hall.meter.write(dict(zip(setting.value.columns(), (0, 0x69F0), strict=True)))
    before = look(hall.meter, setting, hall.clock)
    assert before.offset_s is not None
    assert before.offset_s < -86400
    assert not setting.is_right(before)
    set_now(hall.meter, setting, hall.clock)
    assert setting.is_right(look(hall.meter, setting, hall.clock))


@pytest.mark.parametrize(
    ("zone", "at", "ahead"),
    [
        ("utc", "2026-07-01T12:00+00:00", 0),
        ("+01:00", "2026-07-01T12:00+00:00", 3600),
        ("-03:30", "2026-07-01T12:00+00:00", -12600),
        ("site", "2026-07-01T12:00+00:00", 3600),  # Irish summer time (IANA time zone database)
        ("site", "2026-12-01T12:00+00:00", 0),
        ("site", "2026-10-25T00:59:59+00:00", 3600),  # the last second of it
        ("site", "2026-10-25T01:00:00+00:00", 0),
    ],
)
def test_each_zone_shows_its_own_figures(zone: str, at: str, ahead: int) -> None:
    assert ahead_s(MeterClock(zone), DUBLIN, datetime.fromisoformat(at).timestamp()) == ahead


@pytest.mark.parametrize("zone", ["utc", "site", "+05:30"])
def test_a_clock_in_any_zone_is_set_by_its_own_figures(make_hall, zone: str) -> None:
    hall = make_hall(map_text=CALENDAR.format(layout=WITH_SECONDS))
    setting = clock_setting(hall, zone)
    set_now(hall.meter, setting, hall.clock)
    shown = look(hall.meter, setting, hall.clock)
    assert setting.is_right(shown)
    figures = datetime.fromtimestamp(shown.told_ms / 1000, UTC)
    there = {"utc": UTC, "site": DUBLIN, "+05:30": datetime.fromisoformat("2026-01-01T00:00+05:30").tzinfo}
    now = datetime.fromtimestamp(hall.clock.utc(), there[zone])
    assert abs((figures.replace(tzinfo=None) - now.replace(tzinfo=None)).total_seconds()) <= 1.5


def test_a_clock_without_seconds_waits_for_the_full_minute(make_hall) -> None:
    hall = make_hall(map_text=CALENDAR.format(layout="[hour/minute, month/day, none/year]"))
    setting = clock_setting(hall)
    assert setting.resolution_s == 60
    set_now(hall.meter, setting, hall.clock)
    shown = look(hall.meter, setting, hall.clock)
    at = hall.port.heard_at[hall.port.sent.index(hall.port.writes[0])]
    assert at % 60 == pytest.approx(0, abs=0.003) or at % 60 == pytest.approx(60, abs=0.003)
    assert setting.is_right(shown)


def test_a_clock_that_shows_only_the_hour_is_not_set(make_hall) -> None:
    hall = make_hall(map_text=CALENDAR.format(layout="[day/hour, year/month]"))
    with pytest.raises(WrongUse, match="neither seconds nor minutes"):
        set_now(hall.meter, clock_setting(hall), hall.clock)


def test_a_lost_reply_is_decided_by_what_the_clock_shows(hall) -> None:
    hall.port.lost = 1
    setting = clock_setting(hall)
    set_now(hall.meter, setting, hall.clock)
    assert setting.is_right(look(hall.meter, setting, hall.clock))
    assert len(hall.port.writes) == 1


def test_a_meter_that_refuses_is_left_alone(hall) -> None:
    body = bytes([12, 0x90, 4])  # exception 04 of function 16, checked by an independent library
    hall.port.instead = lambda _: body + int(CrcModbus.calc(body)).to_bytes(2, "little")
    with pytest.raises(FellShort, match="it may refuse while it records"):
        set_now(hall.meter, clock_setting(hall), hall.clock)
    assert len(hall.port.writes) == 1


def test_what_is_a_clock_is_known_by_its_type(hall) -> None:
    assert is_moment(hall.setting("clock"))
    assert not is_moment(hall.setting("log_interval"))
