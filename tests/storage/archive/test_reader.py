"""Our reader: journal and sealed rows as one, whatever the recorder does meanwhile."""

import hashlib
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from types import ModuleType

import pytest

from storage.archive import Archive, ArchiveReader, SealedFile, file_name, parquet
from storage.errors import ArchiveAbsent, ArchiveDamaged
from storage.journal import JournalWriter, Row
from storage.ledger import Kind, Line, Walk
from storage.verify import verify_archive


@pytest.fixture
def archive(hall: ModuleType, root: Path):
    """Twenty rows sealed over midnight, ten sealed with one more column, five in the journal."""
    with Archive.open(root) as opened:
        hall.fill(opened.journal, 1, 20)
        hall.seal_all(opened)
        hall.fill(opened.journal, 21, 30, plan='{"pressure": 1}')
        hall.seal_all(opened)
        hall.fill(opened.journal, 31, 35, plan='{"pressure": 1}')
        yield opened


def test_files_are_listed_as_contracted(archive: Archive, root: Path) -> None:
    """By point, source and sequence; times as ISO 8601 in UTC."""
    listed = [file.as_listed() for file in ArchiveReader(root).files()]
    assert [set(entry) for entry in listed] == [
        {"file", "point", "source", "rows", "first", "last", "sha256"}
    ] * 3
    assert [(entry["rows"], entry["first"]) for entry in listed] == [
        (10, "2026-05-02T23:59:50.000Z"),
        (10, "2026-05-03T00:00:00.000Z"),
        (10, "2026-05-03T00:00:10.000Z"),
    ]


def test_sealed_and_waiting_rows_are_one_table(archive: Archive, hall: ModuleType, root: Path) -> None:
    """In order of sequence; a column that came later is null before it came."""
    reader = ArchiveReader(root)
    table = reader.read_rows(hall.POINT, "live", decode=hall.decode)
    assert table["sequence"].to_pylist() == list(range(1, 36))
    assert table["raw_input_16"].to_pylist() == list(range(1, 36))
    assert table["pressure"].to_pylist() == [None] * 20 + [n / 8 for n in range(21, 36)]
    assert reader.read_rows(hall.POINT, "live").num_rows == 30
    assert reader.streams() == [(hall.POINT, "live")]


def test_columns_and_a_span_of_time(archive: Archive, hall: ModuleType, root: Path) -> None:
    """`since` is included, `until` is not; what selects need not be among the columns wanted."""
    table = ArchiveReader(root).read_rows(
        hall.POINT,
        "live",
        decode=hall.decode,
        columns=["flow", "pressure", "absent"],
        since=hall.MIDNIGHT - 1_000,
        until=hall.MIDNIGHT + 22_000,
    )
    assert table.column_names == ["flow", "pressure"]
    assert table["flow"].to_pylist() == [n / 2 for n in range(10, 33)]
    nothing = ArchiveReader(root).read_rows(hall.POINT, "memory", columns=["flow"])
    assert (nothing.num_rows, nothing.num_columns) == (0, 0)


def test_a_damaged_file_is_named_and_the_others_can_be_read(
    archive: Archive, hall: ModuleType, root: Path
) -> None:
    """No silent hole: without `on_damage` it is an error, with it the file and the reason are told."""
    reader = ArchiveReader(root)
    second = reader.files()[1]
    (root / second.file).write_bytes((root / second.file).read_bytes()[:-9])
    with pytest.raises(ArchiveDamaged, match=r"0000000011-0000000020\.parquet cannot be read"):
        reader.read_rows(hall.POINT, "live")
    told: list[str] = []
    table = reader.read_rows(hall.POINT, "live", on_damage=lambda file, why: told.append(f"{file} {why}"))
    assert table["sequence"].to_pylist() == [*range(1, 11), *range(21, 31)]
    assert told[0].startswith(f"{second.file} cannot be read")
    (root / second.file).unlink()
    with pytest.raises(ArchiveDamaged, match=rf"{second.file} is missing although the ledger knows it"):
        reader.read_rows(hall.POINT, "live")


def test_a_ledger_that_was_cut_is_told_to_whoever_asks_about_all(
    archive: Archive, hall: ModuleType, root: Path
) -> None:
    """Against journal/tail.json: three files were sealed, the ledger ends before the last of them."""
    reader = ArchiveReader(root)

    def asked() -> tuple[tuple[str, ...], int]:
        return reader.ask_all(lambda ledger, _: (ledger.faults, len(ledger.lines)))

    assert asked() == ((), 0)
    lines = (root / "ledger.jsonl").read_bytes().splitlines(keepends=True)
    (root / "ledger.jsonl").write_bytes(b"".join(lines[:-1]))
    (told,), _ = asked()
    assert (
        told == f"ends at line {len(lines) - 1}, but line {len(lines)} was written: the last 1 were cut off"
    )
    (root / "ledger.jsonl").unlink()
    (told,), _ = asked()
    assert told.startswith("ends at line 0, but")
    (root / "journal" / "tail.json").write_bytes(b"{}")
    (told,), _ = asked()
    assert "tail.json is not as it was written" in told


def test_a_flipped_word_is_not_handed_out(archive: Archive, hall: ModuleType, root: Path) -> None:
    """Pages carry checksums: damage inside the data is an error, not another value."""
    reader = ArchiveReader(root)
    path = root / reader.files()[0].file
    whole = path.read_bytes()
    good = reader.read_rows(hall.POINT, "live")
    refused = 0
    for place in range(4, 700, 7):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 4]) + whole[place + 1 :])
        try:
            assert reader.read_rows(hall.POINT, "live").equals(good)  # a bit that no value depends on
        except ArchiveDamaged:
            refused += 1
    assert refused > 50


def test_a_reader_beside_the_recorder_never_sees_a_row_twice_or_not_at_all(
    hall: ModuleType, root: Path
) -> None:
    """Read in a tight loop while rows are put, committed and sealed in another thread."""
    Archive.open(root).close()
    done = threading.Event()
    durable = [0]

    def record() -> None:
        with Archive.open(root) as archive:
            writer = JournalWriter(archive.journal.path, interval=3600)
            plan = writer.add_plan("{}")
            for number in range(1, 301):
                writer.put(hall.row(plan, number))
                if number % 10 == 0:
                    assert writer.flush(30)
                    durable[0] = number
                if number % 30 == 0:
                    hall.seal_all(archive)
            writer.close()
        done.set()

    thread = threading.Thread(target=record)
    thread.start()
    seen = 0
    while not done.is_set():
        least = durable[0]
        table = ArchiveReader(root).read_rows(hall.POINT, "live", decode=hall.decode)
        if table.num_rows:
            numbers = table["sequence"].to_pylist()
            assert numbers == list(range(1, len(numbers) + 1))
            seen = len(numbers)
        assert seen >= least
    thread.join()
    assert seen > 0
    assert ArchiveReader(root).read_rows(hall.POINT, "live").num_rows == 300


def test_rows_sealed_while_being_read_are_there_once(
    archive: Archive, hall: ModuleType, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sealing right behind the first of the two things read, journal or ledger, whichever that is."""
    from storage.journal import Journal

    sealings: list[object] = []
    real_rows, real_lines = Journal.rows, Walk.__iter__

    def seal_once() -> None:
        if not sealings:
            sealings.append("begun")
            sealings.extend(hall.seal_all(archive))

    def rows(journal: Journal, *which: object) -> Iterator[Row]:
        yield from list(real_rows(journal, *which))
        seal_once()

    def lines(walk: Walk) -> Iterator[Line]:
        yield from list(real_lines(walk))
        seal_once()

    monkeypatch.setattr(Journal, "rows", rows)
    monkeypatch.setattr(Walk, "__iter__", lines)
    table = ArchiveReader(root).read_rows(hall.POINT, "live", decode=hall.decode)
    assert len(sealings) == 2
    assert table["sequence"].to_pylist() == list(range(1, 36))


def test_the_ledger_decides_which_file_holds(archive: Archive, hall: ModuleType, root: Path) -> None:
    """Constructed: two files replaced by one with the same rows. The ledger's word counts, not the folder:
    while the old files still lie there, and after they were moved, each row is read once."""
    old = ArchiveReader(root).files()[1:3]
    table = ArchiveReader(root).read_rows(hall.POINT, "live")[10:]
    data = parquet.encode(table, {})
    file = file_name(hall.POINT, "live", date(2026, 5, 3), 11, 30)
    (root / file).write_bytes(data)
    merged = SealedFile(
        file=file, point=hall.POINT, source="live", bytes=len(data), sha256=hashlib.sha256(data).hexdigest(),
        **parquet.described(table),
    )  # fmt: skip
    archive.ledger.append(Kind.MERGED, {**merged.as_told(), "replaces": [each.file for each in old]})
    told = [(fault.file, fault.fault) for fault in verify_archive(root).faults]
    assert told == [(each.file, "is below rows/ but was replaced") for each in old]
    for moved in (False, True):
        if moved:
            for each in old:
                target = root / each.file.replace("rows/", "superseded/", 1)
                target.parent.mkdir(parents=True, exist_ok=True)
                (root / each.file).rename(target)
        rows = ArchiveReader(root).read_rows(hall.POINT, "live", decode=hall.decode)
        assert rows["sequence"].to_pylist() == list(range(1, 36))
        assert [each.rows for each in ArchiveReader(root).files()] == [10, 20]
    assert verify_archive(root).faults == ()
    target.write_bytes(b"x" + target.read_bytes()[1:])
    (fault,) = verify_archive(root).faults
    assert fault.file.startswith("superseded/")


def test_rows_that_wait_can_be_had_raw(archive: Archive, hall: ModuleType, root: Path) -> None:
    """For status and for decoding elsewhere: runs with their plan's text."""
    ((plan, rows),) = ArchiveReader(root).waiting_rows(hall.POINT, "live")
    assert plan == '{"pressure": 1}'
    assert [row.sequence for row in rows] == [31, 32, 33, 34, 35]


def test_a_folder_that_is_no_archive(tmp_path: Path) -> None:
    """Told with its path."""
    with pytest.raises(ArchiveAbsent, match="holds no archive"):
        ArchiveReader(tmp_path)
