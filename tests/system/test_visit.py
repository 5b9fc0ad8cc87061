"""A whole visit: real processes, a meter on a pseudo-terminal, and SIGKILL in the middle."""

import json
import signal
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

MAP = """\
register_map: 1
meter: Hollow Mere test meter
fluid: compressed air
serial: {baud_rate: 115200, parity: even, unit_address: 12}
wire: {reply_within: 300 ms, late_within: 200 ms}
readings:
  flow: {input: 0, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar}}
  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true}
  total: {input: 3, type: uint32, scale: 0.001, unit: m3, totaliser: true, reference: as flow}
settings:
  log_interval: {holding: 32, type: uint16, unit: s, steps: [1, 10, 60], write: allowed}
  clock: {holding: 34, type: unix time, write: allowed}
identity: {serial_number: {holding: 60, type: text, registers: 4}}
log_memory:
  capacity: 5000
  when_full: stop
  after_power_loss: new session
  recording: {holding: 80, type: uint16, codes: {0: idle, 1: recording, 2: erase}, write: allowed}
  sessions:
    count: {input: 100}
    table: {input: 110, registers: 7}
    most: 8
    fields:
      started:  {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records:  {at: 3, type: uint32}
      first:    {at: 5, type: uint32}
  record:
    registers: 4
    fields:
      number: {at: 0, type: uint32}
      flow: {at: 2, type: float32, unit: m3/h, reference: as flow}
  reached_by: {registers: {input: 1000}}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, serial_number: EX-0042}
line: {port: ./meter-port}
"""
ANSWERS = """\
# a rehearsal in the hall
cautions: yes
interval: 1s
set_clock: yes
start: yes
stop: yes
photo: mounted.jpg
note: probe at the centre
"""


@pytest.fixture
def hall(tmp_path: Path) -> Path:
    (tmp_path / "map.yaml").write_text(MAP, encoding="utf-8")
    (tmp_path / "header.yaml").write_text(POINT, encoding="utf-8")
    (tmp_path / "answers.txt").write_text(ANSWERS, encoding="utf-8")
    (tmp_path / "mounted.jpg").write_bytes(b"\xff\xd8 a photograph")
    return tmp_path


def soon() -> str:
    from datetime import UTC, datetime, timedelta

    return (datetime.now(UTC) + timedelta(minutes=20)).isoformat()


def lines(hall: Path, kind: str) -> list[dict[str, Any]]:
    text = (hall / "hollow-mere/ledger.jsonl").read_text(encoding="utf-8")
    return [found for found in map(json.loads, text.splitlines()) if found["kind"] == kind]


def test_a_visit_killed_in_the_middle_goes_on_and_ends_well(command: ModuleType, hall: Path) -> None:
    """Killed while the values are watched: fetched, set and noted are not done again, and the end is safe."""
    simulated = ["simulate", "map.yaml", "--link", "./meter-port", "--memory", "300", "--memory-every", "1s"]
    start = ["visit", "start", "header.yaml", "--archive", "hollow-mere", "--answers", "answers.txt"]
    start += ["--answer", f"return={soon()}"]
    with command.running(*simulated, cwd=hall) as meter:
        command.until(lambda: meter.so_far().out, what="the simulated meter")
        with command.running(*start, "--answer", "live=10min", cwd=hall) as visit:
            command.until(lambda: "/13  values" in visit.so_far().err, 60, "the values are watched")
            visit.process.send_signal(signal.SIGKILL)
            visit.process.wait(10)
        before = [len(lines(hall, "retrieved")), len(lines(hall, "setting"))]
        shown = command.run("read", "header.yaml", "--json", cwd=hall).json()["readings"]
        display = f"display=pressure {shown['pressure']['value']:.2f} bar(g)"
        done = command.run(*start, "--answer", "live=1s", "--answer", display, "--json", cwd=hall)
        assert done.status == 0, done
        assert "goes on; begun at" in done.err
        assert done.err.count("   done  ") >= 4, "settings, memory, room, clock are not done again"
        assert done.json()["verdict"] == "go"
        assert [len(lines(hall, "retrieved")), len(lines(hall, "setting"))] == [before[0], before[1] + 1]
        assert lines(hall, "setting")[-1]["name"] == "recording"
        texts = [line["text"] for line in lines(hall, "note")]
        assert texts == ["probe at the centre", "photograph: mounted.jpg", "visit start: go"]

        end = ["visit", "end", "header.yaml", "--archive", "hollow-mere", "--answer", display]
        end += ["--answer", "cautions=yes", "--answer", "stop=yes"]
        lacking = command.run(*end, cwd=hall)
        assert lacking.status == 2
        assert "the answer removal lacks" in lacking.err
        over = command.run(*end, "--answer", "removal=yes", cwd=hall)
        assert over.status == 0, over
        assert over.out.strip().startswith("SAFE TO DISMOUNT")
        assert "hollow-mere: line" in over.err
        listed = command.run("memory", "list", "header.yaml", "--json", cwd=hall).json()
        assert listed["recording"] is False
        held = sum(one["records"] for one in listed["sessions"])
        rows = command.run("archive", "verify", "hollow-mere", "--json", cwd=hall).json()
        assert (rows["rows"], rows["faults"]) == (held, [])
        again = command.run(*end, "--answer", "removal=yes", cwd=hall)
        assert (again.status, again.out.strip()) == (0, over.out.strip().partition("\n")[2])
