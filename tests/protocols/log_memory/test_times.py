"""Meter time to UTC in the order of the records: zoneinfo says what clocks show, we must find it back.

The doubled and missing hours are those of the IANA zones (tzdata), worked out here by the standard library
from UTC to local time, the direction that has one answer.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.log_memory.times import (
    ClockOffset,
    SessionClock,
    candidates,
    flag_words,
    times_counted,
    times_told,
)
from protocols.register_map.memory_model import MarkedAt, MeterClock

BERLIN, LORD_HOWE = ZoneInfo("Europe/Berlin"), ZoneInfo("Australia/Lord_Howe")
HALF_HOUR, MINUTE = 1_800_000, 60_000


def ms(text: str) -> int:
    """Figures as they stand, as ms since 1970."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def shown(moment: datetime, zone: ZoneInfo) -> int:
    """What the zone's clocks show at a moment."""
    return round(moment.astimezone(zone).replace(tzinfo=UTC).timestamp() * 1000)


def told(
    times: list[int | None], clock: SessionClock, numbers: list[int] | None = None
) -> list[tuple[str, str]]:
    """UTC and flag of records with these times, as words; a None is digits that are no time."""
    values = np.array([0 if one is None else one for one in times], np.int64)
    there = np.array([one is not None for one in times])
    found = times_told(values, there, np.array(numbers or range(len(times)), np.int64), clock)
    utc = [
        datetime.fromtimestamp(one / 1000, UTC).strftime("%H:%M:%SZ") if known else ""
        for one, known in zip(found.utc_ms.tolist(), found.known.tolist(), strict=True)
    ]
    return list(zip(utc, [word or "" for word in flag_words(found.flag.tolist())], strict=True))


def test_the_october_night_with_a_reset_row_by_row() -> None:
    """Europe/Berlin, half-hourly: the hour that exists twice by the order of the records, a reset to 2000 as
    unset, and nothing learned from it."""
    day = "2024-10-27T"
    rows = [ms(day + t) for t in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")]
    rows += [ms("2000-01-01T00:00"), ms(day + "04:00")]
    assert told(rows, SessionClock(MeterClock("site"), BERLIN, HALF_HOUR)) == [
        ("23:30:00Z", ""), ("00:00:00Z", "dst first"), ("00:30:00Z", "dst first"),
        ("01:00:00Z", "dst second"), ("01:30:00Z", "dst second"), ("02:00:00Z", ""),
        ("", "unset"), ("03:00:00Z", ""),
    ]  # fmt: skip


def test_without_an_interval_the_order_tells_the_doubled_hour_where_its_figures_go_back() -> None:
    day = "2024-10-27T"
    rows = [ms(day + t) for t in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")]
    flags = [flag for _, flag in told(rows, SessionClock(MeterClock("site"), BERLIN))]
    assert flags == ["", "dst first", "dst first", "dst second", "dst second", ""]


def test_a_session_that_begins_in_the_doubled_hour_is_settled_by_what_follows() -> None:
    rows = [ms(f"2024-10-27T{t}") for t in ("02:00", "02:30", "03:00")]
    assert [utc for utc, _ in told(rows, SessionClock(MeterClock("site"), BERLIN, HALF_HOUR))] == [
        "01:00:00Z", "01:30:00Z", "02:00:00Z",
    ]  # fmt: skip


def test_a_session_wholly_in_the_doubled_hour_has_no_utc() -> None:
    rows = [ms(f"2024-10-27T{t}") for t in ("02:00", "02:10", "02:20")]
    assert told(rows, SessionClock(MeterClock("site"), BERLIN, 600_000)) == [("", "dst ambiguous")] * 3


def test_a_time_the_sites_clocks_skip_is_invalid() -> None:
    """02:30 on 2024-03-31 does not exist in Berlin, though Python converts it without a word."""
    rows = [ms(f"2024-03-31T{t}") for t in ("01:30", "02:30", "03:00", "03:30")]
    found = told(rows, SessionClock(MeterClock("site"), BERLIN, HALF_HOUR), [0, 1, 1, 2])
    assert found == [("00:30:00Z", ""), ("", "invalid"), ("01:00:00Z", ""), ("01:30:00Z", "")]


def test_digits_that_are_no_time_are_invalid_and_the_others_stand() -> None:
    rows = [ms("2024-06-01T10:00"), None, ms("2024-06-01T11:00")]
    assert told(rows, SessionClock(MeterClock("+02:00"), None, HALF_HOUR)) == [
        ("08:00:00Z", ""), ("", "invalid"), ("09:00:00Z", ""),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("shift_s", "flag"), [(0, ""), (29, ""), (-29, ""), (31, "stepped forward"), (-31, "stepped back")]
)
def test_a_step_is_judged_with_half_an_intervals_tolerance(shift_s: int, flag: str) -> None:
    start = ms("2024-06-01T10:00")
    rows = [start, start + MINUTE, start + 2 * MINUTE + shift_s * 1000, start + 3 * MINUTE + shift_s * 1000]
    flags = [found for _, found in told(rows, SessionClock(MeterClock(), None, MINUTE))]
    assert flags == ["", "", flag, ""]


def test_numbers_that_are_missing_are_no_step() -> None:
    start = ms("2024-06-01T10:00")
    rows = [start, start + 5 * MINUTE, start + 6 * MINUTE]
    clock = SessionClock(MeterClock(), None, MINUTE)
    assert [flag for _, flag in told(rows, clock, [0, 5, 6])] == ["", "", ""]
    assert [flag for _, flag in told(rows, clock, [0, 1, 2])] == ["", "stepped forward", ""]


@given(
    zone=st.sampled_from([BERLIN, LORD_HOWE, ZoneInfo("Africa/Casablanca"), ZoneInfo("America/New_York")]),
    start=st.datetimes(datetime(2024, 1, 1), datetime(2026, 12, 1)),
    minutes=st.sampled_from([1, 5, 10, 15, 30]),
    lead=st.integers(1, 3),
)
def test_every_session_longer_than_the_doubled_hour_is_found_back(
    zone: ZoneInfo, start: datetime, minutes: int, lead: int
) -> None:
    """From UTC to what the clocks showed and back: all records, in zones with whole and half hours."""
    count = (180 + lead * 60) // minutes
    moments = [
        start.replace(tzinfo=UTC, microsecond=0) + i * timedelta(minutes=minutes) for i in range(count)
    ]
    rows = np.array([shown(one, zone) for one in moments], np.int64)
    clock = SessionClock(MeterClock("site"), zone, minutes * MINUTE)
    found = times_told(rows, np.ones(count, np.bool_), np.arange(count, dtype=np.int64), clock)
    assert found.known.all()
    assert found.utc_ms.tolist() == [round(one.timestamp() * 1000) for one in moments]


@pytest.mark.parametrize(
    ("text", "zone", "expected"),
    [
        ("2024-10-27T02:30", BERLIN, ("00:30", "01:30")),
        ("2024-03-31T02:30", BERLIN, ()),
        ("2026-04-05T01:45", LORD_HOWE, ("14:45", "15:15")),  # half an hour, at 2026-04-04T15:00Z
        ("2026-10-04T02:15", LORD_HOWE, ()),  # 2026-10-03T15:30Z: +10:30 to +11
        ("2024-06-01T02:30", BERLIN, ("00:30",)),
    ],
)
def test_moments_at_which_a_clock_shows_a_time(text: str, zone: ZoneInfo, expected: tuple[str, ...]) -> None:
    found = candidates(ms(text), zone)
    assert tuple(datetime.fromtimestamp(one / 1000, UTC).strftime("%H:%M") for one in found) == expected


def test_a_crystal_20_ppm_off_is_16_seconds_in_nine_days() -> None:
    """1 ppm is 0.0864 s a day; 20 ppm over nine days is 15.552 s, halfway 7.776 s."""
    nine_days = 9 * 86_400_000
    start, drift = ms("2026-05-04T10:00"), 15_552
    clock = SessionClock(
        MeterClock(), None, nine_days // 2, (ClockOffset(start, 0), ClockOffset(start + nine_days, drift))
    )
    found = times_counted(start, np.arange(3, dtype=np.int64), MarkedAt.START, clock)
    expected = [start, start + nine_days // 2 - 7_776, start + nine_days - drift]
    assert np.abs(found.utc_ms - expected).max() <= 1


@pytest.mark.parametrize(("marked", "first"), [(MarkedAt.START, "10:00:00"), (MarkedAt.END, "10:00:20")])
def test_records_without_a_time_are_counted_from_the_start(marked: MarkedAt, first: str) -> None:
    clock = SessionClock(MeterClock("+01:00"), None, 20_000)
    found = times_counted(ms("2026-05-04T11:00"), np.arange(3, dtype=np.int64), marked, clock)
    assert found.known.all()
    assert found.utc_ms.tolist() == [ms("2026-05-04T" + first) + n * 20_000 for n in range(3)]


def test_a_start_that_was_never_set_gives_no_record_a_time() -> None:
    found = times_counted(
        ms("2000-01-01T00:00"),
        np.arange(3, dtype=np.int64),
        MarkedAt.START,
        SessionClock(MeterClock(), None, 1000),
    )
    assert not found.known.any()
    assert flag_words(found.flag.tolist()) == ["unset"] * 3


def test_a_clock_put_back_leaves_times_before_it_to_the_first_measurement() -> None:
    """With one measurement only, what was before the step cannot be known; with two, both sides can."""
    start = ms("2024-06-01T10:00")
    rows = [start, start + MINUTE, start + 2 * MINUTE - 600_000, start + 3 * MINUTE - 600_000]
    at_start, at_end = ClockOffset(start - 600_000, 600_000), ClockOffset(start, 0)
    late = told(rows, SessionClock(MeterClock(), None, MINUTE, (at_end,)))
    both = told(rows, SessionClock(MeterClock(), None, MINUTE, (at_start, at_end)))
    assert [utc for utc, _ in late] == ["", "", "09:52:00Z", "09:53:00Z"]
    assert [utc for utc, _ in both] == ["09:50:00Z", "09:51:00Z", "09:52:00Z", "09:53:00Z"]
    assert both[2][1] == "stepped back"


def test_hours_missing_after_a_power_loss_cost_no_time() -> None:
    start = ms("2024-06-01T10:00")
    rows = [start, start + MINUTE, start + 3 * 3_600_000]
    found = told(rows, SessionClock(MeterClock(), None, MINUTE, (ClockOffset(start + 9_000_000, 2_000),)))
    assert found == [("09:59:58Z", ""), ("10:00:58Z", ""), ("12:59:58Z", "stepped forward")]
