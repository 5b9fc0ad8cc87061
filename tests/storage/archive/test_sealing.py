"""What a sealed file is like, what is refused, and what an archive does when something was lost."""

import hashlib
import json
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import ModuleType

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from storage.archive import Archive, ArchiveReader, SealedFile, column_types
from storage.errors import DiskFull, SealingRefused
from storage.ledger import Kind
from storage.verify import verify_archive

FLOAT, TIME = pa.float32(), pa.timestamp("ms", "UTC")


@pytest.fixture
def sealed(hall: ModuleType, root: Path) -> SealedFile:
    """One file of ten rows, sealed."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 10)
        (file,) = hall.seal_all(archive)
    return file


def seal(archive: Archive, hall: ModuleType, table: pa.Table, **changed: object) -> SealedFile:
    """Seal a table as the header's rows of 3 May."""
    given = {
        "point": hall.POINT, "source": "live", "date": date(2026, 5, 3),
        "first_sequence": 1, "last_sequence": table.num_rows,
        "metadata": {"pipeledger.format": "1"},
    }  # fmt: skip
    return archive.seal(table, **{**given, **changed})


def test_the_ledger_tells_of_the_file_what_is_true_of_it(sealed: SealedFile, root: Path) -> None:
    """Hash, size and rows are checked from outside; the name tells first and last sequence."""
    path = root / sealed.file
    line = json.loads((root / "ledger.jsonl").read_text().splitlines()[0])
    assert line["kind"] == "sealed"
    assert line["file"] == (
        "rows/point=bottling-hall-header/source=live/date=2026-05-02/0000000001-0000000010.parquet"
    )
    assert line["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (line["bytes"], line["rows"]) == (path.stat().st_size, pq.read_metadata(path).num_rows)
    assert (line["first_sequence"], line["last_sequence"]) == (1, 10)
    assert (line["first"], line["last"]) == ("2026-05-02T23:59:50.000Z", "2026-05-02T23:59:59.000Z")
    assert line["columns"]["time"] == "timestamp[ms, tz=UTC]"


def test_metadata_given_is_in_the_file(sealed: SealedFile, root: Path) -> None:
    """As key-value pairs of the footer, where any reader of Parquet looks, and in Arrow's schema."""
    assert pq.read_metadata(root / sealed.file).metadata[b"pipeledger.point"] == b"bottling-hall-header"
    assert pq.read_schema(root / sealed.file).metadata[b"pipeledger.point"] == b"bottling-hall-header"


def test_times_are_instants_for_every_reader(sealed: SealedFile, root: Path) -> None:
    """Parquet's own flag isAdjustedToUTC, without which readers guess a zone (Parquet's LogicalTypes.md)."""
    schema = pq.ParquetFile(root / sealed.file).schema
    for name in ("due", "time"):
        told = json.loads(schema.column(schema.names.index(name)).logical_type.to_json())
        assert (told["isAdjustedToUTC"], told["timeUnit"]) == (True, "milliseconds")


def drop_one(table: pa.Table) -> pa.Table:
    return pa.concat_tables([table[:4], table[5:]])


def exchange(table: pa.Table) -> pa.Table:
    return pa.concat_tables([table[:4], table[5:6], table[4:5], table[6:]])


def double(table: pa.Table) -> pa.Table:
    return pa.concat_tables([table[:5], table[4:]])


def not_a_number(table: pa.Table) -> pa.Table:
    at = table.column_names.index("flow")
    return table.set_column(at, "flow", pa.array([float("nan")] * table.num_rows, pa.float32()))


def other_type(table: pa.Table) -> pa.Table:
    at = table.column_names.index("flow")
    return table.set_column(at, "flow", table["flow"].cast(pa.float64()))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (drop_one, "the journal holds 10 rows there, the table other ones"),
        (exchange, "sequence must be int64, never null, and grow"),
        (double, "sequence must be int64, never null, and grow"),
        (not_a_number, "does not read back as the rows given: a missing value must be null"),
        (other_type, r"columns would change their type: flow \(kept as float, now double\)"),
        (lambda table: table.drop(["sequence"]), "sequence must be int64"),
        (lambda table: table[:0], "sequence must be int64"),
    ],
)
def test_rows_that_are_not_the_journals_are_refused(
    hall: ModuleType, root: Path, change: Callable[[pa.Table], pa.Table], told: str
) -> None:
    """A mistake in decoding must not cost a row: nothing is written, the journal keeps all."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 10)
        hall.seal_all(archive)
        hall.fill(archive.journal, 11, 20)
        table = hall.decode("", list(archive.journal.rows(hall.POINT, "live")))
        with pytest.raises(SealingRefused, match=told):
            seal(archive, hall, change(table), first_sequence=11, last_sequence=20)
        assert archive.journal.count() == {(hall.POINT, "live"): 10}
        assert list((root / "temporary").iterdir()) == []
        assert seal(archive, hall, table, first_sequence=11, last_sequence=20).rows == 10
    assert verify_archive(root).faults == ()


def test_rows_already_sealed_are_not_sealed_again(hall: ModuleType, root: Path) -> None:
    """Rows that never went through the journal need numbers above all given before."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 10)
        table = hall.decode("", list(archive.journal.rows(hall.POINT, "live")))
        hall.seal_all(archive)
        with pytest.raises(SealingRefused, match="sequence 1 was given before and is not in the journal"):
            seal(archive, hall, table)
        fresh = table.set_column(0, "sequence", pa.array(range(11, 21), pa.int64()))
        seal(archive, hall, fresh, first_sequence=11, last_sequence=20)
        assert archive.journal.next_sequence(hall.POINT, "live") == 21


def test_a_name_that_would_leave_the_archive_is_refused(hall: ModuleType, root: Path) -> None:
    """Names become folders."""
    with Archive.open(root) as archive:
        table = pa.table({"sequence": pa.array([1], pa.int64())})
        for point in ("../../etc", "a/b", "", "point=x", "A"):
            with pytest.raises(ValueError, match="cannot name a folder"):
                seal(archive, hall, table, point=point)


def test_a_column_may_come_but_not_change(hall: ModuleType, root: Path) -> None:
    """Known after a restart too, from the ledger alone, and per point."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 10)
        hall.seal_all(archive)
    with Archive.open(root) as archive:
        wanted = column_types(pa.schema([("flow", pa.float64()), ("time", TIME), ("new", FLOAT)]))
        (clash,) = archive.clashing_columns(hall.POINT, "live", wanted)
        assert (clash.name, clash.kept, clash.wanted) == ("flow", "float", "double")
        assert archive.clashing_columns("compressor-2", "live", wanted) == []
        hall.fill(archive.journal, 11, 20, plan='{"pressure": 1}')
        hall.seal_all(archive)
        (clash,) = archive.clashing_columns(hall.POINT, "live", {"pressure": "float"})
        assert clash.kept == "double"
    told = [json.loads(line) for line in (root / "ledger.jsonl").read_text().splitlines()]
    assert ["columns" in line for line in told] == [True, True]


@pytest.mark.parametrize("failing", range(1, 12))
def test_a_full_disk_at_any_flush_is_got_over(
    hall: ModuleType, root: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    """The nth fsync of a sealing fails with ENOSPC; the next sealing finishes, nothing lost or doubled."""
    import os

    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 10)
        real, calls = os.fsync, [0]

        def full(descriptor: int) -> None:
            calls[0] += 1
            if calls[0] == failing:
                raise OSError(28, "No space left on device")
            real(descriptor)

        with monkeypatch.context() as patched:
            patched.setattr(os, "fsync", full)
            try:
                hall.seal_all(archive)
            except DiskFull:
                assert verify_archive(root).faults == ()
        assert calls[0] >= failing
        rows = ArchiveReader(root).read_rows(hall.POINT, "live", decode=hall.decode)
        assert rows["sequence"].to_pylist() == list(range(1, 11))
        hall.fill(archive.journal, 11, 12)
        hall.seal_all(archive)
        archive.finish()
        hall.seal_all(archive)
    assert verify_archive(root).faults == ()
    assert ArchiveReader(root).read_rows(hall.POINT, "live")["sequence"].to_pylist() == list(range(1, 13))


@pytest.mark.parametrize("lost", [["journal"], ["journal", "ledger.jsonl"]])
def test_numbers_are_not_given_again_when_the_journal_folder_was_lost(
    hall: ModuleType, root: Path, sealed: SealedFile, lost: list[str]
) -> None:
    """From the ledger, or, without one, from the files' names; and the ledger says that it was lost."""
    for name in lost:
        path = root / name
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    with Archive.open(root) as archive:
        assert archive.journal.next_sequence(hall.POINT, "live") == 11
    lines = [json.loads(line) for line in (root / "ledger.jsonl").read_text().splitlines()]
    told = [line["what"] for line in lines if line["kind"] == "lost"]
    assert told == [name.removesuffix(".jsonl") for name in lost]


def test_numbers_of_rows_that_were_lost_are_not_given_again(
    hall: ModuleType, root: Path, sealed: SealedFile
) -> None:
    """Ten are sealed; 11 to 13 never reached the disk, as the ledger says: the next row is 14."""
    told = {"what": "rows", "point": hall.POINT, "source": "live", "first_sequence": 11, "last_sequence": 13}
    with Archive.open(root) as archive:
        archive.ledger.append(Kind.LOST, told)
    with Archive.open(root) as archive:
        assert archive.journal.next_sequence(hall.POINT, "live") == 14


def test_rows_of_a_meters_memory_have_no_due_and_perhaps_no_time(root: Path) -> None:
    """Listed by the times there are; a file without any has none."""
    moments = pa.array([None, 1_777_766_400_000, 1_777_766_400_500], TIME)
    with Archive.open(root) as archive:
        for first, time in ((1, moments), (4, pa.nulls(3, TIME))):
            table = pa.table({"sequence": pa.array(range(first, first + 3), pa.int64()), "time": time})
            archive.seal(
                table, point="p", source="memory", date=date(2026, 5, 3), first_sequence=first,
                last_sequence=first + 2, metadata={},
            )  # fmt: skip
    first, second = ArchiveReader(root).files()
    assert (first.first, first.last) == ("2026-05-03T00:00:00.000Z", "2026-05-03T00:00:00.500Z")
    assert (second.first, second.last) == (None, None)
    span = ArchiveReader(root).read_rows("p", "memory", since=1_777_766_400_001)
    assert span["sequence"].to_pylist() == [3]
    assert ArchiveReader(root).read_rows("p", "memory").num_rows == 6


def test_leftovers_in_temporary_are_gone_after_opening(root: Path, sealed: SealedFile) -> None:
    """What a crash left half written is not kept for ever."""
    (root / "temporary" / "0000000011-0000000020.parquet.part").write_bytes(b"half")
    Archive.open(root).close()
    assert list((root / "temporary").iterdir()) == []
