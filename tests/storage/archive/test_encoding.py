"""How rows become bytes: each column in its smaller encoding, and every reader finds the same values."""

from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest

from storage.archive import parquet

ROWS = 20_000
TIME = pa.timestamp("ms", "UTC")


def measured(step: float) -> pa.Table:
    """Constructed: a flow that swings slowly, told in steps, or (step 0) with noise in every digit.

    Its two words are kept beside it, high word first, as a Modbus master gets them; 1 % of the rows are null.
    """
    random = np.random.default_rng(7)
    flow = 400 + 200 * np.sin(np.arange(ROWS) / 3000) + random.normal(0, 2, ROWS)
    told = (np.round(flow / step) * step if step else flow).astype(np.float32)
    words = told.view(np.uint32)
    there = random.random(ROWS) > 0.01
    return pa.table(
        {
            "sequence": pa.array(np.arange(1, ROWS + 1), pa.int64()),
            "due": pa.array(np.arange(ROWS) * 1000 + 1_777_766_400_000, TIME),
            "status": pa.array(["ok" if one else "no reply" for one in there]),
            "flow": pa.array(told, mask=~there),
            "raw_input_0": pa.array((words >> 16).astype(np.uint16), mask=~there),
            "raw_input_1": pa.array((words & 0xFFFF).astype(np.uint16), mask=~there),
        }
    )


def encodings(data: bytes) -> dict[str, set[str]]:
    """Column → its encodings, of the first row group."""
    group = pq.read_metadata(pa.BufferReader(data)).row_group(0)
    columns = [group.column(i) for i in range(group.num_columns)]
    assert {column.compression for column in columns} == {"ZSTD"}
    return {column.path_in_schema: set(column.encodings) for column in columns}


def test_what_counts_up_is_kept_as_differences_and_texts_by_dictionary() -> None:
    found = encodings(parquet.encode(measured(0.1), {}))
    for name in ("sequence", "due"):
        assert "DELTA_BINARY_PACKED" in found[name]
    assert "RLE_DICTIONARY" in found["status"]


def test_values_in_steps_go_by_dictionary_and_high_words_as_differences() -> None:
    found = encodings(parquet.encode(measured(0.1), {}))
    assert "RLE_DICTIONARY" in found["flow"]
    assert "DELTA_BINARY_PACKED" in found["raw_input_0"]
    assert "RLE_DICTIONARY" in found["raw_input_1"]


def test_values_with_noise_in_every_digit_are_split_into_bytes() -> None:
    found = encodings(parquet.encode(measured(0), {}))
    assert "BYTE_STREAM_SPLIT" in found["flow"]
    assert {"DELTA_BINARY_PACKED"} <= found["raw_input_0"] & found["raw_input_1"]


@pytest.mark.parametrize(("step", "share"), [(0.1, 0.95), (0.0, 0.75)])
def test_a_file_is_smaller_than_with_each_column_by_dictionary(step: float, share: float) -> None:
    """Beside the plain layout of the same rows: all by dictionary, zstd 3, times as differences."""
    table = measured(step)
    sink = pa.BufferOutputStream()
    counted = {"sequence": "DELTA_BINARY_PACKED", "due": "DELTA_BINARY_PACKED"}
    pq.write_table(
        table,
        sink,
        compression="zstd",
        compression_level=3,
        use_dictionary=[name for name in table.column_names if name not in counted],
        column_encoding=counted,
    )
    assert len(parquet.encode(table, {})) < share * sink.getvalue().size


@pytest.mark.parametrize("step", [0.1, 0.0])
def test_every_reader_finds_the_same_values(step: float, tmp_path: Path) -> None:
    """Bit for bit and null for null, whichever encodings were chosen."""
    table = measured(step)
    file = tmp_path / "rows.parquet"
    file.write_bytes(parquet.encode(table, {}))
    assert parquet.decode(file.read_bytes()).equals(table)
    for found in (duckdb.sql(f"FROM '{file}'").to_arrow_table(), pl.read_parquet(file).to_arrow()):
        for name in ("sequence", "flow", "raw_input_0", "raw_input_1"):
            assert found[name].to_pylist() == table[name].to_pylist()


def test_metadata_is_found_where_readers_of_parquet_and_those_of_arrow_look(tmp_path: Path) -> None:
    file = tmp_path / "rows.parquet"
    file.write_bytes(parquet.encode(measured(0.1), {"pipeledger.map": "register_map: 1"}))
    held = {b"pipeledger.map": b"register_map: 1"}
    assert parquet.decode(file.read_bytes()).schema.metadata == held
    assert pq.read_schema(file).metadata == held
    assert ds.dataset(file).schema.metadata == held
    assert pq.read_metadata(file).metadata[b"pipeledger.map"] == b"register_map: 1"


def test_an_encoding_that_is_known_is_not_tried_again(tmp_path: Path) -> None:
    """Words that stay get the same bytes, whether their encodings were tried or told."""
    table = measured(0.1)
    file = tmp_path / "rows.parquet"
    file.write_bytes(parquet.encode(table, {}))
    known = parquet.encodings(file, ["raw_input_0", "raw_input_1", "status", "absent"])
    assert known == {"raw_input_0": "DELTA_BINARY_PACKED", "raw_input_1": None, "status": None}
    assert parquet.encode(table, {}, known) == file.read_bytes()
    told = encodings(parquet.encode(table, {}, {"raw_input_0": None}))
    assert "RLE_DICTIONARY" in told["raw_input_0"]


def test_a_few_rows_are_not_tried_for_a_smaller_encoding(monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour of minutes is written once, by dictionary; an hour of seconds is tried both ways before."""
    written: list[int] = []
    write = parquet._written

    def counted(table: pa.Table, how: dict[str, str], level: int) -> bytes:
        written.append(table.num_rows)
        return write(table, how, level)

    monkeypatch.setattr(parquet, "_written", counted)
    table = measured(0)
    found = encodings(parquet.encode(table.slice(0, 60), {}))
    assert written == [60]
    assert "RLE_DICTIONARY" in found["flow"] & found["raw_input_0"]
    assert "DELTA_BINARY_PACKED" in found["due"]
    parquet.encode(table.slice(0, 3600), {})
    assert written == [60, 3600, 3600, 3600]
