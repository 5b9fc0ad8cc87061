"""`memory erase` killed at a request: the meter is empty only where a verified archive holds its records."""

import os
import signal
from pathlib import Path
from types import ModuleType

import pytest

from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine
from simulators.log_memory import LogOptions, Past
from storage.archive import ArchiveReader

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {baud_rate: 115200, parity: even, unit_address: 12}
wire: {reply_within: 2 s, late_within: 100 ms}
settings: {log_interval: {holding: 32, type: uint16, unit: s, steps: [1], write: allowed}}
identity: {model: {holding: 60, type: text, registers: 4}}
log_memory:
  capacity: 120
  recording: {holding: 80, type: uint16, codes: {0: idle, 1: recording, 2: erase}, write: allowed}
  count: {input: 100}
  record:
    registers: 4
    fields: {time: {at: 0, type: unix time}, flow: {at: 2, type: float32, unit: m3/h}}
  reached_by: {registers: {input: 1000}}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, serial_number: HM-1}
line: {port: ./meter-port}
"""
WORDS = ("header.yaml", "--archive", "hollow-mere")


class Killing:
    """Kills a process as a request arrives, before the reply: the n-th one, or (0) the one that writes."""

    def __init__(self, meter: SimulatedMeter) -> None:
        self.meter = meter
        self.pid, self.at, self.requests = 0, -1, 0

    def reply(self, frame: bytes) -> bytes | None:
        answer = self.meter.reply(frame)
        self.requests += 1
        due = self.meter.writes if self.at == 0 else self.requests == self.at
        if self.pid and due:
            os.kill(self.pid, signal.SIGKILL)
            self.pid = 0
        return answer


@pytest.mark.parametrize("at", [5, 0], ids=lambda at: f"request {at}" if at else "the erasing")
def test_killed_while_it_asks_or_erases_it_has_lost_nothing(
    tmp_path: Path, command: ModuleType, at: int
) -> None:
    (tmp_path / "map.yaml").write_text(MAP)
    (tmp_path / "header.yaml").write_text(POINT)
    parsed = parse_map((tmp_path / "map.yaml").read_bytes(), "map.yaml")
    assert parsed.map is not None
    meter = SimulatedMeter(parsed.map, log=LogOptions((Past(100, 1.0),), recording=False, interval=1.0))
    device = Killing(meter)
    with SimulatedLine([device], end=PtyEnd(tmp_path / "meter-port")):
        assert command.run("memory", "fetch", *WORDS, cwd=tmp_path).status == 0
        device.at, device.requests = at, 0
        with command.running(
            "memory", "erase", *WORDS, "--yes", "--serial-number", "HM-1", cwd=tmp_path
        ) as running:
            device.pid = running.pid
            assert running.end().status == -signal.SIGKILL
        assert meter.log is not None
        assert len(meter.log.truth().number) == (0 if at == 0 else 100)
        assert command.run("archive", "verify", "hollow-mere", cwd=tmp_path).status == 0
        assert ArchiveReader(tmp_path / "hollow-mere").read_rows("header", "memory").num_rows == 100
        again = command.run("memory", "erase", *WORDS, "--yes", "--serial-number", "HM-1", cwd=tmp_path)
        assert again.status == 0, again
        assert len(meter.log.truth().number) == 0
