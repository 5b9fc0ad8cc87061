"""The site's clock and calendar over UTC minutes: days of 23, 24 or 25 hours, shifts, production, closed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from readout.measuring_point.model import WorkCalendar

_DAY_MINUTES = 1440
#: No zone of the database changes its offset since 1970 but at a multiple of this [ms].
_QUARTER_MS = 900_000
_EPOCH = date(1970, 1, 1)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

Whole = NDArray[np.int64]


class DayType(StrEnum):
    """What the calendar says of a day."""

    PRODUCTION = "production"
    NO_PRODUCTION = "no production"
    CLOSED = "closed"
    UNKNOWN = "not said"


def offsets_ms(zone: ZoneInfo, moments: Whole) -> Whole:
    """How far [ms] the zone's clock is ahead of UTC at each moment [ms since 1970 UTC]."""
    quarters, place = np.unique(moments // _QUARTER_MS, return_inverse=True)
    found = np.array([_offset(zone, int(one) * _QUARTER_MS) for one in quarters], np.int64)
    return np.asarray(found[place], np.int64) if len(found) else np.zeros(0, np.int64)


def _offset(zone: ZoneInfo, ms: int) -> int:
    offset = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone).utcoffset()
    assert offset is not None
    return round(offset.total_seconds() * 1000)


def midnight_ms(zone: ZoneInfo, day: date) -> int:
    """When a site day begins [ms since 1970 UTC]; the next begins 23, 24 or 25 hours later."""
    return round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)


@dataclass(frozen=True)
class SiteTime:
    """Minutes [n] (ms since 1970 UTC, ascending) by the site's clock and calendar."""

    zone: ZoneInfo
    begin: Whole
    calendar: WorkCalendar | None = None

    @cached_property
    def local_minute(self) -> Whole:
        """Minutes [n] since 1970 as the site's clock shows them."""
        return (self.begin + offsets_ms(self.zone, self.begin)) // 60_000

    @cached_property
    def day(self) -> Whole:
        """Days [n] since 1970 by the site's calendar."""
        return self.local_minute // _DAY_MINUTES

    @property
    def weekday(self) -> Whole:
        """Monday = 0 [n]."""
        return (self.day + 3) % 7  # 1 January 1970 was a Thursday

    @property
    def minute_of_day(self) -> Whole:
        """[n]"""
        return self.local_minute % _DAY_MINUTES

    @property
    def hour(self) -> Whole:
        """Hour of the day [n]."""
        return self.minute_of_day // 60

    def day_types(self, days: Whole) -> "list[DayType]":
        """What the calendar says of days [since 1970]."""
        known = {int(one): self._day_type(_EPOCH + timedelta(days=int(one))) for one in np.unique(days)}
        return [known[int(one)] for one in days]

    def _day_type(self, day: date) -> DayType:
        if self.calendar is None or self.calendar.production is None:
            return DayType.UNKNOWN
        if day in self.calendar.closed:
            return DayType.CLOSED
        produces = day.weekday() in self.calendar.production
        return DayType.PRODUCTION if produces else DayType.NO_PRODUCTION

    def shifts(self) -> "tuple[list[str], Whole, Whole]":
        """Names of shifts; for each minute the shift's number (-1: none) and the day that it began [n].

        A shift over midnight belongs to the day it began on.
        """
        named = list(self.calendar.shifts.items()) if self.calendar else []
        number, day = np.full(len(self.begin), -1), self.day.copy()
        minute = self.minute_of_day
        for index, (_, shift) in enumerate(named):
            if shift.begin < shift.until:
                inside = (minute >= shift.begin) & (minute < shift.until)
            else:
                inside = (minute >= shift.begin) | (minute < shift.until)
                day = np.where(inside & (minute < shift.until) & (number < 0), self.day - 1, day)
            number = np.where(inside & (number < 0), index, number)
        return [name for name, _ in named], number, day

    def in_hours(self) -> "NDArray[np.bool_] | None":
        """Where [n] the site produces: in a shift that began on a production day; None: not said."""
        if self.calendar is None or self.calendar.production is None:
            return None
        names, number, day = self.shifts()
        days, place = np.unique(day, return_inverse=True)
        produces = np.array([kind is DayType.PRODUCTION for kind in self.day_types(days)], np.bool_)[place]
        return produces & (number >= 0) if names else produces


def date_of(day: int) -> date:
    """The date of a day counted from 1970-01-01."""
    return _EPOCH + timedelta(days=int(day))


def groups(keys: "Sequence[NDArray[Any]]") -> "tuple[NDArray[Any], NDArray[Any]]":
    """Distinct rows [g, k] of several keys [n], ascending, and the group of each n."""
    joined = np.zeros(len(keys[0]), np.int64)
    for key in keys:  # one number for all keys: sorting rows of several is far slower
        low, width = (int(key.min()), int(key.max() - key.min()) + 1) if len(key) else (0, 1)
        joined = joined * width + (key - low)
    _, first, place = np.unique(joined, return_index=True, return_inverse=True)
    return np.column_stack([key[first] for key in keys]), np.asarray(place).ravel()
