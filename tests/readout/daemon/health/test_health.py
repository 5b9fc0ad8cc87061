"""Coverage, causes and line errors of an archive filled by hand: expected figures are sums of its rows.

Rounds a minute from 5 May 2026, 00:00 UTC to 8 May, 12:00: 84 h are 5040 of them. Constructed.
"""

import shutil
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.parquet as pq
import pytest

from readout.daemon.health.health import PointHealth, health
from readout.daemon.health.shortfalls import shortfalls
from readout.review.about.logbook import log_book
from readout.review.figures.coverage import NO_ROW, coverage
from readout.review.rows.measure import measure
from storage.archive import Archive
from storage.errors import ArchiveDamaged
from storage.ledger import Kind
from storage.reserve import Room

GOLDEN = Path(__file__).parents[3] / "golden" / "archive-2" / "archive"
OK, NAN = (300.0, 7000, 100), (float("nan"), 7000, 100)
ROUNDS = 84 * 60


@pytest.fixture(scope="module")
def root(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three sealed days, half a day in the journal."""
    root = tmp_path_factory.mktemp("health") / "archive"
    now = [hall.ms("2026-05-05T00:00Z")]
    what = hall.record(60_000)
    with Archive.open(root, utc=lambda: now[0] / 1000) as archive:

        def rows(begin: str, end: str, row: Any, **changes: Any) -> None:
            dues = hall.every(60_000, f"2026-05-{begin}Z", f"2026-05-{end}Z")
            hall.fill(archive, what, dues, lambda _: row, **changes)

        def sealed(at: str) -> None:
            now[0] = hall.ms(f"2026-05-{at}Z")
            hall.seal(archive, now[0])

        def late(count: int) -> None:
            archive.ledger.append(Kind.EVENT, {"what": "late replies", "point": hall.POINT, "count": count})

        archive.ledger.append(Kind.STARTED, {"points": {hall.POINT: {}}})
        rows("05T00:00", "05T06:00", OK)
        rows("05T06:00", "05T06:10", (None, None, None), status="no reply", time=None)
        rows("05T06:10", "06T00:00", OK)
        sealed("06T00:00")
        late(2)
        rows("06T00:00", "06T10:00", OK)  # an hour without a row, though the recorder ran
        rows("06T11:00", "06T12:00", OK)
        rows("06T12:00", "06T12:05", (None, 7000, 100), status="partial")
        rows("06T12:05", "06T12:12", NAN)
        rows("06T12:12", "07T00:00", OK)
        sealed("07T00:00")
        rows("07T00:00", "08T00:00", OK)
        sealed("08T00:00")
        rows("08T00:00", "08T11:00", OK)
        rows("08T11:00", "08T11:30", (None, None, None), status="exception")
        rows("08T11:30", "08T11:50", OK)
        rows("08T11:50", "08T12:00", OK, clock="unsynchronised")
        now[0] = hall.ms("2026-05-08T12:00Z")
        late(3)
        archive.ledger.append(Kind.STOPPED, {})
    return root


@pytest.fixture(scope="module")
def now_ms(hall: ModuleType) -> int:
    """When it is asked: as the last row's interval is over."""
    return int(hall.ms("2026-05-08T12:00Z"))


@pytest.fixture(scope="module")
def point(hall: ModuleType, root: Path, now_ms: int) -> PointHealth:
    """How the point stands then."""
    return health(root, now_ms).points[hall.POINT]


def test_every_round_counts_once_with_its_cause(
    hall: ModuleType, root: Path, point: PointHealth, now_ms: int
) -> None:
    """The seconds of every cause and the share are the review's, too, which reads all rows."""
    missing = {"no reply": 10, NO_ROW: 60, "partial": 5, "not a number": 7, "exception": 30}
    assert point.missing == missing
    assert point.missing_hour == {"exception": 30}
    assert point.shares.start == pytest.approx((ROUNDS - sum(missing.values())) / ROUNDS)
    assert point.shares.hour == pytest.approx(30 / 60)
    assert point.shares.day == pytest.approx(1410 / 1440)
    assert (point.interval_ms, point.status, point.clock) == (60_000, "ok", "unsynchronised")
    assert (point.last_ms, point.age_ms) == (now_ms - 60_000, 60_000)
    assert point.worst_reply_ms == 31
    measured = measure(root, hall.POINT, "live")
    assert measured is not None
    found = coverage(measured, "flow", log_book(root, hall.POINT).ran)
    assert found.share == pytest.approx(point.shares.start)
    assert {cause: s / 60 for cause, s in found.missing_s.items()} == pytest.approx(missing)


def test_line_errors_are_counted_by_kind_since_the_start_and_in_the_last_day(point: PointHealth) -> None:
    """Late replies come from the ledger: told with the sealing of the first day, and at the end."""
    assert point.line_errors.start == {"exception": 30, "no reply": 10, "partial": 5, "late replies": 5}
    assert point.line_errors.day == {"exception": 30, "late replies": 3}
    assert point.late_replies == 5
    assert point.clock_day == {"synchronised": 1430, "unsynchronised": 10}


def test_what_waits_and_what_falls_short_is_told(hall: ModuleType, root: Path, now_ms: int) -> None:
    """720 rows wait since midnight; half of the last hour is too little, and nobody records."""
    found = health(root, now_ms)
    assert (found.waiting, found.oldest_ms) == (720, 12 * hall.HOUR)
    told = shortfalls(found, 0.95, now_ms)
    assert told[0].startswith("no recorder is running")
    assert told[1].startswith(f"{hall.POINT}: 50.0% of the last hour is covered, less than 95%")
    assert told[1].endswith("; mostly: exception"), "not what was missing two days ago"
    assert "no row" not in told[1]
    young = replace(found.points[hall.POINT], first_ms=now_ms - 90_000)
    told = shortfalls(replace(found, points={hall.POINT: young}), 0.95, now_ms)
    assert "covered (its first row is 1.5 min old), less" in told[1], "no hour is over yet"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"full_in_s": 6 * 86_400.0}, "the disk will be full in 6.0 days: make room"),
        (
            {"room": Room(500 << 20, 100 << 30), "full_in_s": 60.0},
            "500 MB are free on the disk, 0 %: make room",
        ),
        ({"log_bytes": 33 << 20}, "the journal's log has 33 MB: some program has been reading the journal"),
        ({"ledger_faults": ("line 7 is no JSON",)}, "ledger.jsonl: line 7 is no JSON"),
    ],
)
def test_a_disk_or_a_journal_that_falls_short_is_told(
    root: Path, now_ms: int, changes: dict[str, Any], sentence: str
) -> None:
    """Once, and not where there is room for a week and a small log."""
    room = Room(50 << 30, 100 << 30)
    found = replace(health(root, now_ms), running=True, room=room, full_in_s=8 * 86_400.0)
    assert shortfalls(found, 0.5, now_ms) == []
    (told,) = shortfalls(replace(found, **changes), 0.5, now_ms)
    assert told.startswith(sentence)


def test_a_point_that_was_taken_out_falls_short_for_a_day_and_no_longer(
    hall: ModuleType, tmp_path: Path
) -> None:
    """Renamed in its point file, or left out of the service: neither unnoticed nor a fault for ever."""
    root, noon = tmp_path / "archive", hall.ms("2026-05-05T12:00Z")
    with Archive.open(root, utc=lambda: noon / 1000) as archive:
        archive.ledger.append(Kind.STARTED, {"points": {hall.POINT: {}}})
        hall.fill(archive, hall.record(60_000), range(noon - 3_600_000, noon, 60_000), lambda _: OK)
        archive.ledger.append(Kind.STOPPED, {})
        archive.ledger.append(Kind.STARTED, {"points": {"rinse-water": {}}})
        soon, later = health(root, noon + 3_600_000), health(root, noon + 90_000_000)
    (told,) = [line for line in shortfalls(soon, 0.95, noon + 3_600_000) if line.startswith(hall.POINT)]
    assert told.startswith(f"{hall.POINT}: no longer recorded")
    assert not [line for line in shortfalls(later, 0.95, noon + 90_000_000) if line.startswith(hall.POINT)]
    assert not later.points[hall.POINT].is_asked
    stopped = health(root, noon + 3_600_000)  # nobody records: no point is told apart
    assert stopped.points[hall.POINT].is_asked


def test_of_an_old_day_without_a_gap_only_the_statuses_are_read(
    root: Path, now_ms: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The day with an hour missing, and what is younger than a day, is read by its rows."""
    read: dict[str, list[str]] = {}

    class Watched(pq.ParquetFile):
        def __init__(self, path: Path, **others: Any) -> None:
            super().__init__(path, **others)
            self.day = path.parent.name

        def read(self, columns: Any = None, **others: Any) -> Any:  # type: ignore[override]
            read.setdefault(self.day, []).extend(columns)
            return super().read(columns=columns, **others)

    monkeypatch.setattr(pq, "ParquetFile", Watched)
    health(root, now_ms)
    assert read["date=2026-05-05"] == ["status"]
    assert set(read["date=2026-05-06"]) == {"due", "time", "clock", "status", "flow", "flow_flag"}
    assert "flow" in read["date=2026-05-07"]


def test_a_file_that_cannot_be_read_is_named(root: Path, now_ms: int, tmp_path: Path) -> None:
    copy = shutil.copytree(root, tmp_path / "copy")
    (file,) = copy.glob("rows/*/*/date=2026-05-05/*.parquet")
    file.write_bytes(file.read_bytes()[:-20])
    with pytest.raises(ArchiveDamaged, match="date=2026-05-05"):
        health(copy, now_ms)


def test_rows_from_before_the_clock_was_set_are_in_no_period(hall: ModuleType, tmp_path: Path) -> None:
    """A golden archive: of two waiting rows one is of 00:01:00, the last came by a clock not set yet."""
    root = shutil.copytree(GOLDEN, tmp_path / "archive")
    now_ms = hall.ms("2026-05-03T00:02:00Z")
    found = health(root, now_ms)
    point = found.points["compressor-2"]
    assert (point.last_ms, point.clock, point.is_timed) == (hall.ms("2026-05-03T00:01:00Z"), "unset", False)
    assert (found.waiting, found.oldest_ms) == (2, 60_000)
    told = shortfalls(replace(found, running=True), 0.95, now_ms)
    assert "compressor-2: this computer's clock is not set, so rows have no time yet" in told
    (why,) = [line for line in shortfalls(found, 0.95, now_ms) if line.startswith("compressor-2")]
    assert "clock was not set" in why, "it may be right now, when nobody records"
    assert "archive seal" in why
