"""Hours become a day: the same rows in one file, the hours kept in superseded/."""

import json
from datetime import date, timedelta
from pathlib import Path
from types import ModuleType

import pyarrow.parquet as pq
import pytest

from readout.sealing.merge import merge_days
from storage.archive import Archive, ArchiveReader
from storage.errors import SealingRefused
from storage.verify import verify_archive

DAY = date(2026, 5, 3)
NEXT = DAY + timedelta(days=1)


def live(root: Path) -> list[str]:
    return [Path(file.file).name for file in ArchiveReader(root).files()]


def merged(root: Path, before: date = NEXT) -> list[str]:
    with Archive.open(root) as archive:
        return [Path(file.file).name for file in merge_days(archive, before)]


def test_a_days_hours_become_one_file_with_the_same_rows(meter: ModuleType, root: Path) -> None:
    meter.hours(root, 4)
    before = ArchiveReader(root).read_rows(meter.POINT, "live")
    hours = {file.file: (root / file.file).read_bytes() for file in ArchiveReader(root).files()}
    assert merged(root) == live(root) == ["0000000001-0000000020.parquet"]
    after = ArchiveReader(root).read_rows(meter.POINT, "live")
    assert after.equals(before)
    assert after["flow"].to_pylist() == [n + 0.5 for n in range(20)]
    for name, data in hours.items():
        assert (root / name.replace("rows/", "superseded/", 1)).read_bytes() == data
    line = json.loads((root / "ledger.jsonl").read_text().splitlines()[-1])
    assert (line["kind"], line["replaces"]) == ("merged", list(hours))
    assert verify_archive(root).faults == verify_archive(root).notes == ()


def test_a_day_that_has_not_ended_stays_in_hours(meter: ModuleType, root: Path) -> None:
    meter.hours(root, 3)
    assert merged(root, DAY) == []
    assert len(live(root)) == 3


def test_merging_again_finds_nothing_to_do_and_a_late_hour_joins(meter: ModuleType, root: Path) -> None:
    meter.hours(root, 2)
    assert len(merged(root)) == 1
    assert merged(root) == []
    with Archive.open(root) as archive:
        late = [meter.MIDNIGHT + 5 * meter.HOUR]
        meter.fill(archive, meter.record(), late, lambda _: meter.words_of(99.5, 1))
        meter.seal(archive)
    assert merged(root) == ["0000000001-0000000011.parquet"]
    assert verify_archive(root).faults == ()


def test_a_corrected_map_keeps_its_own_file(meter: ModuleType, root: Path) -> None:
    """Values of two maps are never in one file; each side of the change is merged by itself."""
    meter.hours(root, 2)
    with Archive.open(root) as archive:
        other = meter.record(meter.MAP.replace("0.001", "0.002"))
        for hour in (2, 3):
            meter.fill(archive, other, [meter.MIDNIGHT + hour * meter.HOUR], lambda _: meter.words_of(1.0, 1))
            meter.seal(archive)
    assert merged(root) == ["0000000001-0000000010.parquet", "0000000011-0000000012.parquet"]


def test_what_differs_between_the_hours_is_kept_run_by_run(meter: ModuleType, root: Path) -> None:
    """A meter that told its settings only later, and an added column: nothing of it is lost."""
    meter.hours(root, 2)
    settings = {"damping": {"value": 4, "unit": "s"}}
    meter.hours(root, 1, what=meter.record(settings=settings))
    with Archive.open(root) as archive:
        further = meter.record(
            columns=(*meter.record().columns, meter.record().columns[0]._replace(address=3))
        )
        meter.fill(
            archive, further, [meter.MIDNIGHT + 9 * meter.HOUR], lambda _: [*meter.words_of(1.0, 1), 77]
        )
        meter.seal(archive)
    assert len(merged(root)) == 1
    (file,) = ArchiveReader(root).files()
    found = pq.read_metadata(root / file.file)
    parts = json.loads(found.metadata[b"pipeledger.parts"])
    assert [(p["rows"]["first_sequence"], p["rows"]["last_sequence"]) for p in parts] == [
        (1, 10), (11, 15), (16, 16)
    ]  # fmt: skip
    assert [part["settings"] for part in parts] == [{}, settings, {}]
    assert json.loads(found.metadata[b"pipeledger.rows"])["count"] == 16
    rows = ArchiveReader(root).read_rows(meter.POINT, "live")
    assert rows["raw_input_3"].to_pylist() == [None] * 15 + [77]


def test_five_hundred_files_a_year_at_most(meter: ModuleType, root: Path) -> None:
    """Forty days of three sealings each are forty files; a year of any number of hours is 365."""
    with Archive.open(root) as archive:
        for third in range(120):
            due = meter.MIDNIGHT + third * 8 * meter.HOUR
            meter.fill(archive, meter.record(), [due], lambda i: meter.words_of(i, i))
            meter.seal(archive)
        merge_days(archive, DAY + timedelta(days=40))
    assert len(live(root)) == 40


def test_a_damaged_hour_is_not_built_upon(meter: ModuleType, root: Path) -> None:
    meter.hours(root, 3)
    one = root / ArchiveReader(root).files()[1].file
    data = bytearray(one.read_bytes())
    data[20] ^= 1
    one.write_bytes(data)
    assert merged(root) == []
    assert [fault.file for fault in verify_archive(root).faults] == [one.relative_to(root).as_posix()]


def test_other_rows_are_refused_and_nothing_is_written(meter: ModuleType, root: Path) -> None:
    """The rows are compared on the new file's bytes before anything is renamed."""
    from storage.archive import Replacement
    from storage.ledger import Kind

    meter.hours(root, 2)
    ledger = (root / "ledger.jsonl").read_bytes()
    with Archive.open(root) as archive:
        files = tuple(ArchiveReader(root).files())
        before = archive.read(files[0])
        other = Replacement(files[:1], before, before.slice(1), {})
        with pytest.raises(SealingRefused, match="its rows are not those of"):
            archive.replace(Kind.MERGED, [other], unchanged=lambda _: True, content={})
        assert list((root / "temporary").iterdir()) == []
    assert (root / "ledger.jsonl").read_bytes() == ledger
    assert len(live(root)) == 2
