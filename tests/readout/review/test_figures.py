"""Figures of a constructed log, against sums, pandas and numpy that look at the rows themselves."""

import math
import random
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from protocols.units import quantity_of
from readout.review.hourly import hourly_means
from readout.review.review import Asked, Review, duration_curve, hours_of, review
from storage.archive import Archive


@pytest.fixture(scope="module")
def log(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> "tuple[Review, pd.DataFrame, Path]":
    """Two days of 5 s rows, one in nine without a flow, half an hour without rows; partly in the journal."""
    root = tmp_path_factory.mktemp("figures") / "archive"
    values = random.Random(8)
    rows = {}
    for due in hall.every(5000, "2026-05-04T23:00Z", "2026-05-06T23:00Z"):
        if not hall.ms("2026-05-05T10:00Z") <= due < hall.ms("2026-05-05T10:30Z"):
            flow = None if due // 5000 % 9 == 0 else float(np.float32(values.gauss(100, 30)))
            rows[due] = (flow, 7000 + values.randrange(-400, 400), (due // 5000) % 9000)
    dues = list(rows)
    with Archive.open(root) as archive:
        for first, last in ((0, 9000), (9000, 20000)):
            hall.fill(archive, hall.record(5000), dues[first:last], rows.__getitem__)
            hall.seal(archive, dues[last - 1] + 1000 if last < len(dues) else dues[-1])
        hall.fill(archive, hall.record(5000), dues[20000:], rows.__getitem__)
    found = review(root, hall.POINT)
    assert found is not None
    frame = pd.DataFrame(
        {"flow": [row[0] for row in rows.values()], "pressure": [row[1] / 1000 for row in rows.values()]},
        index=pd.to_datetime(dues, unit="ms", utc=True),
    ).astype(float)
    return found, frame.tz_convert("Europe/Dublin"), root


def test_total_mean_and_extremes_are_those_of_the_rows(log: "tuple[Review, pd.DataFrame, Path]") -> None:
    """5 s each: m3/h × 5/3600 h."""
    found, frame, _ = log
    assert found.flow is not None
    told = found.flow.statistics
    assert found.flow.total == pytest.approx(math.fsum(frame.flow.dropna()) * 5 / 3600, rel=1e-12)
    assert told.mean == pytest.approx(frame.flow.mean(), rel=1e-12)
    assert (told.lowest, told.highest) == (frame.flow.min(), frame.flow.max())
    assert told.highest_ms == round(frame.flow.idxmax().floor("min").timestamp() * 1000)


def test_percentiles_are_values_that_were_measured(log: "tuple[Review, pd.DataFrame, Path]") -> None:
    """numpy's inverted distribution function, exactly: the smallest value that holds for that share."""
    found, frame, _ = log
    assert found.flow is not None
    for share, value in found.flow.statistics.percentiles.items():
        assert value == np.quantile(frame.flow.dropna(), share, method="inverted_cdf"), share
    assert found.flow.statistics.median == found.flow.statistics.percentiles[0.5]


@pytest.mark.parametrize("length", [1, 5, 15, 60])
def test_peaks_are_the_largest_rolling_means(log: "tuple[Review, pd.DataFrame, Path]", length: int) -> None:
    """Against pandas' rolling windows of whole clock minutes, of which at least 90 % was measured."""
    found, frame, _ = log
    assert found.flow is not None
    minutes = frame.flow.resample("1min").agg(["sum", "count"])
    rolled = minutes.rolling(length).sum()
    means = (rolled["sum"] / rolled["count"])[rolled["count"] * 5 >= 0.9 * length * 60]
    (peak,) = (one for one in found.flow.statistics.peaks if one.minutes == length)
    if means.empty:
        assert peak.value is None
        assert peak.why
        return
    assert peak.value == pytest.approx(means.max(), rel=1e-12)
    begin = means.idxmax() - pd.Timedelta(minutes=length - 1)
    assert peak.begin_ms == round(begin.timestamp() * 1000)


def test_days_shifts_and_hours_are_those_of_pandas(log: "tuple[Review, pd.DataFrame, Path]") -> None:
    found, frame, _ = log
    assert found.flow is not None
    daily = frame.flow.resample("D").mean()
    assert [day.mean for day in found.flow.days] == pytest.approx(list(daily), rel=1e-12)
    assert [day.name for day in found.flow.days] == [str(day.date()) for day in daily.index]
    early = frame.flow.between_time("06:00", "14:00", inclusive="left")
    expected = [early[str(day.date())].mean() for day in daily.index]
    shifts = [one for one in found.flow.shifts if one.name.endswith("early")]
    assert [one.mean for one in shifts] == pytest.approx(expected, rel=1e-12)
    assert [one.elapsed_s for one in shifts] == [8 * 3600.0, 8 * 3600.0]
    assert [one.count for one in found.flow.week] == [1] * 48


def test_hours_agree_with_the_hourly_means_asked_for_another_way(
    log: "tuple[Review, pd.DataFrame, Path]", hall: ModuleType
) -> None:
    found, _, root = log
    other = hourly_means(root, hall.POINT, "live", ["flow"], found.installation.zone)
    hours = hours_of(found, "flow")
    assert [one.mean for one in hours] == pytest.approx(other["flow"].to_pylist(), rel=1e-12)
    begins = [round(hour.timestamp() * 1000) for hour in other["hour"].to_pylist()]
    assert [one.begin_ms for one in hours] == begins


def test_the_duration_curve_falls_through_the_percentiles(log: "tuple[Review, pd.DataFrame, Path]") -> None:
    """Within a class of the span, which has 4096: 0.1 m3/h here."""
    found, frame, _ = log
    shares, values = duration_curve(found, "flow")
    assert (np.diff(values) <= 0).all()
    expected = np.quantile(frame.flow.dropna(), 1 - shares, method="inverted_cdf")
    assert values == pytest.approx(expected, abs=0.1)


def test_what_is_missing_is_told_by_cause_to_the_second(log: "tuple[Review, pd.DataFrame, Path]") -> None:
    found, frame, _ = log
    covered = found.coverage
    nothing = float(frame.flow.isna().sum() * 5)
    assert covered.measured_s == frame.flow.count() * 5
    assert covered.elapsed_s == 2 * 86400
    assert dict(covered.missing_s) == {"recorder not running": 1800.0, "not available": nothing}
    assert covered.measured_s + sum(covered.missing_s.values()) == covered.elapsed_s


def test_share_of_time_below_the_required_pressure(hall: ModuleType, root: Path) -> None:
    """Constructed: 6.4 bar(g) for 90 min of the early shift, 7 bar(g) else."""
    low = range(hall.ms("2026-05-05T07:00Z"), hall.ms("2026-05-05T08:30Z"))
    dues = hall.every(10_000, "2026-05-04T23:00Z", "2026-05-05T23:00Z")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(10_000), dues, lambda due: (50.0, 6400 if due in low else 7000, 1))
    required = quantity_of("650 kPa(g)")
    assert not isinstance(required, str)
    found = review(root, hall.POINT, asked=Asked(required=required))
    assert found is not None
    assert found.pressure is not None
    assert found.pressure.required == pytest.approx(6.5)
    assert found.pressure.share_below == pytest.approx(1.5 / 24)
    assert found.pressure.lowest == pytest.approx(6.4)
    assert found.pressure.lowest_ms == hall.ms("2026-05-05T07:00Z")
    assert [low for _, low in found.pressure.by_shift] == pytest.approx([6.4, 7.0])
