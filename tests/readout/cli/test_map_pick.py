"""`map pick` as a technician sees it: a folder of maps, a meter on a port, and what goes wrong."""

import json
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.cli.main import app
from readout.errors import FellShort, NothingTrusted, PortError, WrongUse
from simulators.device import SimulatedMeter
from simulators.line import Piece, SimulatedLine
from simulators.plant import read_values, usual_values

ROOT = Path(__file__).parents[3]
GOLDEN = ROOT / "tests" / "golden" / "meters" / "maps"
WIRE = "wire: {reply_within: 60 ms, late_within: 60 ms}"
MERE = f"""\
register_map: 1
meter: Mere 20 insertion meter
serial: {{baud_rate: 19200, parity: even, unit_address: 12}}
{WIRE}
readings:
  flow: {{input: 0, type: float32, unit: m3/h, basis: actual, range: [0, 500]}}
  pressure: {{input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, range: [0, 16]}}
"""
CRAKE = f"""\
register_map: 1
meter: Crake W flow computer
serial: {{baud_rate: 9600, parity: none, unit_address: 31}}
{WIRE}
readings:
  velocity: {{holding: 100, type: float32, unit: m/s, basis: actual, range: [0, 150]}}
"""
POINT = "measuring_point: 1\nname: header\n"


def meter(text: str, unit_address: int | None = None) -> SimulatedMeter:
    """Its flow is 123.4 m3/h, its pressure 7.205 bar: 42F6 CCCD 1C25."""
    parsed = parse_map(text.encode(), "true.yaml")
    assert parsed.map is not None
    values = b"flow,pressure\n123.4,7.205\n" if "pressure:" in text else b"velocity\n123.4\n"
    source = read_values(values, "values.csv", parsed.map, usual_values(None))
    return SimulatedMeter(parsed.map, source=source, unit_address=unit_address)


@pytest.fixture
def maps(tmp_path: Path) -> Path:
    """Two maps, one with a fault, a point file and a text."""
    folder = tmp_path / "maps"
    folder.mkdir()
    (folder / "mere.yaml").write_text(MERE)
    (folder / "crake.yml").write_text(CRAKE)
    (folder / "broken.yaml").write_text(MERE.replace("float32", "flaot32").replace("input: 2", "input: 0100"))
    (folder / "header.yaml").write_text(POINT)
    (folder / "notes.txt").write_text("register_map: 1")
    return folder


def pick(port: str, maps: Path, *words: str) -> Result:
    return CliRunner().invoke(app, ["map", "pick", port, "--maps", str(maps), *words])


def test_the_map_that_fits_is_named_with_its_evidence_and_what_to_do_next(maps: Path) -> None:
    served = meter(MERE)
    with SimulatedLine([served]) as line:
        done = pick(line.port, maps)
    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines()[:5] == [
        "fits          mere.yaml  Mere 20 insertion meter",
        '  for      the meter calls itself "Mere 20 insertion meter" (function 17), as the map does',
        "  for      answers its only read",
        "  for      2 of 2 values make sense (2 by range)",
        "  for      it is the only one of these maps of which the meter gives every register",
    ]
    assert "does not fit  crake.yml" in done.stdout
    assert f"pipeledger map try {maps}/mere.yaml {line.port} --unit-address 12 --display" in done.stderr
    assert f"point new point.yaml --set meter.map={maps}/mere.yaml --set line.port={line.port}" in done.stderr
    assert served.writes == 0


def test_damaged_maps_are_told_and_passed_over(maps: Path) -> None:
    with SimulatedLine([meter(MERE)]) as line:
        done = pick(line.port, maps, "--json")
    said = [line for line in done.stderr.splitlines() if "passed over" in line]
    assert len(said) == 2
    assert "broken.yaml:6:26: " in said[0], "line and column of the first fault"
    assert "(and 1 more fault)" in said[0]
    assert "header.yaml:1:1: this is a point file, not a register map" in said[1]
    found = json.loads(done.stdout)
    assert found["requests"] <= 6, "as announced"
    assert [one["file"] for one in found["passed_over"]] == ["broken.yaml", "header.yaml"]
    assert found["fits"] == "mere.yaml"
    assert found["unit_address"] == 12
    assert [(one["file"], one["verdict"]) for one in found["maps"]] == [
        ("mere.yaml", "fits"), ("crake.yml", "does not fit")
    ]  # fmt: skip


def test_requests_and_time_are_stated_before_anything_is_sent(
    maps: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """mere: one read, or two alone; crake: one; functions 17 and 43: 4 requests, 6 at most."""
    order: list[str] = []

    def refused(*_: object) -> None:
        order.append("opened")
        raise PortError("absent", "no such port")

    monkeypatch.setattr("readout.cli.map_pick.say", order.append)
    monkeypatch.setattr("readout.bus.port.open_port", refused)
    done = pick("/dev/none", maps)
    assert isinstance(done.exception, PortError)
    assert order[-1] == "opened"
    assert "2 maps: 4 read requests, at most 6 where the meter refuses some; " in order[2]
    assert "Nothing is written" in order[2]
    assert "2 are tried in turn" in order[3]
    assert "unit 31 at 9600 8N1, unit 12 at 19200 8E1" in order[3]


def test_settings_of_the_maps_are_tried_in_turn_and_options_rule(maps: Path) -> None:
    """The meter was given unit 5, which no map says: nobody answers but with the option."""
    with SimulatedLine([meter(MERE, unit_address=5)]) as line:
        silent = pick(line.port, maps)
        found = pick(line.port, maps, "--unit-address", "5", "--baud", "38400", "--characters", "8N2")
    assert isinstance(silent.exception, FellShort)
    assert str(silent.exception).startswith(
        f"{line.port}: nobody answers with unit 31 at 9600 8N1, unit 12 at 19200 8E1. `pipeledger find "
    )
    assert found.exit_code == 0, found.output
    assert "unit 5 at 38400 8N2 answers" in found.stderr
    assert (
        "--set meter.unit_address=5 --set line.baud_rate=38400 --set line.parity=none "
        "--set line.stop_bits=2" in found.stderr
    )


def test_the_first_meter_that_answers_is_meant_and_the_others_are_named(maps: Path) -> None:
    with SimulatedLine([meter(MERE), meter(CRAKE)]) as line:
        first = pick(line.port, maps)
        other = pick(line.port, maps, "--unit-address", "12")
    assert first.stdout.startswith("fits          crake.yml")
    said = "unit 31 at 9600 8N1 answered first, so its meter is meant; next in turn were unit 12 at"
    assert said in first.stderr
    assert other.stdout.startswith("fits          mere.yaml")
    assert "next in turn" not in other.stderr


def test_equals_are_equals_and_the_status_says_so(maps: Path) -> None:
    (maps / "mere-b.yaml").write_text(MERE.replace("unit: m3/h", "unit: l/min"))
    with SimulatedLine([meter(MERE)]) as line:
        done = pick(line.port, maps)
    assert done.exit_code == 1
    assert (
        "cannot be told apart by reading: mere-b.yaml and mere.yaml differ only in unit of flow (l/min, m3/h)"
        in done.stdout
    )
    assert "several fit alike" in done.stderr


def test_where_no_map_fits_it_is_said_with_status_1(maps: Path) -> None:
    with SimulatedLine(
        [meter(MERE.replace("input: 0", "input: 50").replace("input: 2", "input: 60"))]
    ) as line:
        done = pick(line.port, maps)
    assert done.exit_code == 1
    assert "does not fit  mere.yaml" in done.stdout
    assert "no map of the folder fits" in done.stderr


def test_a_line_that_damages_every_reply_gives_a_sentence(maps: Path) -> None:
    def damage(_now: float, reply: bytes) -> Sequence[Piece]:
        return [Piece(0.0, reply[:-1] + bytes((reply[-1] ^ 0x10,)))]

    with SimulatedLine([meter(MERE)], delivery=damage) as line:
        done = pick(line.port, maps, "--unit-address", "12", "--baud", "19200", "--characters", "8E1")
    assert isinstance(done.exception, NothingTrusted), done.output
    assert "no reply could be trusted with unit 12 at 19200 8E1" in str(done.exception)
    assert "`pipeledger find" in str(done.exception)


@contextmanager
def hearing(fmt: SerialFormat, served: SimulatedMeter) -> Iterator[list[SerialFormat]]:
    """What is opened; the meter hears only what is sent with its own settings. No real port."""
    opened: list[SerialFormat] = []

    class Port:
        name = "hollow-mere"
        notes: tuple[str, ...] = ()

        def __init__(self, of: SerialFormat) -> None:
            self.of, self.due = of, b""

        def write(self, data: bytes) -> None:
            if self.of == fmt:
                self.due += served.reply(data) or b""

        def read(self, _wait: float) -> bytes:
            data, self.due = self.due, b""
            return data

        def reset(self) -> None:
            self.due = b""

        def close(self) -> None:
            pass

    def open_port(_name: str, of: SerialFormat) -> Port:
        opened.append(of)
        return Port(of)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("readout.bus.port.open_port", open_port)
        yield opened


def test_the_meters_own_line_settings_are_found(maps: Path) -> None:
    """Both meters may have unit 12: only baud rate and parity tell which settings are heard."""
    (maps / "crake.yml").write_text(CRAKE.replace("unit_address: 31", "unit_address: 12"))
    with hearing(SerialFormat(19200, "even"), meter(MERE)) as opened:
        done = pick("hollow-mere", maps)
    assert done.exit_code == 0, done.output
    assert [str(one) for one in opened] == ["9600 8N1", "19200 8E1"]
    assert "unit 12 at 19200 8E1 answers" in done.stderr


@pytest.mark.parametrize(
    ("change", "words", "said"),
    [
        (None, (), "no such folder"),
        ({}, (), "no register map there"),
        ({"a.yaml": POINT}, (), "no register map there"),
        ({"a.yaml": MERE.replace(", unit_address: 12", "")}, (), "no map says a unit_address"),
        ({"a.yaml": MERE}, ("--baud", "fast"), "baud rates are whole numbers"),
        ({"a.yaml": MERE}, ("--characters", "9X9"), "write data bits, parity and stop bits"),
    ],
)
def test_wrong_use_is_refused_before_anything_is_sent(
    change: dict[str, str] | None, words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    folder = tmp_path / "folder"
    if change is not None:
        folder.mkdir()
        for name, text in change.items():
            (folder / name).write_text(text)
    done = pick("/dev/none", folder, *words)
    assert isinstance(done.exception, WrongUse), done.output
    assert said in str(done.exception)


def test_the_page_shows_what_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """docs/which-map.md: three of the golden maps, and the insertion meter with values of its own."""
    (tmp_path / "maps").mkdir()
    for name in ("header-flow", "loop-inputs", "wide-registers"):
        (tmp_path / "maps" / f"{name}.yaml").write_bytes((GOLDEN / f"{name}.yaml").read_bytes())
    monkeypatch.chdir(tmp_path)
    parsed = parse_map((GOLDEN / "header-flow.yaml").read_bytes(), "header-flow.yaml")
    assert parsed.map is not None
    values = b"flow,total,velocity,temperature\n71.13,2877240.4,8.9,21\n"
    source = read_values(values, "values.csv", parsed.map, usual_values(None))
    with SimulatedLine([SimulatedMeter(parsed.map, source=source)]) as line:
        done = pick(line.port, Path("maps"), "--unit-address", "12")
    page = (ROOT / "docs" / "which-map.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"^```console\n\$ [^\n]*\n(.*?)^```", page, re.MULTILINE | re.DOTALL)
    assert done.output.replace(line.port, "/dev/ttyUSB0") == shown
