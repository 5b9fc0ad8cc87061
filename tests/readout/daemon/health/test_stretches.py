"""Rows and files as stretches: what the footer tells is what the rows tell, gaps and flags included."""

from collections import Counter
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from readout.daemon.health.stretches import Look, Stretch, added_up
from readout.review.figures.coverage import NO_ROW, NOT_RUNNING
from readout.sealing.merge import merge_days
from storage.archive import Archive, ArchiveReader

OK, NAN, NONE = (300.0, 7000, 100), (float("nan"), 7000, 100), (None, None, None)
S = 1000


def sealed(hall: ModuleType, root: Path, *runs: tuple[int, int, Any, str]) -> tuple[Stretch, int]:
    """A file of rows a second in runs: from, until [s of the day], words, status. And its begin [ms]."""
    begin = int(hall.ms("2026-05-05T00:00Z"))
    with Archive.open(root) as archive:
        for since, until, row, status in runs:
            dues = range(begin + since * S, begin + until * S, S)
            hall.fill(archive, hall.record(S), dues, lambda _, row=row: row, status=status)
        hall.seal(archive, begin + hall.DAY)
    (file,) = ArchiveReader(root).files()
    (found,) = Look(root, "flow").stretches([file])
    return found, begin


@pytest.mark.parametrize(
    ("runs", "missing", "holes"),
    [
        # One status in all rows: the footer alone tells it.
        (((0, 60, OK, "ok"),), {}, []),
        (((0, 60, NONE, "no reply"),), {"no reply": 60}, []),
        (((0, 60, NAN, "ok"),), {"not a number": 60}, []),
        (((0, 50, OK, "ok"), (50, 60, NONE, "no reply")), {"no reply": 10}, []),
        (((0, 50, OK, "ok"), (50, 60, NAN, "ok")), {"not a number": 10}, []),
        # A flag and a silence in one file: neither may be taken for the other.
        (((0, 40, OK, "ok"), (40, 50, NAN, "ok"), (50, 60, NONE, "skipped")),
         {"not a number": 10, "skipped": 10}, []),
        # The flow is there in one partial round, and not in another.
        (((0, 40, OK, "partial"), (40, 60, (None, 7000, 100), "partial")), {"partial": 20}, []),
        (((0, 50, OK, "ok"), (50, 60, (float("nan"), None, None), "partial")), {"not a number": 10}, []),
        (((0, 20, OK, "ok"), (30, 60, OK, "ok")), {}, [(20, 30)]),
    ],
)  # fmt: skip
def test_a_minute_of_seconds(
    hall: ModuleType, root: Path, runs: Any, missing: dict[str, int], holes: list[tuple[int, int]]
) -> None:
    """Measured, missing by cause and gaps are the minute."""
    found, begin = sealed(hall, root, *runs)
    assert (found.first_ms, found.end_ms) == (begin, begin + 60 * S)
    assert found.missing_ms == {cause: seconds * S for cause, seconds in missing.items()}
    assert list(found.holes) == [(begin + since * S, begin + until * S) for since, until in holes]
    statuses: Counter[str] = Counter()
    for since, until, _, status in runs:
        statuses[status] += until - since
    assert found.statuses == statuses
    gone = sum(missing.values()) + sum(until - since for since, until in holes)
    assert found.measured_ms == (60 - gone) * S


def test_a_day_in_which_the_interval_was_changed_has_a_stretch_for_each(hall: ModuleType, root: Path) -> None:
    """Ten minutes a second, then an hour a minute, joined to one file: 600 rows are 600 s, 60 rows 3600 s."""
    begin = int(hall.ms("2026-05-05T00:00Z"))
    with Archive.open(root) as archive:
        for since, until, every in ((0, 600, S), (600, 4200, 60 * S)):
            dues = range(begin + since * S, begin + until * S, every)
            hall.fill(archive, hall.record(every), dues, lambda _: OK, status="ok")
            hall.seal(archive, begin + hall.DAY)
        merge_days(archive, date(2026, 5, 6))
    (file,) = ArchiveReader(root).files()
    assert file.rows == 660
    found = Look(root, "flow").stretches([file])
    assert [(one.first_ms - begin, one.end_ms - begin) for one in found] == [
        (0, 600 * S),
        (600 * S, 4200 * S),
    ]
    assert [one.measured_ms for one in found] == [600 * S, 3600 * S]
    assert [run.interval_ms for run in Look(root, "flow").rows(file)] == [S, 60 * S]


def test_a_gap_between_stretches_has_the_cause_that_the_recorders_runs_tell() -> None:
    """A recorder ran until 100 s and from 200 s on: 40 s without a row while it ran, 120 s around its end."""
    one, two, three = (Stretch(at * S, end * S, (end - at) * S, {}, {}) for at, end in
                       ((0, 20), (60, 90), (210, 300)))  # fmt: skip
    back = Stretch(10 * S, 15 * S, 0, {}, {})  # the clock had been put back: within the first
    found = added_up([three, back, one, two], [(0, 100 * S), (200 * S, 300 * S)], 0, 300 * S)
    assert found.missing_ms == {NO_ROW: 40 * S, NOT_RUNNING: 120 * S}
    assert found.share == pytest.approx(140 / 300)
