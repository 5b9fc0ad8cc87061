"""The commands against a meter that gives less than its map promises, on a pseudo-terminal."""

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.dataset as ds

from simulators.line import SimulatedLine

#: Registers 10 to 19 are a hole that the map lists; more than 8 at once are refused.
MAP = """\
register_map: 1
meter: Hollow Mere refusing meter
serial: {baud_rate: 19200, parity: even, unit_address: 1}
wire: {reply_within: 100 ms, late_within: 100 ms}
readings:
  flow:  {input: 4, type: float32, unit: m3/h}
  name:  {input: 10, type: text, registers: 10}
  total: {input: 24, type: float32, unit: m3}
  state: {input: 29, type: uint16, bits: {0: fault}}
"""
PRESENT = (*range(10), *range(20, 30))


def test_read_learns_once_shows_it_with_the_map_and_asks_for_nothing_in_vain_again(
    command: ModuleType, refusing: Callable[..., Any], tmp_path: Path
) -> None:
    (tmp_path / "map.yaml").write_text(MAP)
    meter = refusing({4: PRESENT}, [(4, 6), (24, 26)], 8)
    with SimulatedLine([meter]) as line:
        point = command.write_point(tmp_path, "header", line.port, unit=1)
        first = command.run("read", point, "--json", cwd=tmp_path)
        asked = len(meter.refused)
        second = command.run("read", point, "--json", cwd=tmp_path)
    assert (first.status, second.status) == (1, 1)
    assert 0 < asked <= 8
    assert len(meter.refused) == asked
    sentence = "registers input 10 to 19 are refused by this meter (name: exception 03, illegal data value)"
    assert first.err.count(f"header: {sentence}; the blocks were split") == 1
    assert "the blocks were split" not in second.err
    assert sentence in second.err
    for found in (first.json(), second.json()):
        assert found["status"] == "partial"
        available = {name: reading["value"] is not None for name, reading in found["readings"].items()}
        assert available == {"flow": True, "name": False, "total": True, "state": True}
    shown = command.run("map", "show", "map.yaml", cwd=tmp_path)
    assert f"{sentence}: the meter of header, learned on " in shown.out
    told = command.run("map", "show", "map.yaml", "--json", cwd=tmp_path).json()
    assert told["refused"] == ["name"]
    assert not any(read["start"] <= 10 < read["start"] + read["count"] for read in told["reads"])


def test_a_recorder_goes_on_by_the_plan_it_has_learned(
    command: ModuleType, refusing: Callable[..., Any], tmp_path: Path
) -> None:
    """Rows before and after have the columns of their own plan; the file says which reads were made."""
    (tmp_path / "map.yaml").write_text(MAP.replace("late_within: 100 ms", "late_within: 100 ms, bridge: 19"))
    meter = refusing({4: PRESENT}, [(4, 6), (24, 26)], 8)
    with SimulatedLine([meter]) as line:
        point = command.write_point(tmp_path, "header", line.port, unit=1)
        words = ["log", point, "--archive", "archive", "--every", "200ms", "--for", "2400ms"]
        done = command.run(*words, cwd=tmp_path)
        refused = len(meter.refused)
        again = command.run(*words, cwd=tmp_path)
    assert (done.status, again.status) == (0, 0)
    assert 0 < refused <= 8
    assert len(meter.refused) == refused
    assert done.err.count("the blocks were split") == 1
    rows = ds.dataset(tmp_path / "archive/rows/point=header/source=live").to_table().sort_by("sequence")
    assert rows["sequence"].to_pylist() == list(range(1, 25))
    assert rows["status"].to_pylist()[8:] == ["partial"] * 16
    assert rows["total"].null_count <= 8
    assert rows["name"].null_count == 24
    plans = [
        json.loads(ds.dataset(file).schema.metadata[b"pipeledger.plan"])
        for file in sorted((tmp_path / "archive/rows").rglob("*.parquet"))
    ]
    assert {len(plan["reads"]) for plan in plans} >= {1, 2}
    assert any(plan["refused"] == ["name"] for plan in plans)
    verified = command.run("archive", "verify", "archive", cwd=tmp_path)
    assert verified.status == 0


def test_a_meter_that_says_nothing_about_itself_is_recorded_all_the_same(
    command: ModuleType, refusing: Callable[..., Any], tmp_path: Path
) -> None:
    """Silent on its identity's registers, it answers for its readings: that is no dead meter."""
    text = MAP.replace("  name:  {input: 10, type: text, registers: 10}\n", "")
    (tmp_path / "map.yaml").write_text(f"{text}identity:\n  serial_number: {{holding: 200, type: uint32}}\n")
    meter = refusing({4: PRESENT}, [(4, 6), (24, 26)], silent=True)
    with SimulatedLine([meter]) as line:
        point = command.write_point(tmp_path, "header", line.port, unit=1)
        words = ["log", point, "--archive", "archive", "--every", "500ms", "--for", "3s"]
        done = command.run(*words, cwd=tmp_path)
        refused = len(meter.refused)
        again = command.run(*words, cwd=tmp_path)
    assert (done.status, again.status) == (0, 0)
    assert len(meter.refused) == refused
    assert "register" in done.err
    rows = ds.dataset(tmp_path / "archive/rows/point=header/source=live").to_table().sort_by("sequence")
    assert rows["status"].to_pylist()[-7:] == ["ok"] * 7
