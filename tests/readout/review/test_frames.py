"""Frames for notebooks: the same numbers, with units in attrs and times of the site."""

from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from readout.errors import WrongUse
from readout.review import frames
from readout.review.review import review
from storage.archive import Archive


def test_frames_carry_units_and_site_times(hall: ModuleType, root: Path) -> None:
    """Two days of minutes, constructed: the hour of the day as flow."""
    dues = hall.every(60_000, "2026-05-04T23:00Z", "2026-05-06T23:00Z")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(60_000), dues, lambda due: ((due // 3_600_000 + 1) % 24, 7000, 1))
    found = review(root, hall.POINT)
    assert found is not None
    hours = frames.hours(found, "flow")
    assert str(hours.index.tz) == "Europe/Dublin"
    assert list(hours["mean"]) == list(hours.index.hour)
    assert hours.attrs["units"] == {
        "mean": "m3/h", "lowest": "m3/h", "highest": "m3/h", "measured_s": "s", "elapsed_s": "s",
        "total": "m3",
    }  # fmt: skip
    days = frames.days(found, "flow")
    assert list(days["total"]) == pytest.approx([276.0, 276.0])
    assert list(days["day_type"]) == ["production", "production"]
    means, count = frames.week(found, "flow")
    assert means.loc[13, "Tuesday"] == 13
    assert count["Wednesday"].sum() == 24
    assert means["Monday"].isna().all()
    assert len(frames.minutes(found, "pressure")) == len(dues)


def test_rows_as_a_frame_have_those_of_the_journal_too(hall: ModuleType, root: Path) -> None:
    dues = hall.every(1000, "2026-05-05T08:00Z", "2026-05-05T08:00:10Z")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(), dues, lambda _: (1.5, 7000, 1))
    frame = frames.rows(root, hall.POINT, since=dues[2], until=dues[8])
    assert len(frame) == 6
    assert frame.index[0] == pd.Timestamp("2026-05-05T08:00:02Z")
    assert frame.attrs["units"] == {"flow": "m3/h", "pressure": "bar(g)", "total": "m3"}
    with pytest.raises(WrongUse, match="has no rows of nowhere"):
        frames.rows(root, "nowhere")
