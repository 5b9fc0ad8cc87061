"""Strangers read an archive by what the format pages say, with their own tools and none of ours."""

import re
from pathlib import Path
from types import ModuleType
from typing import Any

import duckdb
import pandas as pd
import polars as pl
import pyarrow.dataset as ds
import pytest

from storage.archive import Archive

DOCS = Path(__file__).parents[3] / "docs" / "format"
NUMBERS = list(range(1, 31))


@pytest.fixture
def archive(hall: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """`ARCHIVE` in the current folder: 30 rows sealed in three files, the last with a new column; 5 wait."""
    monkeypatch.chdir(tmp_path)
    with Archive.open(tmp_path / "ARCHIVE") as opened:
        hall.fill(opened.journal, 1, 20)
        hall.seal_all(opened)
        hall.fill(opened.journal, 21, 30, plan='{"pressure": 1}')
        hall.seal_all(opened)
        hall.fill(opened.journal, 31, 35)
    return tmp_path / "ARCHIVE"


def run_page(name: str) -> dict[str, Any]:
    """Run a page's Python blocks one after the other, as a reader would paste them."""
    blocks = re.findall(r"^```python\n(.*?)^```", (DOCS / name).read_text(encoding="utf-8"), re.S | re.M)
    assert blocks
    names: dict[str, Any] = {}
    for block in blocks:
        exec(compile(block, name, "exec"), names)
    return names


def test_the_code_on_the_ledgers_page_finds_a_changed_line(archive: Path) -> None:
    """The page's check passes on a whole ledger and fails on a changed one."""
    run_page("ledger.md")
    ledger = archive / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes().replace(b'"rows":10', b'"rows":11', 1))
    with pytest.raises(AssertionError, match="line 1 was changed"):
        run_page("ledger.md")


def test_the_code_on_the_journals_page_gives_the_waiting_rows(archive: Path, hall: ModuleType) -> None:
    """The waiting rows with their registers."""
    waiting = run_page("journal.md")["waiting"]
    assert [(row[0], row[2], row[4]) for row in waiting] == [(hall.POINT, n, [n]) for n in range(31, 36)]


def test_plain_readers_take_the_folder_as_it_is(archive: Path, hall: ModuleType) -> None:
    """Nothing but the folder's path, as most people will try first: right rows in every reader."""
    folder = str(archive / f"rows/point={hall.POINT}/source=live")
    assert sorted(pd.read_parquet(folder)["sequence"]) == NUMBERS
    assert sorted(ds.dataset(folder, partitioning="hive").to_table()["sequence"].to_pylist()) == NUMBERS
    found = duckdb.sql(f"SELECT sequence FROM read_parquet('{folder}/**/*.parquet') ORDER BY 1").fetchall()
    assert [number for (number,) in found] == NUMBERS
    assert sorted(pl.scan_parquet(folder, extra_columns="ignore").collect()["sequence"]) == NUMBERS


@pytest.mark.parametrize("zone", ["America/New_York", "Asia/Tokyo"])
def test_instants_do_not_depend_on_where_they_are_read(archive: Path, hall: ModuleType, zone: str) -> None:
    """The same ms since 1970 in a session of any zone."""
    folder = str(archive / f"rows/point={hall.POINT}/source=live")
    with duckdb.connect() as session:
        session.execute(f"SET TimeZone = '{zone}'")
        found = session.sql(
            f"SELECT epoch_ms(due) FROM read_parquet('{folder}/**/*.parquet', union_by_name=true)"
            " ORDER BY sequence"
        ).fetchall()
    assert [ms for (ms,) in found] == [hall.MIDNIGHT + (n - 11) * 1000 for n in NUMBERS]
