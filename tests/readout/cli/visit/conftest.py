"""A hall with a point, a map, a simulated meter that can be put on the line, and the answers of a visit."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine
from simulators.log_memory import LogOptions, Past
from storage.ledger import Line, read_file

MAP = """\
register_map: 1
meter: Hollow Mere test meter
fluid: compressed air
serial: {{baud_rate: 115200, parity: even, unit_address: 12}}
wire: {{reply_within: 1 s, late_within: 300 ms}}
readings:
  flow: {{input: 0, type: float32, unit: m3/h, reference: {{temperature: 20 degC, pressure: 1 bar}}}}
  pressure: {{input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true}}
  total: {{input: 3, type: uint32, scale: 0.1, unit: m3, totaliser: true, reference: as flow}}
  mode: {{input: 5, type: uint16, codes: {{0: {mode}, 1: standby}}}}
settings:
  inside_diameter: {{holding: 30, type: float32, unit: mm, range: [12, 900], write: allowed}}
  log_interval: {{holding: 32, type: uint16, unit: s, steps: [1, 10, 3600], write: allowed}}
  clock: {{holding: 34, type: unix time, write: allowed}}
identity: {{serial_number: {{holding: 60, type: text, registers: 4}}}}
log_memory:
  capacity: {capacity}
  when_full: stop
  after_power_loss: new session
  recording: {{holding: 80, type: uint16, codes: {{0: idle, 1: recording, 2: erase}}{write}}}
  sessions:
    count: {{input: 100}}
    table: {{input: 110, registers: 7}}
    most: 8
    fields:
      started:  {{at: 0, type: unix time}}
      interval: {{at: 2, type: uint16, unit: s}}
      records:  {{at: 3, type: uint32}}
      first:    {{at: 5, type: uint32}}
  record:
    registers: 4
    fields:
      number: {{at: 0, type: uint32}}
      flow: {{at: 2, type: float32, unit: m3/h, reference: as flow}}
  reached_by: {{registers: {{input: 1000}}}}
"""
POINT = """\
measuring_point: 1
name: header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin, altitude: 40 m}}
meter: {{map: map.yaml{meter}}}
line: {{port: ./meter-port}}
pipe: {{inside_diameter: {bore} mm, diameter_from: measured}}
conditions: {{pressure: {pressure} bar(g), temperature: 25 degC, expected_flow: {expected}}}
reference: {{temperature: 20 degC, pressure: 1 bar(a)}}
"""
OURS = ", serial_number: EX-0042"


class Site:
    """A folder with point, map and archive; `answers` are those of a visit that goes well."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.archive = folder, folder / "hollow-mere"
        self.answers = {
            "cautions": "yes", "return": "2999-01-01T08:00", "live": "1ms", "start": "yes",
            "set_clock": "no",
        }  # fmt: skip
        self.map()
        self.point()

    def map(
        self,
        *,
        mode: str = "measuring",
        capacity: int = 120,
        write: str = ", write: allowed",
    ) -> None:
        self.text = MAP.format(mode=mode, capacity=capacity, write=write)
        (self.folder / "map.yaml").write_text(self.text, encoding="utf-8")

    def point(
        self,
        *,
        meter: str = OURS,
        bore: str = "53.1",
        pressure: float = 7,
        expected: str = "1 m3/h to 600 m3/h",
    ) -> None:
        text = POINT.format(meter=meter, bore=bore, pressure=pressure, expected=expected)
        (self.folder / "header.yaml").write_text(text, encoding="utf-8")

    @contextmanager
    def line(self, past: int = 5, **log: Any) -> Iterator[SimulatedMeter]:
        parsed = parse_map(self.text.encode(), "map.yaml")
        assert parsed.map is not None, parsed.faults
        options = LogOptions((Past(past, 1.0),) if past else (), interval=1.0, **{"recording": False, **log})
        device = SimulatedMeter(parsed.map, log=options)
        with SimulatedLine([device], end=PtyEnd(self.folder / "meter-port")):
            yield device

    def run(self, visit: str, *words: str, **changed: str) -> Result:
        given = {
            **(self.answers if visit == "start" else {}),
            **{key.replace("__", "."): text for key, text in changed.items()},
        }
        answers = [part for key, text in given.items() if text for part in ("--answer", f"{key}={text}")]
        point = str(self.folder / "header.yaml")
        return CliRunner().invoke(
            app, ["visit", visit, point, "--archive", str(self.archive), *answers, *words]
        )

    def shown(self) -> str:
        """What the display shows: the pressure, which moves less within seconds than the flow."""
        done = CliRunner().invoke(app, ["read", str(self.folder / "header.yaml"), "--json"])
        return f"pressure {json.loads(done.stdout)['readings']['pressure']['value']:.2f} bar(g)"

    def start(self, *words: str, **changed: str) -> Result:
        self.answers["return"] = self.soon()
        return self.run("start", *words, **{"display": self.shown(), **changed})

    def set(self, name: str, value: str) -> Result:
        words = [name, value, "--yes", "--archive", str(self.archive)]
        return CliRunner().invoke(app, ["meter", "set", str(self.folder / "header.yaml"), *words])

    def ready(self) -> None:
        """The meter's diameter set as the point file says."""
        done = self.set("inside_diameter", "53.1 mm")
        assert done.exit_code == 0, done.output

    @staticmethod
    def soon(seconds: int = 60) -> str:
        from datetime import UTC, datetime, timedelta

        return (datetime.now(UTC) + timedelta(seconds=seconds)).isoformat()

    @property
    def ledger(self) -> tuple[Line, ...]:
        return read_file(self.archive / "ledger.jsonl").lines


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return Site(tmp_path)
