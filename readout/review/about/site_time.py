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

from readout.measuring_point.model import Shift, WorkCalendar

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
    """Minutes [n] (ms since 1970 UTC, ascending) by the site's clock and calendar.

    `later` are calendars that came to hold at a moment [ms since 1970 UTC), ascending. A calendar holds for
    whole days of the site: from the day in which it begins.
    """

    zone: ZoneInfo
    begin: Whole
    calendar: WorkCalendar | None = None
    later: Sequence[tuple[int, WorkCalendar | None]] = ()

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

    @property
    def hour_begin(self) -> Whole:
        """When the clock's hour of each minute began [n, ms since 1970 UTC]; October's two are two."""
        return self.begin - self.local_minute % 60 * 60_000

    def day_types(self, days: Whole) -> "list[DayType]":
        """What the calendar says of days [since 1970]."""
        known = {int(one): self._day_type(_EPOCH + timedelta(days=int(one))) for one in np.unique(days)}
        return [known[int(one)] for one in days]

    def _day_type(self, day: date) -> DayType:
        calendar = self.calendar_of(day)
        if calendar is None or calendar.production is None:
            return DayType.UNKNOWN
        if day in calendar.closed:
            return DayType.CLOSED
        produces = day.weekday() in calendar.production
        return DayType.PRODUCTION if produces else DayType.NO_PRODUCTION

    def calendar_of(self, day: date) -> WorkCalendar | None:
        """The calendar that holds on a day."""
        found = self.calendar
        for first, calendar in self._turns:
            found = calendar if day >= date_of(first) else found
        return found

    def shift_of(self, day: date, name: str) -> Shift:
        """A shift that begins on `day`; one that is still running by the next day's calendar is there too.

        Raises:
            KeyError: neither calendar has a shift of that name.
        """
        for one in (day, day + timedelta(days=1)):
            calendar = self.calendar_of(one)
            if calendar is not None and name in calendar.shifts:
                return calendar.shifts[name]
        raise KeyError(name)

    @cached_property
    def _turns(self) -> "list[tuple[int, WorkCalendar | None]]":
        """Days [since 1970] from which a later calendar holds."""
        moments = np.array([since for since, _ in self.later], np.int64)
        days = (moments + offsets_ms(self.zone, moments)) // (60_000 * _DAY_MINUTES)
        return [(int(day), calendar) for day, (_, calendar) in zip(days, self.later, strict=True)]

    def shifts(self) -> "tuple[list[str], Whole, Whole]":
        """Names of shifts; for each minute the shift's number (-1: none) and the day that it began [n].

        A shift over midnight belongs to the day it began on.
        """
        calendars = [(-(2**62), self.calendar), *self._turns]
        names: list[str] = []
        number, day = np.full(len(self.begin), -1), self.day.copy()
        minute = self.minute_of_day
        for turn, (first, calendar) in enumerate(calendars):
            until = calendars[turn + 1][0] if turn + 1 < len(calendars) else 2**62
            holds = (self.day >= first) & (self.day < until)
            for name, shift in () if calendar is None else calendar.shifts.items():
                if name not in names:
                    names.append(name)
                if shift.begin < shift.until:
                    inside = holds & (minute >= shift.begin) & (minute < shift.until)
                else:
                    inside = holds & ((minute >= shift.begin) | (minute < shift.until))
                    day = np.where(inside & (minute < shift.until) & (number < 0), self.day - 1, day)
                number = np.where(inside & (number < 0), names.index(name), number)
        return names, number, day

    def in_hours(self) -> "NDArray[np.bool_] | None":
        """Where [n] the site produces: in a shift that began on a production day; None: not said."""
        calendars = [self.calendar, *(calendar for _, calendar in self.later)]
        if all(one is None or one.production is None for one in calendars):
            return None
        _, number, day = self.shifts()
        days, place = np.unique(day, return_inverse=True)
        produces = np.array([kind is DayType.PRODUCTION for kind in self.day_types(days)], np.bool_)[place]
        return produces & ((number >= 0) | ~self._has_shifts())

    def _has_shifts(self) -> "NDArray[np.bool_]":
        """Where [n] the calendar that holds names shifts at all; without any, the whole day produces."""
        days, place = np.unique(self.day, return_inverse=True)
        found = [self.calendar_of(date_of(one)) for one in days]
        return np.array([one is not None and bool(one.shifts) for one in found], np.bool_)[place]


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
