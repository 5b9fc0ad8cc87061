"""Which measurements of a meter's clock count for a session, and what one look at a clock says."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from protocols.log_memory.times import ClockOffset
from protocols.register_map.memory_model import MeterClock
from readout.retrieve.meter_clock import ClockSeen, clock_offset
from readout.sealing.memory.clock import of_session, offsets_told
from storage.ledger import Line

DAY = 86_400_000
DUBLIN = ZoneInfo("Europe/Dublin")


def measured(*pairs: tuple[float, float]) -> list[ClockOffset]:
    """Measurements (day, seconds ahead)."""
    return [ClockOffset(round(day * DAY), round(ahead * 1000)) for day, ahead in pairs]


def test_what_a_clock_showed_before_it_was_set_says_nothing_of_later() -> None:
    """Five minutes ahead, then set right, a session from day 15 on, 12 s ahead at its end."""
    before, end = measured((0, 300), (20, 12))
    assert of_session([before, end], 15 * DAY) == (end,)


def test_a_drift_from_before_the_session_is_used() -> None:
    """20 ppm from day 0 on are 86 s in fifty days: one crystal, one setting."""
    both = measured((0, 0), (50, 86))
    assert of_session(both, 40 * DAY) == tuple(both)


def test_everything_since_the_sessions_start_counts_also_a_step() -> None:
    """Put forward an hour half-way: that is for the records' own times to place."""
    all_three = measured((0, -900), (40, 0), (50, 3600))
    assert of_session(all_three, 40 * DAY) == tuple(all_three[1:])


def test_without_a_start_only_a_drifting_clock_counts() -> None:
    found = measured((0, 500), (10, 1), (20, 3))
    assert of_session(found, None) == tuple(found[1:])


def line(**content: object) -> Line:
    return Line(1, "2026-05-04T00:00:00.000Z", "retrieved", "", "", content)


def test_the_ledgers_measurements_are_those_of_this_meter() -> None:
    lines = [
        line(point="header", serial_number="EX-1", clock_offset_s=1.5),
        line(point="header", serial_number="EX-2", clock_offset_s=99.0),
        line(point="other", serial_number="EX-1", clock_offset_s=99.0),
        line(point="header", serial_number="EX-1", clock_offset_s=None),
        line(point="header", clock_offset_s=2, clock_measured="2026-05-04T01:00:00.000Z"),
        line(point="header", text="a note"),
    ]
    midnight = round(datetime(2026, 5, 4, tzinfo=UTC).timestamp() * 1000)
    assert offsets_told(lines, "header", "EX-1") == [
        ClockOffset(midnight, 1500), ClockOffset(midnight + 3_600_000, 2000),
    ]  # fmt: skip


SUMMER = datetime(2026, 7, 1, tzinfo=UTC).timestamp()
WINTER = datetime(2026, 1, 15, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("zone", "at", "low", "high", "offset"),
    [
        ("utc", SUMMER, -0.05, 0.04, 0.0),  # may be right: nothing is corrected
        ("utc", SUMMER, 0.02, 0.10, 0.06),
        ("+01:00", WINTER, 3599.95, 3600.05, 0.0),
        ("site", SUMMER, 3599.95, 3600.05, 0.0),  # Irish summer time, an hour ahead of UTC
        ("site", WINTER, -0.05, 0.05, 0.0),
        ("site", SUMMER, -0.05, 0.05, -3600.0),  # never put to summer time
    ],
)
def test_a_look_at_the_clock(zone: str, at: float, low: float, high: float, offset: float) -> None:
    assert clock_offset(ClockSeen(low, high, at), MeterClock(zone), DUBLIN) == pytest.approx(
        offset, abs=0.001
    )
