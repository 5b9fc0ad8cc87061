"""`meter show` and `meter set` as somebody at the pipe sees them: a simulated meter on a pseudo-terminal."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner, Result

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from readout.errors import FellShort, PortError, WrongUse
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine
from storage.ledger import Line, read_file

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {baud_rate: 19200, parity: even, unit_address: 12}
wire: {reply_within: 200 ms, late_within: 100 ms}
readings: {flow: {input: 0, type: float32, unit: m3/h}}
settings:
  inside_diameter: {holding: 30, type: float32, unit: mm, range: [12, 900], write: allowed}
  log_interval: {holding: 32, type: uint16, unit: s, steps: [1, 2, 10, 20, 60, 300], write: allowed}
  clock: {holding: 34, type: unix time, write: allowed}
  damping: {holding: 36, type: uint16, scale: 0.1, unit: s}
  gas: {holding: 38, type: uint16, codes: {0: air, 1: nitrogen}, write: allowed}
identity: {serial_number: {holding: 60, type: text, registers: 4}}
"""
POINT = """\
measuring_point: 1
name: header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml{meter}}}
line: {{port: ./meter-port}}
pipe: {{inside_diameter: 53.1 mm}}
"""


class Site:
    """A folder with point, map and archive, and its meter on the line."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.archive = folder / "hollow-mere"
        (folder / "map.yaml").write_text(MAP, encoding="utf-8")
        parsed = parse_map(MAP.encode(), "map.yaml")
        assert parsed.map is not None
        self.device = SimulatedMeter(parsed.map)
        self.point()

    def point(self, meter: str = "") -> Path:
        file = self.folder / "header.yaml"
        file.write_text(POINT.format(meter=meter), encoding="utf-8")
        return file

    def run(self, *words: str, typed: str = "") -> Result:
        return CliRunner().invoke(app, [*words], input=typed)

    def show(self, *words: str) -> Result:
        return self.run("meter", "show", str(self.folder / "header.yaml"), *words)

    def set(self, name: str, value: str, *words: str, typed: str = "") -> Result:
        point = str(self.folder / "header.yaml")
        return self.run(
            "meter", "set", point, name, value, "--archive", str(self.archive), *words, typed=typed
        )

    def value(self, name: str) -> object:
        return json.loads(self.show("--json").stdout)["settings"][name]["value"]

    @property
    def ledger(self) -> tuple[Line, ...]:
        return read_file(self.archive / "ledger.jsonl").lines


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    found = Site(tmp_path)
    with SimulatedLine([found.device], end=PtyEnd(tmp_path / "meter-port")):
        yield found


def test_show_lists_identity_and_settings_with_units(site: Site) -> None:
    done = site.show()
    assert done.exit_code == 0, done.output
    lines = [" ".join(line.split()) for line in done.stdout.splitlines()]
    assert lines[0] == "header: Hollow Mere test meter, unit address 12 at 19200 8E1"
    assert any(line.startswith("serial_number ") for line in lines)
    assert any(line.startswith("damping ") and line.endswith(" s") for line in lines)
    assert any(line.startswith("gas ") and line.endswith("can be set") for line in lines)
    assert any("as this computer's; can be set" in line for line in lines if line.startswith("clock "))


def test_show_says_where_the_meter_differs_from_the_point_file(site: Site) -> None:
    assert site.set("inside_diameter", "50 mm", "--yes").exit_code == 0
    done = site.show("--json")
    (sentence,) = json.loads(done.stdout)["differences"]
    assert "inside_diameter is 50.0 mm in the meter, and 53.1 mm in the point file" in sentence
    assert sentence in done.stderr


def test_show_of_another_meter_falls_short(site: Site) -> None:
    site.point(", serial_number: EX-9999")
    done = site.show()
    assert done.exit_code == 1
    assert "the point file says EX-9999" in done.stderr


def test_read_says_that_another_meter_answers_and_shows_its_values(site: Site) -> None:
    (serial,) = json.loads(site.show("--json").stdout)["identity"].values()
    for meter, status in ((f", serial_number: {serial}", 0), (", serial_number: EX-9999", 1)):
        done = site.run("read", str(site.point(meter)), "--json")
        assert done.exit_code == status, done.output
        assert isinstance(json.loads(done.stdout)["readings"]["flow"]["value"], float)
        told = f"ANOTHER METER answers: serial number {serial} instead of EX-9999"
        assert (told in done.stderr) is (status == 1)


def test_set_asks_writes_reads_back_and_keeps_it(site: Site) -> None:
    done = site.set("inside_diameter", "2 in", typed="y\n")
    assert done.exit_code == 0, done.output
    assert "set to 50.8 mm? [y/N]" in done.stderr
    assert "is 50.8 mm" in done.stdout
    assert site.value("inside_diameter") == 50.8
    (line,) = site.ledger
    told = line.content
    assert (line.kind, told["point"], told["name"], told["new"], told["unit"]) == (
        "setting", "header", "inside_diameter", 50.8, "mm",
    )  # fmt: skip
    assert told["serial_number"] == json.loads(site.show("--json").stdout)["identity"]["serial_number"]


@pytest.mark.parametrize("answer", ["n\n", "\n", "no\n", "yess\n"])
def test_anything_but_yes_writes_nothing(site: Site, answer: str) -> None:
    before = site.value("log_interval")
    done = site.set("log_interval", "300 s", typed=answer)
    assert done.exit_code == 1
    assert "nothing was written" in done.stderr
    assert site.value("log_interval") == before
    assert site.device.writes == 0
    assert site.ledger == ()


def test_a_script_without_yes_is_told(site: Site) -> None:
    done = site.set("gas", "nitrogen")
    assert isinstance(done.exception, WrongUse)
    assert "give --yes" in str(done.exception)
    assert site.device.writes == 0


def test_a_value_that_is_there_already_is_not_written_again(site: Site) -> None:
    assert site.set("gas", "nitrogen", "--yes").exit_code == 0
    writes = site.device.writes
    done = site.set("gas", "nitrogen", "--yes", "--json")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert (document["changed"], document["ledger"]) == (False, None)
    assert site.device.writes == writes
    assert len(site.ledger) == 1


def test_a_customers_meter_is_refused_before_the_port_is_opened(tmp_path: Path) -> None:
    site = Site(tmp_path)  # nobody is on the line
    site.point(", owner: customer")
    done = site.set("gas", "nitrogen", "--yes")
    assert isinstance(done.exception, WrongUse)
    assert "owner: customer" in str(done.exception)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("damping", "1 s", "damping is not to be written"),
        ("dampng", "1 s", "no such setting: dampng; did you mean damping"),
        ("log_interval", "3 s", "the nearest is 2 s"),
        ("inside_diameter", "5 mm", "outside what the map allows"),
        ("clock", "2026-05-04T10:00", "write now"),
    ],
)
def test_a_wrong_setting_is_refused_before_the_port_is_opened(
    tmp_path: Path, name: str, value: str, said: str
) -> None:
    done = Site(tmp_path).set(name, value, "--yes")
    assert isinstance(done.exception, WrongUse)
    assert said in str(done.exception)


def test_another_meter_is_not_written_to(site: Site) -> None:
    site.point(", serial_number: EX-9999")
    done = site.set("gas", "nitrogen", "--yes")
    assert isinstance(done.exception, WrongUse)
    assert "ANOTHER METER" in str(done.exception)
    assert site.device.writes == 0


def test_an_absent_port_and_a_silent_meter_have_their_own_status(tmp_path: Path) -> None:
    site = Site(tmp_path)
    done = site.set("gas", "nitrogen", "--yes")
    assert isinstance(done.exception, PortError)
    with SimulatedLine([], end=PtyEnd(tmp_path / "meter-port")):
        done = site.set("gas", "nitrogen", "--yes")
    assert isinstance(done.exception, FellShort)
    assert "no reply within" in str(done.exception)


class Dying:
    """Carries out the first write, and is never heard again."""

    def __init__(self, meter: SimulatedMeter) -> None:
        self.meter = meter

    def reply(self, frame: bytes) -> bytes | None:
        if self.meter.writes:
            return None
        answer = self.meter.reply(frame)
        return None if self.meter.writes else answer


@pytest.mark.parametrize(("name", "value"), [("gas", "nitrogen"), ("clock", "now")])
def test_a_write_that_nobody_can_look_at_is_kept_as_not_known(tmp_path: Path, name: str, value: str) -> None:
    site = Site(tmp_path)
    with SimulatedLine([Dying(site.device)], end=PtyEnd(tmp_path / "meter-port")):
        done = site.set(name, value, "--yes")
    assert isinstance(done.exception, FellShort)
    assert "could not be read back: look at it with `meter show` before writing again" in done.stderr
    assert site.device.writes == 1
    (line,) = site.ledger
    assert (line.content["name"], line.content["new"]) == (name, None)


def test_the_clock_is_set_to_the_computers(site: Site) -> None:
    done = site.set("clock", "now", "--json", typed="y\n")
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert -2 <= document["offset_after_s"] <= 1
    assert site.ledger[-1].content["name"] == "clock"
    assert site.ledger[-1].content["offset_after_s"] == document["offset_after_s"]


def test_in_a_process_of_its_own_with_the_contracted_exit_statuses(site: Site, command: ModuleType) -> None:
    done = command.run(
        "meter",
        "set",
        "header.yaml",
        "gas",
        "nitrogen",
        "--archive",
        "hollow-mere",
        "--yes",
        "--json",
        cwd=site.folder,
    )
    assert done.status == 0, done
    assert done.json()["new"] == "nitrogen"
    assert done.json()["ledger"]["n"] == 1
    wrong = command.run(
        "meter", "set", "header.yaml", "gas", "helium", "--archive", "hollow-mere", "--yes", cwd=site.folder
    )
    assert (wrong.status, wrong.out) == (2, "")
    assert command.run("archive", "verify", "hollow-mere", cwd=site.folder).status == 0
    shutil.rmtree(site.archive)
    (site.folder / "hollow-mere").write_text("a file, no folder")
    held = command.run(
        "meter", "set", "header.yaml", "gas", "air", "--archive", "hollow-mere", "--yes", cwd=site.folder
    )
    assert held.status == 3
    assert (
        json.loads(command.run("meter", "show", "header.yaml", "--json", cwd=site.folder).out)["settings"][
            "gas"
        ]["value"]
        == "nitrogen"
    )
