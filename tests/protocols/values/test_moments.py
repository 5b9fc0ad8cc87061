"""Moments: calendars in two codings and unix time, against the standard library's datetime."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.register_map.model import Kind, Order
from protocols.values.decode import decode
from protocols.values.encode import encode
from protocols.values.moments import from_calendar

LAYOUT = (("minute", "second"), ("day", "hour"), ("year", "month"))


def milliseconds(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def clock(make: Any, coding: str = "bcd", layout: Any = LAYOUT, **more: Any) -> Any:
    return make.value(Kind.CALENDAR, words=len(layout), layout=layout, coding=coding, **more)


def test_a_calendar_in_bcd_is_read_by_its_layout(make: Any) -> None:
    """Minute 30, second 25 | day 27, hour 14 | year 24, month 10, each digit four bits (constructed)."""
    wanted = milliseconds(datetime(2024, 10, 27, 14, 30, 25, tzinfo=UTC))
    assert make.read(clock(make), "3025 2714 2410") == (wanted, None)
    assert make.read(clock(make, byte_order=Order.LOW_FIRST), "2530 1427 1024") == (wanted, None)
    assert make.read(clock(make, "binary"), "1E19 1B0E 180A") == (wanted, None)


# Constructed: nothing set; a digit above 9; zeros; 31 April; 29 February of a common year; month 13; 24 h;
# minute 60; second 60; day 0.
BAD = [
    "FFFF FFFF FFFF", "3A00 2714 2410", "0000 0000 0000", "0000 3100 2404", "0000 2900 2302",
    "0000 0100 2413", "0000 0124 2401", "6000 0100 2401", "0060 0100 2401", "0000 0000 2401",
]  # fmt: skip


@pytest.mark.parametrize("wire", BAD)
def test_what_is_no_day_or_no_time_of_day_is_an_invalid_time(make: Any, wire: str) -> None:
    assert make.read(clock(make), wire) == (None, "invalid time")


def test_leap_days_and_the_last_second_of_the_window_are_moments(make: Any) -> None:
    leap = milliseconds(datetime(2024, 2, 29, tzinfo=UTC))
    assert make.read(clock(make), "0000 2900 2402") == (leap, None)
    end = milliseconds(datetime(2099, 12, 31, 23, 59, 59, tzinfo=UTC))
    assert make.read(clock(make), "5959 3123 9912") == (end, None)


@given(
    parts=st.tuples(
        st.integers(0, 130), st.integers(0, 14), st.integers(0, 33), st.integers(0, 25),
        st.integers(0, 61), st.integers(0, 61),
    )
)  # fmt: skip
def test_binary_figures_are_a_moment_exactly_where_datetime_says_so(parts: tuple[int, ...]) -> None:
    year, month, day, hour, minute, second = parts
    try:
        wanted = datetime(2000 + year, month, day, hour, minute, second, tzinfo=UTC) if year < 100 else None
    except ValueError:
        wanted = None
    words = np.array([[minute << 8 | second, day << 8 | hour, year << 8 | month]], np.uint16)
    found, good = from_calendar(words, LAYOUT, "binary", Order.HIGH_FIRST)
    assert good[0] == (wanted is not None)
    if wanted is not None:
        assert found[0] == milliseconds(wanted)


MOMENTS = st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 31, 23, 59, 59)).map(
    lambda moment: moment.replace(microsecond=0, tzinfo=UTC)
)
WITH_WEEKDAY = (
    ("none", "weekday"),
    ("hour", "minute"),
    ("second", "none"),
    ("month", "year"),
    ("day", "none"),
)


@given(
    moment=MOMENTS,
    coding=st.sampled_from(["bcd", "binary"]),
    byte_order=st.sampled_from(list(Order)),
    layout=st.sampled_from([LAYOUT, WITH_WEEKDAY]),
)
def test_a_clock_that_is_set_is_read_back(
    make: Any, moment: datetime, coding: str, byte_order: Order, layout: Any
) -> None:
    value = clock(make, coding, layout, byte_order=byte_order)
    words = encode(value, moment)
    assert make.told(decode(value, make.row(words))) == (milliseconds(moment), None)


@given(seconds=st.integers(0, 2**32 - 1), order=st.sampled_from(list(Order)))
def test_unix_time_is_unsigned_seconds_in_the_meters_word_order(
    make: Any, seconds: int, order: Order
) -> None:
    sent = seconds.to_bytes(4, "big")
    wire = sent if order is Order.HIGH_FIRST else sent[2:] + sent[:2]
    value = make.value(Kind.UNIX_TIME, word_order=order)
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
    assert make.read(value, wire.hex()) == (milliseconds(moment), None)
    assert list(encode(value, moment).values()) == [
        int.from_bytes(wire[:2], "big"),
        int.from_bytes(wire[2:], "big"),
    ]


def test_a_moment_in_another_zone_is_told_in_utc(make: Any) -> None:
    summer = datetime.fromisoformat("2026-07-01T08:30:00+01:00")
    assert list(encode(clock(make), summer).values()) == [0x3000, 0x0107, 0x2607]
