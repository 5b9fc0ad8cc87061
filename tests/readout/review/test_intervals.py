"""Rows are summed as what they are: samples, means, totals, marked at either end of their interval."""

import math
from datetime import UTC
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from river import datasets
from statsmodels.datasets import co2
from typer.testing import CliRunner

from readout.cli.main import app
from readout.report.language.words import Language, Words
from readout.report.page import page
from readout.review.about.told_units import mixed_units
from readout.review.review import METHODS, Review, hours_of, review
from storage.archive import Archive

HOUR = 3_600_000


def memory_review(hall: ModuleType, root: Path, times: list[int], flow: list, step: int, **what: str):
    hall.memory(root, times, flow, step, **what)
    found = review(root, hall.POINT, "memory")
    assert found is not None
    assert found.flow is not None
    assert METHODS[what["holds"]] in found.method
    return found


@pytest.mark.parametrize(("marked_at", "hour"), [("start", "10:00"), ("end", "09:00")])
def test_a_mean_lies_before_or_behind_its_time(
    hall: ModuleType, root: Path, marked_at: str, hour: str
) -> None:
    """Twelve five-minute means that carry 10:00 to 10:55 of the clock, or 9:05 to 10:00."""
    first = hall.ms("2026-05-05T09:00Z") - (0 if marked_at == "start" else 11 * 300_000)
    times = [first + n * 300_000 for n in range(12)]
    found = memory_review(hall, root, times, [12.0] * 12, 300_000, holds="mean", marked_at=marked_at)
    (only,) = hours_of(found, "flow")
    assert (only.name, only.measured_s, only.mean) == (hour, 3600.0, 12.0)
    assert found.flow.total == pytest.approx(12.0)
    assert found.coverage.share == 1.0


def test_samples_are_summed_by_straight_lines(hall: ModuleType, root: Path) -> None:
    """Hourly samples of a parabola: numpy's trapezoid, and the last one held for its hour."""
    times = [hall.ms("2026-05-05T00:00Z") + n * HOUR for n in range(24)]
    flow = [float(n * n) for n in range(24)]
    found = memory_review(hall, root, times, flow, HOUR, holds="sample", marked_at="start")
    assert found.flow.total == pytest.approx(np.trapezoid(flow) + flow[-1], rel=1e-12)
    one, five, fifteen, sixty = found.flow.statistics.peaks
    assert (one.value, five.value, fifteen.value) == (None, None, None)
    assert one.why == "a row stands for 60 min"
    assert sixty.value == pytest.approx(flow[-1])


def test_totals_of_an_interval_are_added(hall: ModuleType, root: Path) -> None:
    """20 s records that each hold the cubic metres of their interval."""
    times = [hall.ms("2026-05-05T00:00:07Z") + n * 20_000 for n in range(180)]
    found = memory_review(hall, root, times, [0.5] * 180, 20_000, holds="total", marked_at="end")
    assert found.flow.values.integral.sum() == pytest.approx(90.0)
    assert found.coverage.share == pytest.approx(1.0)


def test_intervals_that_straddle_minutes_are_cut_there(hall: ModuleType, root: Path) -> None:
    """15.6 s means that begin within a second: no minute has more than 60 s, and none of it is lost."""
    begin = hall.ms("2026-05-05T00:00:00.300Z")
    times = [begin + n * 15_600 for n in range(1000)]
    flow = [float(n % 7) for n in range(1000)]
    found = memory_review(hall, root, times, flow, 15_600, holds="mean", marked_at="start")
    assert found.flow.values.seconds.max() == pytest.approx(60.0)
    assert found.flow.values.seconds.sum() == pytest.approx(15_600.0)
    assert found.flow.values.integral.sum() == pytest.approx(math.fsum(flow) * 15.6, rel=1e-12)
    assert found.coverage.missing_s == {}


def test_a_real_water_log_keeps_its_missing_hours_missing(hall: ModuleType, root: Path) -> None:
    """`river.datasets.WaterFlow`: 1,268 hourly values; what pandas finds missing is missing here."""
    rows = [(one["Time"].replace(tzinfo=UTC), value) for one, value in datasets.WaterFlow()]
    series = pd.Series([value for _, value in rows], index=pd.DatetimeIndex([when for when, _ in rows]))
    times = [round(when.timestamp() * 1000) for when in series.index]
    found = memory_review(hall, root, times, list(series), HOUR, holds="mean", marked_at="start")
    hourly = series.resample("h").mean()
    assert found.coverage.measured_s == len(series.dropna()) * 3600
    assert sum(found.coverage.missing_s.values()) == hourly.isna().sum() * 3600
    assert found.coverage.elapsed_s == len(hourly) * 3600
    assert found.flow.statistics.mean == pytest.approx(series.mean(), rel=1e-12)
    assert found.flow.statistics.median == series.quantile(0.5, interpolation="lower")


def test_a_weekly_log_of_years_keeps_its_missing_weeks(hall: ModuleType, root: Path) -> None:
    """`statsmodels.datasets.co2`: weekly, here the years from 1962 to 1964, some null; straight lines."""
    series = co2.load_pandas().data["co2"].loc["1962":"1964"]
    times = [round(when.timestamp() * 1000) for when in series.index.tz_localize("UTC")]
    week = 7 * 24 * HOUR
    values = [None if math.isnan(value) else value for value in series]
    found = memory_review(hall, root, times, values, week, holds="sample", marked_at="start")
    assert found.coverage.measured_s == series.count() * week / 1000
    assert found.coverage.missing_s == {"not available": float(series.isna().sum() * week / 1000)}
    both = (series + series.shift(-1)) / 2
    expected = both.where(both.notna(), series).sum() * week / 1000
    assert found.flow.values.integral.sum() == pytest.approx(expected, rel=1e-10)


TOLD = """\
register_map: 1
meter: Hollow Mere meter that tells its unit
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: float32, unit: {input: 2, type: uint16, codes: {0: m3/h, 1: l/s}}}
  pressure: {input: 3, type: uint32, scale: 0.001, unit: bar, gauge: true}
"""


def told(hall: ModuleType, root: Path, codes: tuple[int, int]) -> Review:
    """An hour of 2, in the unit of the first code and then in that of the second."""
    dues = hall.every(60_000, "2026-05-05T00:00Z", "2026-05-05T01:00Z")
    with Archive.open(root) as archive:
        for part, code in zip((dues[:30], dues[30:]), codes, strict=True):
            what = hall.record(60_000, map_text=TOLD)
            hall.fill(archive, what, part, lambda _, code=code: (2.0, code, 7000))
    found = review(root, hall.POINT)
    assert found is not None
    return found


def test_a_unit_that_the_meter_tells_is_summed_where_it_stayed(hall: ModuleType, root: Path) -> None:
    """An hour of 2 l/s are 7,200 l."""
    found = told(hall, root, (1, 1))
    assert found.readings["flow"].shown.unit == "l/s"
    assert found.readings["flow"].total == pytest.approx(7200.0)
    assert mixed_units(found.measured.units) is None


def test_a_unit_that_changed_on_the_way_leaves_no_figure_and_is_told(hall: ModuleType, root: Path) -> None:
    """Half an hour each: a mean over both would be a number without a unit."""
    found = told(hall, root, (0, 1))
    assert list(found.readings) == ["pressure"]
    text = CliRunner().invoke(app, ["review", str(root)]).stdout
    assert "CAUTION: The meter was set to another unit meanwhile: flow in l/s, m3/h." in text
    assert "eine andere Einheit gestellt: flow in l/s, m3/h." in page(
        [found], Words(Language.GERMAN), "Halle"
    )
