"""`memory list` and `memory fetch` as a technician runs them, against a meter that records."""

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pyarrow.dataset as ds
import pytest

from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.log_memory import LogOptions

HEAD = """\
register_map: 1
meter: Hollow Mere logging meter
fluid: compressed air
serial: {baud_rate: 115200, parity: even, unit_address: 12}
wire: {reply_within: 300 ms, late_within: 100 ms, bridge: 4}
readings:
  flow: {input: 0, type: float32, unit: kg/h}
settings:
  clock: {holding: 60, type: unix time}
identity:
  serial_number: {holding: 200, type: text, registers: 5}
log_memory:
  capacity: 60000
  holds: mean
  marked_at: end
  recording: {input: 80, type: uint16, codes: {0: idle, 1: recording}}
"""
SESSIONS = """\
  sessions:
    count: {holding: 100}
    table: {holding: 110, registers: 7}
    most: 10
    fields:
      started: {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records: {at: 3, type: uint32}
      first: {at: 5, type: uint32}
  record:
    registers: 4
    fields:
      flow: {at: 0, type: uint16, scale: 0.1, unit: kg/h, not_available: [65535]}
      pressure: {at: 1, type: uint16, scale: 0.001, unit: bar, gauge: true}
      temperature: {at: 2, type: int16, scale: 0.1, unit: degC}
      check: {at: 3, type: crc16}
"""
WAYS = {
    "window": "    window: {pointer: {holding: 82, type: uint32}, echo: {holding: 400, type: uint32}, "
    "data: {holding: 402}, records: 11, write_and_read: allowed}\n",
    "registers": "    registers: {input: 1000, bank: {holding: 84}, records_per_bank: 5000}\n",
    "files": "    files: {first_file: 1, records_per_file: 1000}\n",
    "queue": "    queue: {address: 600, next_wanted: {holding: 86, type: uint32}}\n",
}
POINT = """\
measuring_point: 1
name: header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml}}
line: {{port: "{port}"}}
"""


@contextmanager
def logging_meter(folder: Path, way: str, log: LogOptions) -> Iterator[SimulatedMeter]:
    """A meter on a line, its map and its point file `header.yaml` in the folder."""
    text = f"{HEAD}{SESSIONS}  reached_by:\n{WAYS[way]}"
    (folder / "map.yaml").write_text(text, encoding="utf-8")
    parsed = parse_map(text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    meter = SimulatedMeter(parsed.map, log=log)
    with SimulatedLine([meter]) as line:
        (folder / "header.yaml").write_text(POINT.format(port=line.port), encoding="utf-8")
        yield meter


def rows(archive: Path) -> dict[str, np.ndarray[Any, Any]]:
    """Every column of the memory's rows, by session and record, as pyarrow reads the folder."""
    table = ds.dataset(archive / "rows/point=header/source=memory", partitioning="hive").to_table()
    table = table.sort_by([("session", "ascending"), ("record", "ascending")])
    return {name: table[name].to_numpy() for name in table.column_names}


def all_arrives(command: ModuleType, folder: Path, way: str, records: int) -> None:
    """Every record, value and time as the meter holds it; a second fetch adds nothing."""
    with logging_meter(folder, way, LogOptions.prefilled(records, 5.0, recording=False)) as meter:
        fetch = ("memory", "fetch", "header.yaml", "--archive", "hall", "--json")
        done = command.run(*fetch, cwd=folder, timeout=300)
        again = command.run(*fetch, cwd=folder)
        truth = meter.log.truth()
    assert (done.status, again.status) == (0, 0), done.err + again.err
    first, second = done.json(), again.json()
    assert (first["expected"], first["records_new"], first["gaps"]) == (records, records, [])
    assert (second["expected"], second["records_new"], second["records_known"]) == (records, 0, records)
    assert second["records_changed"] == 0
    found = rows(folder / "hall")
    assert found["record"].tolist() == truth.number.tolist()
    assert found["time"].astype("datetime64[ms]").astype(np.int64).tolist() == truth.time_ms.tolist()
    for name in ("flow", "pressure", "temperature"):
        assert found[name].tolist() == truth.values[name].data.tolist()
    verified = command.run("archive", "verify", "hall", "--json", cwd=folder).json()
    assert (verified["rows"], verified["faults"]) == (records, [])


@pytest.mark.parametrize("way", WAYS)
def test_everything_in_the_memory_reaches_the_archive_once(
    command: ModuleType, tmp_path: Path, way: str
) -> None:
    all_arrives(command, tmp_path, way, 700)


@pytest.mark.long
@pytest.mark.parametrize("way", WAYS)
def test_fifty_thousand_records_reach_the_archive_once(command: ModuleType, tmp_path: Path, way: str) -> None:
    all_arrives(command, tmp_path, way, 50_000)


def test_the_list_shows_sessions_and_how_long_the_memory_lasts(command: ModuleType, tmp_path: Path) -> None:
    with logging_meter(tmp_path, "window", LogOptions.prefilled(200, 60.0)):
        plain = command.run("memory", "list", "header.yaml", cwd=tmp_path)
        told = command.run("memory", "list", "header.yaml", "--json", cwd=tmp_path).json()
    assert plain.status == 0
    assert "the meter is recording" in plain.err
    assert "200 records of 60000" in plain.err
    assert told["recording"] is True
    assert told["full"] is False
    (session,) = told["sessions"]
    assert (session["session"], session["interval_s"], session["records"]) == (1, 60.0, 200)


def test_a_wrong_scale_in_the_memorys_map_is_put_right_at_the_desk(
    command: ModuleType, tmp_path: Path
) -> None:
    """Flow ten times too small, found afterwards: new values, the same records; the next visit goes on."""
    again = ("archive", "redecode", "hall", "--map", "right.yaml", "--yes", "--json")
    with logging_meter(tmp_path, "window", LogOptions.prefilled(300, 5.0, recording=False)) as meter:
        right = (tmp_path / "map.yaml").read_text()
        wrong = right.replace("scale: 0.1, unit: kg/h", "scale: 0.01, unit: kg/h")
        (tmp_path / "map.yaml").write_text(wrong)
        (tmp_path / "right.yaml").write_text(right)
        fetch = ("memory", "fetch", "header.yaml", "--archive", "hall", "--json")
        assert command.run(*fetch, cwd=tmp_path).status == 0
        before = rows(tmp_path / "hall")
        done = command.run(*again, cwd=tmp_path)
        (tmp_path / "map.yaml").write_text(right)
        next_visit = command.run(*fetch, cwd=tmp_path).json()
        truth = meter.log.truth()
    assert done.status == 0, done.err
    (point,) = done.json()["points"]
    assert (point["point"], point["source"], point["rows"]) == ("header", "memory", 300)
    assert point["sample"][0]["new"] == pytest.approx(10 * point["sample"][0]["old"])
    after = rows(tmp_path / "hall")
    for name in ("flow", "pressure", "temperature"):
        assert after[name].tolist() == truth.values[name].data.tolist()
    for name in before.keys() - {"flow"}:
        assert after[name].tolist() == before[name].tolist(), name
    assert (next_visit["records_new"], next_visit["records_known"]) == (0, 300)
    verified = command.run("archive", "verify", "hall", "--json", cwd=tmp_path).json()
    assert (verified["rows"], verified["faults"]) == (300, [])


def test_records_too_short_for_the_new_map_are_told(command: ModuleType, tmp_path: Path) -> None:
    with logging_meter(tmp_path, "window", LogOptions.prefilled(20, 5.0, recording=False)):
        right = (tmp_path / "map.yaml").read_text()
        assert command.run("memory", "fetch", "header.yaml", "--archive", "hall", cwd=tmp_path).status == 0
    longer = right.replace("registers: 4\n", "registers: 5\n").replace(
        "{at: 3, type: crc16}", "{at: 4, type: crc16}"
    )
    (tmp_path / "longer.yaml").write_text(longer)
    done = command.run("archive", "redecode", "hall", "--map", "longer.yaml", "--yes", cwd=tmp_path)
    assert done.status == 2
    assert "the log records kept of header have 4 registers, those of the new map 5" in done.err
    assert command.run("archive", "verify", "hall", cwd=tmp_path).status == 0


def test_a_computer_whose_clock_was_never_set_moves_no_times_and_says_so(tmp_path: Path) -> None:
    """As a small computer without a battery clock wakes: in 1970, until a time server is reached."""
    in_1970 = (
        "import sys, time; real = time.time; time.time = lambda: real() - 1.79e9\n"
        "from readout.cli.main import main; sys.exit(main())"
    )
    words = ["memory", "fetch", "header.yaml", "--archive", "hall", "--json"]
    with logging_meter(tmp_path, "window", LogOptions.prefilled(50, 5.0, recording=False)) as meter:
        done = subprocess.run(
            [sys.executable, "-c", in_1970, *words], cwd=tmp_path, capture_output=True, text=True, timeout=60
        )
        truth = meter.log.truth()
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["clock_offset_s"] is None
    assert "header: this computer's own clock is not set" in done.stderr
    found = rows(tmp_path / "hall")
    assert found["time"].astype("datetime64[ms]").astype(np.int64).tolist() == truth.time_ms.tolist()
