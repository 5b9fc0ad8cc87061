"""Strangers read a point with a history by what the format page says, each with its own tool, none of ours.

The history: three hours of two readings by a map whose pressure scale is wrong, an hour with a reading more,
the right map (all decoded again), the first three hours joined.
"""

import re
import shutil
import struct
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.plan.plan import plan_round, polled_values
from readout.sealing.merge import merge
from readout.sealing.record import Record, pack
from readout.sealing.redecode import redecode
from readout.sealing.table import metadata_of, table_of
from storage.archive import Archive, ArchiveReader
from storage.journal import Row
from storage.verify import verify_archive

PAGE = Path(__file__).parents[2] / "docs" / "format" / "archive.md"
POINT = "bottling-hall-header"
MIDNIGHT, HOUR = 1_777_766_400_000, 3_600_000  # 2026-05-03T00:00Z in ms since 1970
ROWS = 500  # an hour, every 7.2 s
WRONG = """\
register_map: 1
meter: Hollow Mere header meter
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: float32, unit: m3/h}
  pressure: {input: 2, type: uint16, scale: 0.01, unit: bar, not_available: [65535]}
"""
MORE = "  temperature: {input: 3, type: int16, scale: 0.1, unit: degC}\n"
RIGHT = WRONG.replace("0.01", "0.001") + MORE


def words(number: int, *, temperature: bool) -> list[int] | None:
    """Registers of row `number` as the meter sends them; no reply to every 97th round."""
    if number % 97 == 0:
        return None
    flow = struct.unpack(">HH", struct.pack(">f", 400 + number % 50 * 0.37))
    pressure = 65535 if number % 31 == 0 else 7000 + number % 40
    return [*flow, pressure, *([(number % 20 - 10) & 0xFFFF] if temperature else [])]


def expected() -> dict[str, list[Any]]:
    """Every column by its name, worked out from the registers by struct and plain arithmetic."""
    table: dict[str, list[Any]] = {}
    for number in range(1, 4 * ROWS + 1):
        late = number > 3 * ROWS
        sent = words(number, temperature=late)
        first, second, mbar, *degrees = sent or [None, None, None]
        due = MIDNIGHT + (number - 1) * (HOUR // ROWS)
        cells = {
            "sequence": number,
            "due": datetime.fromtimestamp(due / 1000, UTC),
            "time": datetime.fromtimestamp((due + 31) / 1000, UTC) if sent else None,
            "clock": "synchronised",
            "status": "ok" if sent else "no reply",
            "flow": struct.unpack(">f", struct.pack(">HH", first, second))[0] if sent else None,
            "flow_flag": None,
            "pressure": mbar / 1000 if sent and mbar != 65535 else None,
            "pressure_flag": "not available" if mbar == 65535 else None,
            "temperature": (degrees[0] - (degrees[0] >> 15 << 16)) / 10 if degrees else None,
            "raw_input_0": first,
            "raw_input_1": second,
            "raw_input_2": mbar,
            "raw_input_3": degrees[0] if degrees else None,
        }
        for name, cell in cells.items():
            table.setdefault(name, []).append(cell)
    return table


def record(text: str) -> Record:
    """What is true of rows read by this map."""
    found = parse_map(text.encode(), "map.yaml").map
    assert found is not None
    plan = plan_round(found, polled_values(found), SerialFormat(19200, "even", 8, 1), 12)
    return Record(
        name=POINT, source="live", columns=plan.columns, map_text=text, map_sha256=found.sha256, point={},
        plan={}, meter={}, settings={}, line={}, version="0",
    )  # fmt: skip


def seal_hour(archive: Archive, hour: int, what: Record) -> None:
    """One hour, one file, through the journal."""
    plan = archive.journal.add_plan(what.to_text())
    rows = []
    for number in range(hour * ROWS + 1, (hour + 1) * ROWS + 1):
        due = MIDNIGHT + (number - 1) * (HOUR // ROWS)
        sent = words(number, temperature=len(what.columns) > 3)
        packed, present = pack(sent) if sent else (b"", b"")
        rows.append(
            Row(point=POINT, source="live", plan=plan, due=due, time=due + 31 if sent else None,
                clock="synchronised", status="ok" if sent else "no reply", words=packed, present=present,
                sequence=number)
        )  # fmt: skip
    archive.journal.append(rows)
    (stretch,) = archive.journal.stretches()
    archive.seal(
        table_of(what, rows), point=POINT, source="live", date=stretch.date, first_sequence=stretch.first,
        last_sequence=stretch.last, metadata=metadata_of(what, rows),
    )  # fmt: skip


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder `ARCHIVE` with the history told above, at rest."""
    root = tmp_path_factory.mktemp("history") / "ARCHIVE"
    right = parse_map(RIGHT.encode(), "map.yaml").map
    assert right is not None
    with Archive.open(root) as opened:
        for hour in range(4):
            seal_hour(opened, hour, record(WRONG if hour < 3 else WRONG + MORE))
        files = ArchiveReader(root).files()
        made = redecode(opened, files[:3], right, "0").files
        redecode(opened, files[3:], right, "0")
        merge(opened, made)
    assert [file.rows for file in ArchiveReader(root).files()] == [3 * ROWS, ROWS]
    assert verify_archive(root).faults == ()
    return root


@pytest.fixture
def page(archive: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., dict[str, Any]]:
    """Runs the page's Python blocks beside `ARCHIVE`; those with `spark` only where a session is given."""
    monkeypatch.chdir(archive.parent)

    def run(**given: Any) -> dict[str, Any]:
        names = dict(given)
        for block in re.findall(r"^```python\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.S | re.M):
            if "spark" in names or "spark" not in block:
                exec(compile(block, PAGE.name, "exec"), names)
        return names

    return run


def by_pyarrow_alone(names: dict[str, Any]) -> pa.Table:
    return names["rows"]


def by_pyarrow_dataset(names: dict[str, Any]) -> pa.Table:
    return names["with_pyarrow"]


def by_pandas(names: dict[str, Any]) -> pa.Table:
    return pa.Table.from_pandas(names["with_pandas"], preserve_index=False)


def by_duckdb(names: dict[str, Any]) -> pa.Table:
    return names["with_duckdb"].to_arrow_table()


def by_polars(names: dict[str, Any]) -> pa.Table:
    return names["with_polars"].to_arrow()


def by_dask(names: dict[str, Any]) -> pa.Table:
    found = names["with_dask"].compute(scheduler="synchronous").sort_values("sequence")
    return pa.Table.from_pandas(found, preserve_index=False)


READERS = [by_pyarrow_alone, by_pyarrow_dataset, by_pandas, by_duckdb, by_polars, by_dask]


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.__name__)
def test_each_reader_finds_the_same_rows(
    page: Callable[..., dict[str, Any]], reader: Callable[[dict[str, Any]], pa.Table]
) -> None:
    """Every column, every row, to the last bit and the last null, by the page's one line."""
    found = reader(page())
    for name, cells in expected().items():
        assert found[name].to_pylist() == cells, name


def damage(file: Path) -> None:
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 1
    file.write_bytes(data)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (damage, "was changed"),
        (lambda file: file.rename(file.with_name("0.parquet")), "missing or added"),
        (lambda file: file.with_name("0.parquet").write_bytes(file.read_bytes()), "missing or added"),
    ],
    ids=["one bit", "renamed", "added"],
)
def test_the_pages_proof_finds_what_was_done(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path], Any], told: str
) -> None:
    """By hashing alone, for whoever has the folder and no program of ours."""
    copy = shutil.copytree(archive, tmp_path / "ARCHIVE")
    monkeypatch.chdir(tmp_path)
    page = PAGE.read_text(encoding="utf-8")
    reader, proof = re.findall(r"^```python\n(import (?:json|hashlib)\n.*?)^```", page, re.S | re.M)
    names: dict[str, Any] = {}
    exec(compile(reader + proof, PAGE.name, "exec"), names)
    change(next((copy / "rows").rglob("*.parquet")))
    with pytest.raises(AssertionError, match=told):
        exec(compile(proof, PAGE.name, "exec"), names)


@pytest.fixture
def spark(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A Spark session on this computer alone, in UTC."""
    import warnings

    from pyspark.sql import SparkSession

    monkeypatch.setenv("SPARK_LOCAL_IP", "127.0.0.1")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of pandas, which is not used here
        session = (
            SparkSession.builder.master("local[1]")
            .config("spark.ui.enabled", "false")
            .config("spark.sql.session.timeZone", "UTC")
            .getOrCreate()
        )
        yield session
        session.stop()


@pytest.mark.long
def test_spark_finds_the_same_rows(page: Callable[..., dict[str, Any]], spark: Any) -> None:
    """By its own reader of Parquet, in Java."""
    rows = page(spark=spark)["with_spark"].collect()
    for name, cells in expected().items():
        found = [row[name] for row in rows]
        if name in ("due", "time"):  # collected as moments of the process's zone, without saying so
            found = [at and at.astimezone(UTC) for at in found]
        assert found == cells, name


def test_the_history_is_one(archive: Path) -> None:
    """What makes it hard to read: files with different columns, others in superseded/ that do not count."""
    import pyarrow.parquet as pq

    live = sorted((archive / "rows").rglob("*.parquet"))
    replaced = sorted((archive / "superseded").rglob("*.parquet"))
    assert (len(live), len(replaced)) == (2, 7)
    assert len({tuple(pq.read_schema(file).names) for file in live}) == 2
    kinds = re.findall(r'"kind":"(\w+)"', (archive / "ledger.jsonl").read_text())
    assert kinds == ["sealed"] * 4 + ["redecoded"] * 2 + ["merged"]
