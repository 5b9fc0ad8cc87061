"""What a chart is drawn from: spikes keep their height, gaps stay gaps (S06, S07)."""

from types import ModuleType

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from readout.report.content.pictures.over_time import over_time
from readout.report.language.words import Words
from readout.review.review import review
from readout.review.series import series
from storage.archive import Archive

ROWS = 1_000_000


@pytest.fixture(scope="module")
def million(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory):
    """A million rows of 100 m3/h, one of 731.5, and two hours without any."""
    root = tmp_path_factory.mktemp("series") / "archive"
    count = np.arange(ROWS)
    begin = hall.ms("2026-05-01T00:00Z")
    due = begin + count * 1000 + np.where(count > 500_000, 2 * hall.HOUR, 0)
    flow = np.full(ROWS, 100.0, np.float32)
    flow[777_777] = 731.5
    what = hall.record(1000)
    table = pa.table(
        {
            "sequence": pa.array(count + 1),
            "due": pa.array(due, pa.timestamp("ms", "UTC")),
            "status": pa.array(["ok"] * ROWS),
            "flow": pa.array(flow),
        }
    )
    with Archive.open(root) as archive:
        from datetime import date

        archive.seal(
            table, point=hall.POINT, source="live", date=date(2026, 5, 1), first_sequence=1,
            last_sequence=ROWS, metadata=what.metadata({"count": ROWS}),
        )  # fmt: skip
    found = review(root, hall.POINT)
    assert found is not None
    return found, int(due[777_777]), int(due[500_000]) + 1000


def test_one_spike_in_a_million_has_its_exact_height(million) -> None:
    found, spike, _ = million
    drawn = series(found, "flow", 1000)
    assert len(drawn.begin) <= 1000
    assert np.nanmax(drawn.high) == 731.5
    (at,) = np.flatnonzero(drawn.high > 100)
    assert drawn.begin[at] <= spike < drawn.begin[at] + drawn.width_ms
    assert drawn.low[at] == 100
    zoomed = series(found, "flow", 1000, since=spike - 600_000, until=spike + 600_000)
    assert zoomed.width_ms == 60_000
    assert np.nanmax(zoomed.high) == 731.5


def test_the_page_draws_that_spike_and_no_line_over_the_gap(million, hall: ModuleType) -> None:
    """The page's own data of a million rows: strokes and the line of means, as its chart script gets them."""
    found, spike, gap = million
    strokes, means = over_time(found, ["flow"], Words()).spec["data"]
    assert max(one for one in strokes["y"] if one is not None) == 731.5
    assert strokes["connectgaps"] is means["connectgaps"] is False
    assert len(means["x"]) <= 3000
    for drawn in (strokes, means):
        at = pd.to_datetime(drawn["x"]).tz_localize("Europe/Dublin").as_unit("ms").asi8
        inside = (at >= gap + 600_000) & (at < gap + 2 * hall.HOUR - 600_000)
        assert inside.sum() >= 10
        assert {one for one, is_in in zip(drawn["y"], inside, strict=True) if is_in} == {None}
        (high,) = {at[n] for n, one in enumerate(drawn["y"]) if one is not None and one > 100}
        assert high <= spike < high + 600_000
    (shape,) = over_time(found, ["flow"], Words()).spec["layout"]["shapes"]
    ends = pd.to_datetime([shape["x0"], shape["x1"]]).tz_localize("Europe/Dublin").as_unit("ms").asi8
    assert list(ends) == [gap, gap + 2 * hall.HOUR]


def test_two_hours_without_rows_are_empty_columns(million, hall: ModuleType) -> None:
    found, _, gap = million
    drawn = series(found, "flow", 2000)
    inside = (drawn.begin >= gap) & (drawn.begin + drawn.width_ms <= gap + 2 * hall.HOUR)
    assert inside.sum() >= 7
    for one in (drawn.means, drawn.low, drawn.high):
        assert np.isnan(one[inside]).all()
    assert not np.isnan(drawn.means[~inside]).sum() > 1
    (told,) = found.coverage.gaps
    assert (told.begin_ms, told.end_ms, told.missing_s) == (gap, gap + 2 * hall.HOUR, 7200.0)
