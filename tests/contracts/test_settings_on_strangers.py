"""`meter set` and `meter show` on meters made by strangers: pymodbus's server and a C program on libmodbus.

What must lie in their registers afterwards is worked out with the standard library's `struct`, and read by a
bare line, not by the command that wrote it.
"""

import json
import struct
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.port import open_port
from readout.cli.main import app
from readout.clock import SystemClock
from storage.ledger import read_file

FORMAT = SerialFormat(19200, "none", stop_bits=2)
MAP = """\
register_map: 1
meter: a stranger's
serial: {{baud_rate: 19200, parity: none, stop_bits: 2, unit_address: 17}}
wire: {{reply_within: 2 s, write_with: {write_with}, word_order: {order}}}
readings: {{level: {{input: 8, type: uint16}}}}
settings:
  inside_diameter: {{holding: 196, type: float32, unit: mm, range: [12, 900], write: allowed}}
  damping: {{holding: 198, type: uint16, scale: 0.1, unit: s, write: allowed}}
  beyond: {{holding: 60000, type: uint16, write: allowed}}
"""
POINT = """\
measuring_point: 1
name: header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml}}
line: {{port: {port}}}
"""


@pytest.fixture(params=[(16, "low first"), (16, "high first"), (6, "low first")], ids=str)
def point(request: pytest.FixtureRequest, strangers_meter: str, tmp_path: Path) -> Path:
    write_with, order = request.param
    text = MAP.format(write_with=write_with, order=order)
    (tmp_path / "map.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "point.yaml").write_text(POINT.format(port=strangers_meter), encoding="utf-8")
    return tmp_path / "point.yaml"


def act(*words: str) -> Result:
    return CliRunner().invoke(app, ["meter", *words])


def set_(point: Path, name: str, value: str) -> Result:
    archive = str(point.parent / "hollow-mere")
    return act("set", str(point), name, value, "--archive", archive, "--yes", "--json")


def registers(port: str) -> list[int]:
    """Holding registers 195 to 199, as sent."""
    line = Line(open_port(port, FORMAT), FORMAT, SystemClock())
    try:
        outcome = line.read(17, ReadRequest(Table.HOLDING, 195, 5), Manners(reply_within=2.0))
    finally:
        line.close()
    assert outcome.status == "ok", outcome.text
    return list(outcome.words)


def test_what_is_set_lies_in_the_strangers_registers_and_nothing_else_changes(
    point: Path, strangers_meter: str
) -> None:
    low_first = "low first" in (point.parent / "map.yaml").read_text(encoding="utf-8")
    before = registers(strangers_meter)
    for inches, millimetres in (("2 in", 50.8), ("4 in", 101.6)):
        done = set_(point, "inside_diameter", inches)
        assert done.exit_code == 0, done.output
        assert json.loads(done.stdout)["new"] == millimetres
        high, low = struct.unpack(">2H", struct.pack(">f", millimetres))
        words = [low, high] if low_first else [high, low]
        assert registers(strangers_meter)[:3] == [before[0], *words]
    for seconds, raw in (("1.5 s", 15), ("0.5 min", 300)):
        assert set_(point, "damping", seconds).exit_code == 0
        assert registers(strangers_meter)[3:] == [raw, before[4]]
    shown = json.loads(act("show", str(point), "--json").stdout)["settings"]
    assert (shown["inside_diameter"]["value"], shown["damping"]["value"]) == (101.6, 30.0)
    kinds = [line.kind for line in read_file(point.parent / "hollow-mere/ledger.jsonl").lines]
    assert set(kinds) == {"setting"}


def test_a_register_that_the_stranger_has_not_is_refused_and_nothing_is_kept(point: Path) -> None:
    done = set_(point, "beyond", "5")
    assert done.exit_code == 1
    assert "illegal data address" in str(done.exception)
    assert read_file(point.parent / "hollow-mere/ledger.jsonl").lines == ()
