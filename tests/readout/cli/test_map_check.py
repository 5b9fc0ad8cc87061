"""`map check` as somebody with a faulty map sees it: in a terminal, in an editor, and as data."""

import hashlib
import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from protocols.modbus.tables import Table
from protocols.register_map.findings import FINDINGS
from readout.cli.main import app
from readout.cli.map_check import map_check
from readout.errors import WrongUse
from readout.plan.refusals import Refusal, Refusals
from readout.poll.remembered import Remembered

PAGE = (Path(__file__).parents[3] / "docs/findings.md").read_text(encoding="utf-8")
FAULTY = """\
register_map: 1
meter: Mere 7 vane meter
readings:
  flow: {input: 010, type: float32, unit: kg/h}
  speed: {input: 020, type: float32, unit: m/s}
  total: {input: 30, type: float32, unit: kg, totaliser: true}
"""
GOOD = "register_map: 1\nmeter: Mere 7 vane meter\nreadings: {alarm: {discrete: 0}}\n"
COLD = (
    "register_map: 1\nmeter: Mere 7 vane meter\nreadings:\n"
    "  temperature: {input: 5, type: uint16, scale: 0.1, unit: degC, range: [-30, 80]}\n"
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "faulty.yaml").write_text(FAULTY, encoding="utf-8")
    (tmp_path / "good.yaml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "mere-7.yaml").write_text(COLD, encoding="utf-8")
    return tmp_path


def checked(*words: str) -> Result:
    return CliRunner().invoke(app, ["map", "check", *words])


@pytest.mark.usefixtures("folder")
def test_each_kind_is_explained_once_below_its_first_place() -> None:
    done = checked("faulty.yaml")
    assert done.exit_code == 2
    lines = done.stdout.splitlines()
    assert [line.split(":")[1] for line in lines if line.startswith("faulty.yaml:")] == ["4", "5", "6"]
    assert done.stdout.count("    leading zeros: ") == 1
    assert lines[1].startswith("    leading zeros: To some programs 0100 is 64")
    assert done.stdout.index("leading zeros: ") < done.stdout.index("faulty.yaml:5:")
    assert "    right: flow: {input: 100, type: float32, unit: kg/h}" in lines
    assert "    float32 total: A float32 has 24 bits" in done.stdout


@pytest.mark.usefixtures("folder")
def test_an_editor_gets_one_line_a_finding_that_its_pattern_takes_apart() -> None:
    """The pattern is the one the manual gives, read off the page."""
    (pattern,) = re.findall(r"`(\^[^`]+\$)`", PAGE)
    lines = checked("--no-why", "faulty.yaml", "missing.yaml").stdout.splitlines()
    found = [re.fullmatch(pattern, line) for line in lines]
    assert None not in found
    assert [(one[1], one[2], one[3], one[4]) for one in found if one is not None] == [
        ("faulty.yaml", "4", "17", None),
        ("faulty.yaml", "5", "18", None),
        ("faulty.yaml", "6", "28", "warning"),
        ("missing.yaml", "1", "1", None),
    ]
    for line, one in zip(FAULTY.splitlines()[3:], found, strict=False):
        assert one is not None
        assert line[int(one[3]) - 1 :].startswith(("010", "020", "float32")), "the column is that of the slip"


@pytest.mark.usefixtures("folder")
def test_data_has_the_same_and_with_why_the_lesson_too() -> None:
    plain, full = (json.loads(checked("faulty.yaml", "--json", *more).stdout) for more in ((), ("--why",)))
    assert [list(one) for one in plain] == [["file", "line", "column", "severity", "fault"]] * 3
    assert [list(one)[5:] for one in full] == [["name", "why", "right"]] * 3
    assert [one["name"] for one in full] == ["leading zeros", "leading zeros", "float32 total"]
    assert [{key: one[key] for key in plain[0]} for one in full] == plain
    assert full[2]["why"] == FINDINGS["float32 total"].why


@pytest.mark.usefixtures("folder")
def test_a_good_map_has_no_line_of_findings() -> None:
    done = checked("good.yaml")
    assert (done.exit_code, done.stdout) == (0, "")
    assert done.stderr == "good.yaml: Mere 7 vane meter: 1 readings, 0 settings, 0 identity entries\n"


def test_what_a_meter_was_found_to_refuse_is_remarked(folder: Path) -> None:
    """As `log` remembers it beside the map: no finding, for one meter may be odd; gone after any change."""
    file = folder / "mere-7.yaml"
    refused = Refusal(Table.INPUT, 5, 1, exception=2, values=("temperature",), learned=1_777_874_400.0)
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    Remembered(file, sha256, "header", None, pytest.fail).keep(Refusals((refused,)))
    done = checked("--no-why", "mere-7.yaml")
    assert done.stderr.splitlines()[1] == (
        "mere-7.yaml: line 4: the meter of header refuses 'temperature' (exception 02, illegal data "
        "address), seen on 2026-05-04; are table and address right?"
    )
    assert "refuses" not in done.stdout
    file.write_text(COLD + "# another version\n", encoding="utf-8")
    assert "refuses" not in checked("--no-why", "mere-7.yaml").stderr


@pytest.mark.parametrize("name", ["float32 total", "float32-total", "Float32  Total"])
def test_one_kind_is_explained_with_wrong_and_right(name: str) -> None:
    done = checked("--explain", name)
    assert done.exit_code == 0
    assert done.stdout.splitlines()[0] == "float32 total (warning)"
    assert "    wrong: total: {input: 22, type: float32" in done.stdout
    assert "    right: total: {input: 22, type: uint32" in done.stdout


def test_every_kind_can_be_explained_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    for name in FINDINGS:
        assert map_check(explain=name, as_json=True) == 0
        found = json.loads(capsys.readouterr().out)
        assert list(found) == ["name", "severity", "why", "wrong", "right"]
        assert found["name"] == name


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "name a FILE"),
        (("--explain", "float total"), "did you mean 'float32 total'"),
        (("--explain", "zzz"), "no finding has that name; all: file not readable"),
    ],
)
def test_wrong_use_says_what_to_write(words: tuple[str, ...], said: str) -> None:
    done = checked(*words)
    assert isinstance(done.exception, WrongUse)
    assert said in str(done.exception)


@pytest.mark.usefixtures("folder")
def test_the_pages_example_is_what_the_command_says() -> None:
    (block,) = re.findall(r"```console\n\$ pipeledger map check (mere-7\.yaml\n.*?)```", PAGE, re.DOTALL)
    name, _, shown = block.partition("\n")
    done = checked(name)
    assert done.exit_code == 0
    assert done.stdout == shown
