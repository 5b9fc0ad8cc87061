"""The JSON documents of the commands, key for key, as programs that call them were promised."""

import csv
import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.parquet as pq
import pytest

#: A value of every shape: float32, scaled, bits, codes, an unknown code, text, no reading.
MAP = """\
register_map: 1
meter: Hollow Mere document meter
fluid: water
serial: {baud_rate: 19200, parity: even, unit_address: 12}
wire: {reply_within: 200 ms, late_within: 100 ms}
readings:
  flow:     {input: 0, type: float32, unit: m3/h}
  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, range: [0, 2]}
  missing:  {input: 3, type: uint16, unit: bar, not_available: [65535]}
  state:    {input: 4, type: uint16, bits: {0: sensor fault, 1: supply low}}
  mode:     {input: 5, type: uint16, codes: {0: standby, 1: measuring}}
  phase:    {input: 6, type: uint16, codes: {0: standby, 1: measuring}}
  total:    {input: 7, type: uint64, unit: l, totaliser: true}
  label:    {input: 11, type: text, registers: 2}
"""
VALUES = (
    "flow,pressure,missing,state,mode,phase,total,label\n0.1,3.5,,3,measuring,7,18000000000000000001,HM20\n"
)


@pytest.fixture(scope="module")
def folder(command: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A meter that tells known values, its point, and an archive of five rows sealed in one file."""
    folder = tmp_path_factory.mktemp("documents")
    (folder / "map.yaml").write_text(MAP)
    (folder / "values.csv").write_text(VALUES)
    command.write_point(folder, "known", "./port")
    command.write_point(folder, "absent", "./no-port")
    words = ["simulate", "map.yaml", "--values", "values.csv", "--link", "port"]
    with command.running(*words, cwd=folder) as meter:
        command.until(lambda: meter.so_far().out, what="the simulated meter is ready")
        words = ["log", "known.yaml", "--archive", "archive", "--every", "100ms", "--for", "500ms"]
        assert command.run(*words, cwd=folder).status == 0
        yield folder


KNOWN: dict[str, dict[str, Any]] = {
    "flow": {"value": 0.1, "unit": "m3/h", "flag": None},
    "pressure": {"value": 3.5, "unit": "bar", "flag": "above range"},
    "missing": {"value": None, "unit": "bar", "flag": "not available"},
    "state": {"value": ["sensor fault", "supply low"], "unit": None, "flag": None},
    "mode": {"value": "measuring", "unit": None, "flag": None},
    "phase": {"value": "unknown(7)", "unit": None, "flag": "unknown code"},
    "total": {"value": 18000000000000000001, "unit": "l", "flag": None},
    "label": {"value": "HM20", "unit": None, "flag": None},
}


def test_read_of_one_point_is_an_object(command: ModuleType, folder: Path) -> None:
    """Numbers as numbers, codes as words, bits as a list of words, null where there is nothing."""
    before = datetime.now(UTC) - timedelta(seconds=1)
    done = command.run("read", "known.yaml", "--json", cwd=folder)
    found = done.json()
    assert list(found) == ["point", "time", "status", "readings"]
    assert (found["point"], found["status"]) == ("known", "ok")
    assert before < datetime.fromisoformat(found["time"]) < datetime.now(UTC)
    assert found["time"].endswith("Z")
    assert found["readings"] == KNOWN
    assert done.status == 0


def test_read_of_several_points_is_a_list_in_their_order(command: ModuleType, folder: Path) -> None:
    """A point without a port has every reading, null, and its status."""
    found = command.run("read", "absent.yaml", "known.yaml", "--json", cwd=folder).json()
    assert [(one["point"], one["status"]) for one in found] == [("absent", "port lost"), ("known", "ok")]
    assert found[0]["readings"].keys() == KNOWN.keys()
    assert {one["value"] for one in found[0]["readings"].values()} == {None}


def test_archive_list_names_what_is_on_the_disk(command: ModuleType, folder: Path) -> None:
    (found,) = command.run("archive", "list", "archive", "--json", cwd=folder).json()
    assert list(found) == ["file", "point", "source", "rows", "first", "last", "sha256"]
    assert (found["point"], found["source"], found["rows"]) == ("known", "live", 5)
    data = (folder / "archive" / found["file"]).read_bytes()
    assert hashlib.sha256(data).hexdigest() == found["sha256"]
    first, last = (datetime.fromisoformat(found[key]) for key in ("first", "last"))
    assert last - first == timedelta(milliseconds=400)


def test_archive_verify_of_a_whole_archive(command: ModuleType, folder: Path) -> None:
    last = json.loads((folder / "archive" / "ledger.jsonl").read_text().splitlines()[-1])
    for words in ([], ["--quick"]):
        found = command.run("archive", "verify", "archive", *words, "--json", cwd=folder).json()
        ledger = {"n": last["n"], "hash": last["hash"]}
        assert found == {"files": 1, "rows": 5, "ledger": ledger, "faults": []}


def test_archive_verify_names_the_file_or_the_ledger(
    command: ModuleType, folder: Path, tmp_path: Path
) -> None:
    """Faults are relative to the archive; the ledger is ledger.jsonl."""
    words = ["log", "known.yaml", "--archive", tmp_path / "own", "--every", "100ms", "--for", "200ms"]
    assert command.run(*words, cwd=folder).status == 0
    (sealed,) = (tmp_path / "own" / "rows").rglob("*.parquet")
    sealed.write_bytes(sealed.read_bytes()[:-1] + b"2")
    ledger = tmp_path / "own" / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes().replace(b'"rows":2', b'"rows":3', 1))
    done = command.run("archive", "verify", tmp_path / "own", "--json", cwd=folder)
    found = done.json()
    assert list(found) == ["files", "rows", "ledger", "faults"]
    assert all(list(fault) == ["file", "fault"] for fault in found["faults"])
    named = {fault["file"] for fault in found["faults"]}
    assert named == {sealed.relative_to(tmp_path / "own").as_posix(), "ledger.jsonl"}
    assert done.status == 1


def test_a_count_of_64_bits_is_the_same_text_in_every_file(
    command: ModuleType, folder: Path, tmp_path: Path
) -> None:
    """18000000000000000001 is beyond what a float64, and a spreadsheet's 15 digits, can hold."""
    done = command.run("export", "archive", "--to", tmp_path / "rows.csv", cwd=folder)
    assert done.status == 0, done.err
    with (tmp_path / "rows.csv").open(encoding="utf-8-sig", newline="") as file:
        header, *rows = csv.reader(file)
    (at,) = [index for index, name in enumerate(header) if name.startswith("total ")]
    assert len(rows) == 5
    assert {row[at] for row in rows} == {"18000000000000000001"}
    (sealed,) = (folder / "archive" / "rows").rglob("*.parquet")
    assert set(pq.ParquetFile(sealed).read(["total"])["total"].to_pylist()) == {18000000000000000001}


NINE_MISTAKES = """\
register_map: 1
meter: a map with nine mistakes
fluid: water
serial: {unit_address: 12}
wire: {registers_per_read: 2, numbering: from 0}
readings:
  a: {input: 0, type: flaot32, unit: bar}
  b: {input: 10, type: int16, unit: bar, colour: red}
  c:
    input: 11
    input: 12
    type: int16
    unit: bar
  d: {input: 0100, type: int16, unit: bar}
  e:
    input: 20
    type: int16
    unit: bar
    scale: 0,1
  f: {input: 21, type: int16, unit: bar, scale: 0,1}
  g: {input: 30, type: uint32, unit: bar}
  h: {input: 31, type: uint32, unit: bar}
  i: {input: 40, type: float64, unit: bar}
  j: {input: 65536, type: int16, unit: bar}
  k: {holding: 40001, type: int16, unit: bar}
"""
#: Line of each mistake, and a word that its sentence must have.
MISTAKES = {
    7: "flaot32", 8: "colour", 11: "input", 14: "0100", 19: "0.1", 20: "0.1", 22: "overlap", 23: "4",
    24: "65535", 25: "40001",
}  # fmt: skip


def test_map_check_tells_nine_mistakes_in_one_run(command: ModuleType, tmp_path: Path) -> None:
    """Each with file, line and column from 1, severity and sentence; exit status 2."""
    (tmp_path / "nine.yaml").write_text(NINE_MISTAKES)
    done = command.run("map", "check", "nine.yaml", "--json", cwd=tmp_path)
    assert done.status == 2
    found = done.json()
    assert all(list(one) == ["file", "line", "column", "severity", "fault"] for one in found)
    assert {one["file"] for one in found} == {"nine.yaml"}
    lines = NINE_MISTAKES.splitlines()
    for one in found:
        assert 1 <= one["column"] <= len(lines[one["line"] - 1]), one
    faults = [one for one in found if one["severity"] == "fault"]
    for line, word in MISTAKES.items():
        assert any(one["line"] == line and word in one["fault"] for one in faults), (line, found)
    assert {one["line"] for one in faults} == set(MISTAKES)
