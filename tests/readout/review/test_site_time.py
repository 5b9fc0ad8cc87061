"""Days of 23 and 25 hours, hours that come twice, shifts over a change of the clock; sums stay the same."""

import math
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from readout.review.about.site_time import SiteTime, midnight_ms, offsets_ms
from readout.review.review import hours_of, review
from storage.archive import Archive

#: The days on which Dublin's clock is set in 2026 (IANA time zone database): hours they have, hours' names.
CHANGES = [("2026-03-29", 23), ("2026-10-25", 25)]


@pytest.mark.parametrize(("day", "hours"), CHANGES)
def test_a_day_has_the_hours_that_the_clock_gives_it(
    hall: ModuleType, root: Path, day: str, hours: int
) -> None:
    """A row a minute over three days; days and hours add up to all rows, and pandas agrees."""
    begin = pd.Timestamp(day, tz="Europe/Dublin") - pd.Timedelta(hours=20)
    dues = hall.every(60_000, begin.isoformat(), (begin + pd.Timedelta(hours=70)).isoformat())
    flow = {due: float(due // 60_000 % 97) for due in dues}
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(60_000), dues, lambda due: (flow[due], 7000, 1))
        hall.seal(archive, dues[-1] + 1000)
    found = review(root, hall.POINT)
    assert found is not None
    assert found.flow is not None
    frame = pd.Series(
        flow.values(), index=pd.to_datetime(dues, unit="ms", utc=True).tz_convert("Europe/Dublin")
    )
    (changed,) = (one for one in found.flow.days if one.name == day)
    assert changed.elapsed_s == changed.measured_s == hours * 3600
    assert len([one for one in hours_of(found, "flow") if str(one.day) == day]) == hours
    assert [one.mean for one in found.flow.days] == pytest.approx(list(frame.resample("D").mean()), rel=1e-12)
    assert [one.mean for one in hours_of(found, "flow")] == pytest.approx(
        list(frame.resample("h").mean()), rel=1e-12
    )
    whole = math.fsum(flow.values()) * 60
    for parts in (found.flow.days, hours_of(found, "flow")):
        assert math.fsum(one.amount for one in parts) == pytest.approx(whole, rel=1e-12)


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/Dublin", "2026-03-29", 23),
        ("Europe/Dublin", "2026-10-25", 25),
        ("Australia/Lord_Howe", "2026-04-05", 24.5),
        ("Australia/Lord_Howe", "2026-10-04", 23.5),
        ("America/Sao_Paulo", "2018-11-04", 23),  # midnight itself was left out
        ("Asia/Kathmandu", "2026-03-29", 24),
    ],
)
def test_midnights_lie_as_far_apart_as_pandas_says(zone: str, day: str, hours: float) -> None:
    begin = pd.Timestamp(day, tz=None).date()
    following = (pd.Timestamp(day) + pd.Timedelta(days=1)).date()
    from zoneinfo import ZoneInfo

    apart = midnight_ms(ZoneInfo(zone), following) - midnight_ms(ZoneInfo(zone), begin)
    assert apart == hours * 3_600_000


@pytest.mark.parametrize(
    "zone", ["Europe/Dublin", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]
)
def test_offsets_are_those_of_pandas_in_every_minute_of_a_year(zone: str) -> None:
    from zoneinfo import ZoneInfo

    index = pd.date_range("2026-01-01", "2027-01-01", freq="7min", tz="UTC")
    moments = index.as_unit("ms").asi8
    local = index.tz_convert(zone).tz_localize(None).as_unit("ms").asi8
    assert (offsets_ms(ZoneInfo(zone), moments) == local - moments).all()


def test_a_night_shift_belongs_to_the_day_it_began_on(hall: ModuleType, root: Path) -> None:
    """22:00 to 06:00; in the night of 24 October it lasts nine hours, and Saturday's is no production."""
    job = hall.JOB.replace('early: "06:00-14:00", late: "14:00-22:00"', 'night: "22:00-06:00"')
    dues = hall.every(60_000, "2026-10-22T23:00Z", "2026-10-26T00:00Z")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(60_000, job=job), dues, lambda _: (10.0, 7000, 1))
        hall.seal(archive, dues[-1] + 1000)
    found = review(root, hall.POINT)
    assert found is not None
    assert found.flow is not None
    shifts = {one.name: one for one in found.flow.shifts}
    assert list(shifts) == [f"2026-10-{day} night" for day in (22, 23, 24, 25)]
    assert shifts["2026-10-24 night"].elapsed_s == shifts["2026-10-24 night"].measured_s == 9 * 3600
    assert shifts["2026-10-23 night"].elapsed_s == 8 * 3600
    assert shifts["2026-10-24 night"].day_type == "no production"
    in_hours = found.site.in_hours()
    assert in_hours is not None
    # Friday 00:00 to 06:00 of Thursday's shift, Friday 22:00 to Saturday 06:00.
    assert in_hours.sum() == (6 + 8) * 60
    assert isinstance(found.site, SiteTime)
