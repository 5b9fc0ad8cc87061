"""What a chart is drawn from: spikes keep their height, gaps stay gaps (S06, S07)."""

from types import ModuleType

import numpy as np
import pyarrow as pa
import pytest

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
