"""What a visit makes of the recorder at work in an archive, or of none."""

import time
from datetime import date
from pathlib import Path

import pytest

from readout.visit.recorder import (
    Kept,
    Recorder,
    in_use_check,
    kept_check,
    recorder_of,
    recording_check,
    records_check,
)
from readout.visit.verdict import Verdict
from storage.archive import Archive, SealedFile, file_name
from storage.ledger import Kind

GO, NO_GO, TO_DECIDE = Verdict.GO, Verdict.NO_GO, Verdict.TO_DECIDE
COMMAND = "pipeledger log header.yaml --archive hollow-mere --every 60s"
#: Started 30 s after a full minute; its rounds are due at full minutes, so the first 30 s later.
HERE = Recorder(4711, 90_000, 60_000)


@pytest.mark.parametrize(
    ("recorder", "kept", "now_ms", "verdict", "said"),
    [
        (None, Kept(), 0, NO_GO, "nothing records this point: no recorder runs in hollow-mere"),
        (Recorder(4711, 0, None), Kept(), 0, NO_GO, "(process 4711) does not record this point"),
        (HERE, Kept(3, 3, "ok"), 300_000, GO, "every 60 s; 3 of the last 3 rows ok"),
        (HERE, Kept(3, 1, "no reply"), 300_000, GO, "1 of the last 3 rows ok"),
        (HERE, Kept(3, 0, "no reply"), 300_000, NO_GO, "no row has a value: no reply"),
        (HERE, Kept(), 100_000, TO_DECIDE, "its first row is due in 20 s"),
        (HERE, Kept(), 126_000, NO_GO, "no row came"),
    ],
)
def test_a_recording_is_one_only_where_rows_come(
    recorder: Recorder | None, kept: Kept, now_ms: int, verdict: Verdict, said: str
) -> None:
    found = recording_check(recorder, kept, "hollow-mere", COMMAND, now_ms)
    assert (found.verdict, said in found.reason) == (verdict, True), found
    assert (COMMAND in found.advice) is (recorder is None or recorder.every_ms is None)


def test_a_line_in_use_by_the_own_recorder_is_go_only_where_nothing_is_left_to_read() -> None:
    found = in_use_check(HERE, "/dev/ttyUSB0", "hollow-mere", ["clock", "log_book"])
    assert (found.verdict, found.status) == (NO_GO, 3)
    assert found.reason.endswith("has still to read the meter for: clock, log book")
    assert in_use_check(HERE, "/dev/ttyUSB0", "hollow-mere", []).verdict is GO


MINUTE, DAY = 60_000, 86_400_000


@pytest.mark.parametrize(
    ("kept", "now_ms", "verdict", "said"),
    [
        (Kept(), DAY, NO_GO, "nothing was recorded"),
        (Kept(5, 0, "no reply", DAY), DAY, NO_GO, "none has a value"),
        (Kept(5, 4, "ok", DAY), DAY + MINUTE, GO, "5 rows since noon, 4 ok"),
        # a recorder stopped a quarter of an hour ago, and one that ended after one day of ten
        (Kept(5, 5, "ok", DAY), DAY + 15 * MINUTE, GO, "5 ok"),
        (Kept(5, 5, "ok", DAY), 10 * DAY, TO_DECIDE, "they ended at 1970-01-02T00:00:00.000Z"),
    ],
)
def test_rows_that_lack_or_ended_early_keep_a_visit_from_go(
    kept: Kept, now_ms: int, verdict: Verdict, said: str
) -> None:
    found = kept_check(kept, "noon", 1, now_ms)
    assert (found.verdict, said in found.reason) == (verdict, True), found


def test_only_a_recorder_that_holds_the_archive_counts(tmp_path: Path) -> None:
    """Not an archive that was never made, not another command's hold, not one that was killed."""
    assert recorder_of(tmp_path, "header") is None
    with Archive.open(tmp_path, utc=time.time) as archive:
        assert recorder_of(tmp_path, "header") is None
        archive.ledger.append(Kind.STARTED, {"points": {"header": {"every_ms": 500}}})
        ours = recorder_of(tmp_path, "header")
        assert ours is not None
        assert ours.every_ms == 500
        other = recorder_of(tmp_path, "other")
        assert other is not None
        assert other.every_ms is None
    assert recorder_of(tmp_path, "header") is None


@pytest.mark.parametrize(
    ("last", "verdict", "said"),
    [
        ("2026-05-03T10:00:00.000Z", TO_DECIDE, "the latest is from 2026-05-03T10:00:00.000Z"),
        ("2026-05-03T12:00:01.000Z", GO, ""),
        (None, GO, ""),  # its clock was not set: the time is not known
    ],
)
def test_records_of_a_memory_from_before_the_visit_are_asked_about(
    tmp_path: Path, last: str | None, verdict: Verdict, said: str
) -> None:
    """The visit began at noon, 2026-05-03 12:00 UTC = 1,777,809,600 s since 1970 (GNU date)."""
    noon_ms = 1_777_809_600_000
    name = file_name("header", "memory", date(2026, 5, 3), 1, 5)
    file = SealedFile(name, "header", "memory", 5, 1, "0" * 64, "0" * 64, 1, 5, last, last)
    with Archive.open(tmp_path, utc=time.time) as archive:
        assert records_check(tmp_path, "header", noon_ms, "noon").verdict is NO_GO
        archive.ledger.append(Kind.SEALED, file.as_told())
    found = records_check(tmp_path, "header", noon_ms, "noon")
    assert (found.verdict, said in found.reason) == (verdict, True), found
