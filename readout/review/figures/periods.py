"""Days, shifts, weekdays and hours of the week by the site's clock."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readout.review.about.site_time import (
    WEEKDAYS,
    DayType,
    SiteTime,
    date_of,
    groups,
    midnight_ms,
    offsets_ms,
)
from readout.review.rows.minutes import MINUTE_MS, Minutes, Values


@dataclass(frozen=True, slots=True)
class Period:
    """A day, a shift of a day, a weekday or an hour of the week.

    `amount` is the integral over the measured time [unit × s], `elapsed_s` how long the period lasted within
    the clock's day; a weekday's is the sum over its days, `count`. None where nothing was measured.
    """

    name: str
    begin_ms: int | None
    elapsed_s: float
    measured_s: float = 0.0
    amount: float = 0.0
    mean: float | None = None
    lowest: float | None = None
    highest: float | None = None
    count: int = 1
    day_type: DayType | None = None
    day: date | None = None


def days(values: Values, site: SiteTime) -> list[Period]:
    """Each day of the site's calendar that has rows; 23 or 25 hours where the clock is changed."""
    found, place = groups([site.day])
    sums = _Sums.of(values, place, len(found))
    periods = []
    for index, (number, kind) in enumerate(zip(found[:, 0], site.day_types(found[:, 0]), strict=True)):
        day = date_of(number)
        begin, end = midnight_ms(site.zone, day), midnight_ms(site.zone, day + timedelta(days=1))
        about = Period(day.isoformat(), begin, (end - begin) / 1000, day_type=kind, day=day)
        periods.append(sums.filled(about, index))
    return periods


def hours(minutes: Minutes, values: Values, site: SiteTime) -> list[Period]:
    """Each hour of the site's clock that has rows; the one lived through twice in October is two."""
    found, place = groups([site.local_minute // 60, site.local_minute - minutes.begin // MINUTE_MS])
    sums = _Sums.of(values, place, len(found))
    periods = []
    for index, (local_hour, shift) in enumerate(found):
        begin = int(local_hour * 60 - shift) * MINUTE_MS
        about = Period(f"{int(local_hour) % 24:02d}:00", begin, 3600.0, day=date_of(int(local_hour) // 24))
        periods.append(sums.filled(about, index))
    return sorted(periods, key=lambda one: one.begin_ms or 0)


def shifts(minutes: Minutes, values: Values, site: SiteTime) -> list[Period]:
    """Each shift of each day, named by the calendar; time outside shifts is none."""
    names, number, day = site.shifts()
    inside = number >= 0
    if not names or not inside.any():
        return []
    found, place = groups([day[inside], number[inside]])
    sums = _Sums.of(values.at(inside), place, len(found))
    first = np.full(len(found), np.iinfo(np.int64).max)
    np.minimum.at(first, place, minutes.begin[inside])
    periods = []
    for index, ((begun, which), kind) in enumerate(zip(found, site.day_types(found[:, 0]), strict=True)):
        day_, name = date_of(begun), names[which]
        lasts = _lasts(site, day_, name)
        about = Period(f"{day_.isoformat()} {name}", int(first[index]), lasts, day_type=kind, day=day_)
        periods.append(sums.filled(about, index))
    return periods


def _lasts(site: SiteTime, day: date, name: str) -> float:
    """How long [s] a shift of a day lasts, a change of the clock within it counted."""
    shift = site.shift_of(day, name)
    until = shift.until + (0 if shift.begin < shift.until else 1440)
    midnight = midnight_ms(site.zone, day)
    ends = [midnight + minute * MINUTE_MS for minute in (shift.begin, until)]
    moved = offsets_ms(site.zone, np.array([midnight, *ends], np.int64))
    begin, end = (ends[i] - int(moved[i + 1] - moved[0]) for i in (0, 1))
    return (end - begin) / 1000


def weekdays(daily: Sequence[Period]) -> list[Period]:
    """The days of each weekday together; `count` is how many days there are."""
    found = []
    for number, name in enumerate(WEEKDAYS):
        mine = [one for one in daily if one.day is not None and one.day.weekday() == number]
        if mine:
            found.append(_sum(name, mine))
    return found


def day_types(daily: Sequence[Period]) -> list[Period]:
    """Production, no production and closed days, each together."""
    kinds = list(dict.fromkeys(one.day_type for one in daily if one.day_type is not None))
    return [_sum(kind.value, [one for one in daily if one.day_type is kind]) for kind in kinds]


def week(values: Values, site: SiteTime) -> list[Period]:
    """Hours of the week that were measured, Monday 00:00 first; `count` is how many such hours (n)."""
    there = values.seconds > 0
    if not there.any():
        return []
    found, place = groups([site.weekday[there], site.hour[there]])
    sums = _Sums.of(values.at(there), place, len(found))
    which, _ = groups([place, site.day[there]])
    counts = np.bincount(which[:, 0], minlength=len(found))
    periods = []
    for index, (weekday, hour) in enumerate(found):
        count = int(counts[index])
        about = Period(f"{WEEKDAYS[weekday]} {hour:02d}:00", None, count * 3600.0, count=count)
        periods.append(sums.filled(about, index))
    return periods


def _sum(name: str, mine: Sequence[Period]) -> Period:
    seconds, amount = sum(one.measured_s for one in mine), sum(one.amount for one in mine)
    lows = [one.lowest for one in mine if one.lowest is not None]
    highs = [one.highest for one in mine if one.highest is not None]
    return Period(
        name,
        None,
        sum(one.elapsed_s for one in mine),
        measured_s=seconds,
        amount=amount,
        mean=amount / seconds if seconds else None,
        lowest=min(lows, default=None),
        highest=max(highs, default=None),
        count=len(mine),
    )


@dataclass(frozen=True, slots=True)
class _Sums:
    """Seconds, integral, lowest and highest of each group [g]."""

    seconds: NDArray[np.float64]
    amount: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    @classmethod
    def of(cls, values: Values, place: NDArray[Any], count: int) -> "_Sums":
        """`place` [n] is the group of each minute."""
        low, high = np.full(count, np.nan), np.full(count, np.nan)
        np.fmin.at(low, place, values.low)
        np.fmax.at(high, place, values.high)
        seconds, amount = (
            np.bincount(place, one, count).astype(np.float64) for one in (values.seconds, values.integral)
        )
        return cls(seconds, amount, low, high)

    def filled(self, about: Period, index: int) -> Period:
        """The period with what group `index` holds."""
        seconds, amount = float(self.seconds[index]), float(self.amount[index])
        if not seconds:
            return about
        return replace(
            about,
            measured_s=seconds,
            amount=amount,
            mean=amount / seconds,
            lowest=float(self.low[index]),
            highest=float(self.high[index]),
        )
