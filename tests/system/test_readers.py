"""A sealed file alone: any reader opens it, its raw registers give its values by other arithmetic."""

import hashlib
import json
import struct
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import duckdb
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest
from ruamel.yaml import YAML


@pytest.fixture(scope="module")
def sealed(command: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One sealed file of ten rows from a simulated meter."""
    folder = tmp_path_factory.mktemp("hall")
    with command.line(12) as line:
        point = command.write_point(folder, "header", line.port)
        words = ["log", point, "--archive", "archive", "--every", "100ms", "--for", "1s"]
        done = command.run(*words, cwd=folder)
        assert done.status == 0, done
    (file,) = (folder / "archive" / "rows").rglob("*.parquet")
    return file


def metadata(file: Path) -> dict[str, Any]:
    held = pq.read_metadata(file).metadata
    return {key.decode(): json.loads(text) for key, text in held.items() if key.startswith(b"pipeledger.")}


def test_the_file_says_everything_about_itself(sealed: Path, command: ModuleType) -> None:
    found = metadata(sealed)
    assert set(found) == {
        f"pipeledger.{key}"
        for key in ("format", "point", "map", "map_sha256", "plan", "meter", "settings", "clock_offset",
                    "line", "version", "rows")
    }  # fmt: skip
    assert found["pipeledger.map"] == command.MAP
    assert found["pipeledger.map_sha256"] == hashlib.sha256(command.MAP.encode()).hexdigest()
    assert found["pipeledger.rows"]["count"] == 10
    assert found["pipeledger.meter"]["identity"] == {"serial_number": "EX-0042"}


def test_its_raw_registers_give_its_values_again_by_other_arithmetic(sealed: Path) -> None:
    """The map text from the file, read by another YAML reader; the words put together by struct."""
    readings = YAML(typ="safe", pure=True).load(metadata(sealed)["pipeledger.map"])["readings"]
    assert set(readings) == {"flow", "pressure", "state", "mode", "total"}
    rows = pq.ParquetFile(sealed).read().to_pylist()
    assert len(rows) == 10
    for row in rows:

        def words(table: str, start: int, count: int, row: dict[str, Any] = row) -> bytes:
            return b"".join(struct.pack(">H", row[f"raw_{table}_{start + i}"]) for i in range(count))

        assert struct.pack(">f", row["flow"]) == words("input", readings["flow"]["input"], 2)
        assert row["pressure"] == int.from_bytes(words("input", 2, 1), "big") / 1000
        assert row["state"] == int.from_bytes(words("input", 4, 1), "big")
        assert row["mode"] == int.from_bytes(words("holding", 100, 1), "big")
        assert row["total"] == int.from_bytes(words("holding", 101, 2), "big") / 10


def test_other_readers_find_the_same_instants_as_utc(sealed: Path) -> None:
    milliseconds = [row["due"].timestamp() * 1000 for row in pq.ParquetFile(sealed).read(["due"]).to_pylist()]
    due = pd.read_parquet(sealed)["due"]
    assert str(due.dt.tz) == "UTC"
    assert [moment.timestamp() * 1000 for moment in due] == milliseconds
    polar = pl.read_parquet(sealed, hive_partitioning=False)
    assert polar.schema["due"] == pl.Datetime("ms", "UTC")
    assert polar["due"].dt.epoch("ms").to_list() == milliseconds


def test_values_and_words_have_the_types_of_the_map(sealed: Path) -> None:
    kinds = {field.name: str(field.type) for field in pq.read_schema(sealed)}
    assert kinds["flow"] == "float"
    assert kinds["pressure"] == kinds["total"] == "double"
    assert kinds["state"] == kinds["mode"] == "uint16"
    assert {kind for name, kind in kinds.items() if name.startswith("raw_")} == {"uint16"}
    assert kinds.keys() >= {"sequence", "due", "time", "clock", "status", "raw_input_0", "raw_holding_102"}


@pytest.fixture(scope="module")
def folder(command: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Rows of one point in two files: first whole ones, then some whose holding registers were refused."""
    folder = tmp_path_factory.mktemp("readers")
    for delivery in (None, command.half):
        with command.line(12, delivery=delivery) as line:
            command.write_point(folder, "header", line.port)
            words = ["log", "header.yaml", "--archive", "archive", "--every", "100ms", "--for", "500ms"]
            assert command.run(*words, cwd=folder).status == 0
    return folder / "archive/rows/point=header/source=live"


def by_pandas(folder: Path) -> pa.Table:
    found = pd.read_parquet(folder, dtype_backend="pyarrow").sort_values("sequence")
    return pa.Table.from_pandas(found, preserve_index=False)


def by_polars(folder: Path) -> pa.Table:
    return pl.scan_parquet(folder, hive_partitioning=False).sort("sequence").collect().to_arrow()


def by_duckdb(folder: Path) -> pa.Table:
    with duckdb.connect() as session:
        session.execute("SET TimeZone = 'Asia/Tokyo'")  # an instant is the same wherever it is read
        files = f"read_parquet('{folder}/**/*.parquet', union_by_name=true, hive_partitioning=false)"
        return session.sql(f"FROM {files} ORDER BY sequence").to_arrow_table()


@pytest.mark.parametrize("reader", [by_pandas, by_polars, by_duckdb], ids=lambda reader: reader.__name__)
def test_every_reader_finds_the_same_rows(folder: Path, reader: Callable[[Path], pa.Table]) -> None:
    """Every column, every row, to the last bit and the last null, as pyarrow finds them."""
    expected = ds.dataset(folder).to_table().sort_by("sequence")
    assert expected.num_rows == 10
    assert expected["status"].to_pylist() == ["ok"] * 5 + ["partial"] * 5
    assert expected["total"].null_count == expected["raw_holding_101"].null_count == 5
    assert expected["flow"].null_count == 0
    found = reader(folder)
    for name in expected.column_names:
        assert found[name].to_pylist() == expected[name].to_pylist(), name
