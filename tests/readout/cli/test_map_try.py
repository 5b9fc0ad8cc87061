"""`map try` as an integrator sees it: a map with typical mistakes beside the meter it was written for."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from readout.errors import FellShort, WrongUse
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.plant import read_values, usual_values

#: What the meter truly is.
TRUE = """\
register_map: 1
meter: Mere 5 vane meter
serial: {baud_rate: 19200, unit_address: 12}
wire: {word_order: low first, reply_within: 200 ms, late_within: 100 ms}
readings:
  flow: {input: 0, type: float32, unit: l/min, basis: actual, range: [0, 500]}
  total: {input: 2, type: uint32, unit: kg, scale: 0.1, totaliser: true}
  pressure: {input: 4, type: uint16, scale: 0.001, unit: bar, gauge: true, range: [0, 16]}
  temperature: {input: 5, type: int16, scale: 0.1, unit: degC, range: [-30, 80]}
  dew_point: {holding: 10, type: int16, scale: 0.1, unit: degC, range: [-80, 30]}
"""
#: What its manual made of it.
WRONG = """\
# The manual's table, page 12
register_map: 1
meter: Mere 5 vane meter
serial: {baud_rate: 19200, unit_address: 12}
wire: {word_order: high first, reply_within: 200 ms, late_within: 100 ms}
readings:
  flow: {input: 0, type: float32, unit: l/min, basis: actual, range: [0, 500]} # wrong order
  total: {input: 2, type: uint32, unit: kg, scale: 0.1, totaliser: true} # wrong order
  pressure: {input: 4, type: uint16, scale: 0.01, unit: bar, gauge: true, range: [0, 160]} # wrong scale
  temperature: {input: 6, type: uint16, scale: 0.1, unit: degC} # one late, and signed
  dew_point: {input: 10, type: int16, scale: 0.1, unit: degC, range: [-80, 30]} # other table
"""
SHOWN = {
    "flow": "123.4",
    "total": "98765.4",
    "pressure": "7.205",
    "temperature": "-10.5",
    "dew_point": "-40.2",
}
RIGHT = {
    "flow": "float32:CDAB:input:0",
    "total": "uint32:CDAB:input:2",
    "pressure": "uint16:AB:input:4:scale=0.001",
    "temperature": "int16:AB:input:5",
    "dew_point": "int16:AB:holding:10",
}


@pytest.fixture
def port() -> Iterator[str]:
    parsed = parse_map(TRUE.encode(), "true.yaml")
    assert parsed.map is not None
    values = ",".join(SHOWN) + "\n" + ",".join(SHOWN.values()) + "\n"
    source = read_values(values.encode(), "values.csv", parsed.map, usual_values(None))
    meter = SimulatedMeter(parsed.map, unit_address=12, source=source)
    with SimulatedLine([meter]) as line:
        yield line.port


def tried(folder: Path, port: str, *words: str, text: str = WRONG) -> Result:
    (folder / "map.yaml").write_text(text, encoding="utf-8")
    return CliRunner().invoke(app, ["map", "try", str(folder / "map.yaml"), port, *words])


def displays() -> list[str]:
    return [word for name, shown in SHOWN.items() for word in ("--display", f"{name}={shown}")]


def test_each_mistake_is_found_by_what_the_display_shows(tmp_path: Path, port: str) -> None:
    done = tried(tmp_path, port, *displays(), "--json")
    assert done.exit_code == 1
    values = {one["name"]: one for one in json.loads(done.stdout)["values"]}
    for name, way in RIGHT.items():
        assert not values[name]["holds"]
        first = values[name]["readings"][0]
        assert first["fit"] in ("fits", "scaled")
        assert way in first["ways"], name
        assert [one["fit"] for one in values[name]["readings"]].count(first["fit"]) == 1, "it is alone"


def test_what_is_chosen_is_written_and_then_holds(tmp_path: Path, port: str) -> None:
    """Nothing is applied by itself; the new map keeps comments, and the old one is left as it was."""
    choices = [word for name, way in RIGHT.items() for word in ("--choose", f"{name}={way}")]
    new = tmp_path / "new.yaml"
    done = tried(tmp_path, port, *displays(), *choices, "--write-map", str(new))
    assert done.exit_code == 1
    assert (tmp_path / "map.yaml").read_text() == WRONG
    text = new.read_text()
    assert text.startswith("# The manual's table, page 12\n")
    assert text.count("#") == WRONG.count("#")
    assert all(comment in text for comment in ("# wrong order", "# wrong scale", "# one late, and signed"))
    assert "+  dew_point: {holding: 10" in done.stderr
    again = tried(tmp_path, port, *displays(), text=text)
    assert again.exit_code == 0, again.output
    assert "the map's way holds for 5 values" in again.stderr


def test_a_decimal_comma_is_taken_as_shown(tmp_path: Path, port: str) -> None:
    done = tried(tmp_path, port, "--display", "flow=123,4", "--display", "temperature=-10,5 degC", "--json")
    values = {one["name"]: one for one in json.loads(done.stdout)["values"]}
    assert RIGHT["flow"] in values["flow"]["readings"][0]["ways"]
    assert RIGHT["temperature"] in values["temperature"]["readings"][0]["ways"]


def test_a_right_map_without_a_display_is_said_to_prove_little(tmp_path: Path, port: str) -> None:
    done = tried(tmp_path, port, text=TRUE)
    assert done.exit_code == 0, done.output
    assert "5 without a display only make sense, which proves little" in done.stderr
    assert done.stdout.count("as mapped") == 5


def test_text_shows_the_way_to_type_back(tmp_path: Path, port: str) -> None:
    lines = tried(tmp_path, port, "--display", "flow=123.4").stdout.splitlines()
    assert lines[0] == "flow, the display shows 123.4"
    assert lines[2].split() == [
        "123.4", "l/min", "CCCD", "42F6", "float32:CDAB:input:0", "what", "the", "display", "shows"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--display", "flow"), "write NAME=SHOWN with a name of the map: flow, total"),
        (("--display", "speed=3"), "write NAME=SHOWN with a name of the map"),
        (("--display", "flow=1,234"), "a decimal comma, or thousands?"),
        (("--display", "flow=1.234,5"), "write the number as shown"),
        (("--choose", "flow=float32:CDAB:input:0"), "belong together"),
        (("--write-map", "new.yaml"), "belong together"),
        (("--choose", "flow=float32:XY:input:0", "--write-map", "new.yaml"), "no such way was tried on flow"),
        (("--choose", "speed=x", "--write-map", "new.yaml"), "write NAME=WAY with a name of the map"),
        (("--choose", "flow=float32:CDAB:input:0", "--write-map", "map.yaml"), "it is there already"),
    ],
)
def test_wrong_use(
    tmp_path: Path, port: str, words: tuple[str, ...], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = tried(tmp_path, port, *words)
    assert isinstance(done.exception, WrongUse), done.output
    assert said in str(done.exception)
    assert not (tmp_path / "new.yaml").exists()


def test_a_meter_that_stays_silent(tmp_path: Path, port: str) -> None:
    done = tried(tmp_path, port, "--unit-address", "77")
    assert isinstance(done.exception, FellShort)
    assert "Unit 77" in str(done.exception)
