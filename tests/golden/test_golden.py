"""Archives that earlier versions wrote are verified, read and continued by this one.

What they hold was written by hand (README.md beside this file), never printed by the code under test.
"""

import csv
import re
import shutil
import struct
from datetime import datetime
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pytest

from storage.archive import Archive, ArchiveReader
from storage.journal import schema
from storage.verify import Depth, verify_archive

HERE = Path(__file__).parent
GOLDEN = sorted(HERE.glob("archive-*"))
STREAMS = [
    (folder, *table.name.removesuffix(".csv").split("."))
    for folder in GOLDEN
    for table in sorted((folder / "expected").glob("*.*.csv"))
]
each_golden = pytest.mark.parametrize("golden", GOLDEN, ids=lambda folder: folder.name)
each_stream = pytest.mark.parametrize(
    ("golden", "point", "source"), STREAMS, ids=[f"{folder.name}, {p}, {s}" for folder, p, s in STREAMS]
)


def table(file: Path) -> list[dict[str, str | None]]:
    """Rows of a table written by hand; an empty cell is None."""
    with file.open(encoding="utf-8", newline="") as stream:
        return [{name: cell or None for name, cell in row.items()} for row in csv.DictReader(stream)]


def as_written(value: Any, kind: pa.DataType) -> Any:
    """A cell as a column of this type has it."""
    if value is None or kind == pa.string():
        return value
    if pa.types.is_timestamp(kind):
        return datetime.fromisoformat(value)
    if kind == pa.float32():
        return struct.unpack(">f", struct.pack(">f", float(value)))[0]
    return float(value) if kind == pa.float64() else int(value)


def same(found: pa.Table, expected: list[dict[str, str | None]]) -> None:
    """Every cell, every column and no other."""
    assert set(found.column_names) == set(expected[0])
    for field in found.schema:
        wanted = [as_written(row[field.name], field.type) for row in expected]
        assert found[field.name].to_pylist() == wanted, field.name


@each_golden
@pytest.mark.parametrize("depth", list(Depth))
def test_an_archive_of_an_earlier_version_verifies_without_a_fault(golden: Path, depth: Depth) -> None:
    """Not a fault, not a note, and every row written by hand is counted."""
    found = verify_archive(golden / "archive", depth)
    assert (found.faults, found.notes) == ((), ())
    assert found.rows == sum(len(table(file)) for file in (golden / "expected").glob("*.*.csv"))


@each_stream
def test_sealed_rows_are_those_written_by_hand(golden: Path, point: str, source: str) -> None:
    found = ArchiveReader(golden / "archive").read_rows(point, source)
    same(found, table(golden / "expected" / f"{point}.{source}.csv"))


@each_stream
def test_a_stranger_reads_the_same_rows(golden: Path, point: str, source: str) -> None:
    """DuckDB on the bare folder, by name, without ledger or journal."""
    files = f"{golden}/archive/rows/point={point}/source={source}/**/*.parquet"
    with duckdb.connect() as session:
        session.execute("SET TimeZone = 'UTC'")
        found = session.sql(
            f"FROM read_parquet('{files}', union_by_name=true, hive_partitioning=false) ORDER BY sequence"
        ).to_arrow_table()
    for name, wanted in ((n, [r[n] for r in table(golden / "expected" / f"{point}.{source}.csv")]) for n in
                         ("sequence", "flow", "flow_flag")):  # fmt: skip
        kind = found.schema.field(name).type
        assert found[name].to_pylist() == [as_written(value, kind) for value in wanted]


@each_golden
def test_waiting_rows_are_those_written_by_hand(golden: Path) -> None:
    """Words as sent; none where the round had no reply."""
    reader = ArchiveReader(golden / "archive")
    found = [
        (point, source, row)
        for point, source in reader.streams()
        for _, rows in reader.waiting_rows(point, source)
        for row in rows
    ]
    expected = table(golden / "expected" / "journal.csv")
    assert len(found) == len(expected)
    for (point, source, row), wanted in zip(found, expected, strict=True):
        moments = [None if at is None else as_written(at, pa.timestamp("ms", "UTC")) for at in
                   (wanted["due"], wanted["time"])]  # fmt: skip
        assert (point, source, str(row.sequence), row.status) == tuple(
            wanted[name] for name in ("point", "source", "sequence", "status")
        )
        assert [row.due, row.time] == [at and round(at.timestamp() * 1000) for at in moments]
        words = [int(word) for name, word in wanted.items() if name.startswith("word_") and word is not None]
        assert list(struct.unpack(f"<{len(row.words) // 2}H", row.words)) == words


def test_every_format_of_the_journal_has_its_golden_archive() -> None:
    """SQLite's user_version, at bytes 60 to 63 of the file (sqlite.org/fileformat2.html, 1.3)."""
    found = [(folder / "archive/journal/journal.sqlite").read_bytes()[60:64] for folder in GOLDEN]
    assert {int.from_bytes(version, "big") for version in found} == set(range(1, schema.FORMAT + 1))


@each_golden
def test_this_version_goes_on_with_it(golden: Path, tmp_path: Path) -> None:
    """Opened for writing, with whatever that changes in the journal: same rows, next number, no fault."""
    root = shutil.copytree(golden / "archive", tmp_path / "archive")
    expected = table(golden / "expected" / "journal.csv")
    with Archive.open(root) as archive:
        last = expected[-1]
        assert archive.journal.count() == {(last["point"], last["source"]): len(expected)}
        assert archive.journal.next_sequence(str(last["point"]), "live") == int(str(last["sequence"])) + 1
    assert verify_archive(root).faults == ()
    assert verify_archive(root).ledger == verify_archive(golden / "archive").ledger


@each_stream
def test_the_page_on_the_format_reads_it(
    golden: Path, point: str, source: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The twenty lines that docs/format shows, which follow the ledger past merge and redecoding."""
    page = (HERE.parents[1] / "docs/format/archive.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```python\n(import json\n.*?)^```", page, re.S | re.M)
    (tmp_path / "ARCHIVE").symlink_to(golden / "archive")
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {}
    reader, call, _ = block.partition("\nrows = read(")
    assert call
    exec(compile(reader, "archive.md", "exec"), names)
    same(names["read"]("ARCHIVE", point, source), table(golden / "expected" / f"{point}.{source}.csv"))


def run_page(name: str) -> dict[str, Any]:
    """Run the Python of a page of docs/format, in the current folder."""
    page = (HERE.parents[1] / "docs/format" / name).read_text(encoding="utf-8")
    names: dict[str, Any] = {}
    for block in re.findall(r"^```python\n(.*?)^```", page, re.S | re.M):
        exec(compile(block, name, "exec"), names)
    return names


@each_golden
def test_the_pages_on_ledger_and_journal_read_it(
    golden: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The chain by plain hashing; the waiting rows by plain SQLite."""
    shutil.copytree(golden / "archive", tmp_path / "ARCHIVE")
    monkeypatch.chdir(tmp_path)
    run_page("ledger.md")
    waiting = run_page("journal.md")["waiting"]
    expected = table(golden / "expected" / "journal.csv")
    assert [row[2] for row in waiting] == [int(str(row["sequence"])) for row in expected]
    for (*_, values), wanted in zip(waiting, expected, strict=True):
        words = [word for name, word in wanted.items() if name.startswith("word_")]
        assert values == [int(word) for word in words if word is not None]
