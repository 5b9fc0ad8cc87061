"""Runs of rows that differ in settings, interval or point file keep their own, before and after a merge."""

from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from readout.report.content.settings import disagreements
from readout.report.language.words import Words
from readout.report.page import page
from readout.review.review import Asked, Review, review
from readout.sealing.merge import merge_days
from storage.archive import Archive, ArchiveReader

RIGHT = {"inside_diameter": {"value": 53.1, "unit": "mm", "flag": None}}
WRONG = {"inside_diameter": {"value": 50.0, "unit": "mm", "flag": None}}
TEN_MINUTES = 600_000


def begin(hall: ModuleType) -> int:
    """10:00 in Dublin."""
    moment: int = hall.ms("2026-05-05T09:00Z")
    return moment


def runs(hall: ModuleType, root: Path, *each: dict[str, Any], unsealed: int = 0) -> Path:
    """Ten minutes of 60 m3/h for each, one behind the other; the last `unsealed` stay in the journal."""
    with Archive.open(root) as opened:
        for number, changes in enumerate(each):
            every = changes.get("every_ms", 10_000)
            first = begin(hall) + number * TEN_MINUTES
            dues = range(first, first + TEN_MINUTES, every)
            what = hall.record(every, **{name: one for name, one in changes.items() if name != "every_ms"})
            hall.fill(opened, what, dues, lambda _: (60.0, 7000, None))
            if number < len(each) - unsealed:
                hall.seal(opened, dues[-1] + every)
    return root


def merged(root: Path) -> Path:
    """The day's files joined to one."""
    with Archive.open(root) as opened:
        merge_days(opened, date(2026, 5, 6))
    assert len(ArchiveReader(root).files()) == 1
    return root


def looked_at(hall: ModuleType, root: Path) -> Review:
    found = review(root, hall.POINT)
    assert found is not None
    return found


def told(hall: ModuleType, found: Review) -> list[tuple[int, float]]:
    """(minutes since the first row, the diameter that the meter computed with) of each installation."""
    return [
        ((at - begin(hall)) // 60_000, about.settings["inside_diameter"]["value"])
        for at, about in found.measured.installations
    ]


@pytest.mark.parametrize("unsealed", [0, 1, 3])
def test_settings_that_were_put_back_are_told_span_by_span(
    hall: ModuleType, root: Path, unsealed: int
) -> None:
    settings = [{"settings": one} for one in (RIGHT, RIGHT, WRONG, RIGHT)]
    found = looked_at(hall, runs(hall, root, *settings, unsealed=unsealed))
    assert told(hall, found) == [(0, 53.1), (20, 50.0), (30, 53.1)]
    assert found.installation.settings == RIGHT
    html = page([found], Words(), "Audit")
    wrong = (
        "From 2026-05-05 10:20 (UTC+0100) until 2026-05-05 10:30 (UTC+0100): The meter&#39;s settings: the"
    )
    assert wrong in html
    assert html.count("The meter&#39;s settings:") == html.count(wrong)


def test_a_merge_of_the_day_changes_nothing_of_it(hall: ModuleType, root: Path) -> None:
    runs(hall, root, *({"settings": one} for one in (RIGHT, WRONG, RIGHT)))
    before = list(disagreements(looked_at(hall, root), Words()))
    found = looked_at(hall, merged(root))
    assert told(hall, found) == [(0, 53.1), (10, 50.0), (20, 53.1)]
    assert list(disagreements(found, Words())) == before


def test_an_interval_that_was_changed_holds_for_its_own_rows_after_a_merge(
    hall: ModuleType, root: Path
) -> None:
    """Ten minutes each of rows every 10 s, 1 s, 10 s and 1 s at 60 m3/h: 40 minutes, 40 m3."""
    intervals = [{"every_ms": every} for every in (10_000, 1000, 10_000, 1000)]
    found = looked_at(hall, merged(runs(hall, root, *intervals)))
    assert found.flow is not None
    assert found.flow.total == pytest.approx(40.0)
    assert found.coverage.share == 1.0
    assert found.measured.counts["status"] == {"ok": 60 + 600 + 60 + 600}
    assert found.measured.curves["flow"].seconds.sum() == 2400


def test_sessions_of_a_memory_keep_their_intervals_after_a_merge(hall: ModuleType, root: Path) -> None:
    """Half an hour of means of a minute at 60 m3/h, then one of means of two minutes at 30: 30 + 15 m3."""
    for session, first, every, flow in ((1, 1, 60_000, 60.0), (2, 31, 120_000, 30.0)):
        start = begin(hall) + (session - 1) * 1_800_000
        times = range(start, start + 1_800_000, every)
        hall.memory(
            root,
            times,
            [flow] * len(times),
            every,
            holds="mean",
            marked_at="start",
            session=session,
            first=first,
        )
    for _ in range(2):
        found = review(root, hall.POINT, "memory")
        assert found is not None
        assert found.flow is not None
        assert found.flow.total == pytest.approx(45.0)
        assert found.measured.curves["flow"].seconds.sum() == 3600
        assert found.coverage.share == 1.0
        merged(root)


def test_a_calendar_that_was_written_later_is_the_newer_word(hall: ModuleType, root: Path) -> None:
    without = hall.JOB.partition("calendar:")[0]
    found = looked_at(hall, runs(hall, root, {"job": without}, {"job": hall.JOB}))
    assert found.installation.calendar is not None


def test_what_held_outside_the_span_is_not_told(hall: ModuleType, root: Path) -> None:
    runs(hall, root, *({"settings": one} for one in (WRONG, RIGHT, WRONG)))
    first = begin(hall) + TEN_MINUTES
    found = review(root, hall.POINT, "live", Asked(since=first, until=first + TEN_MINUTES))
    assert found is not None
    assert told(hall, found) == [(10, 53.1)]
    assert list(disagreements(found, Words())) == []
