"""`map try` as an integrator sees it: a map with typical mistakes beside the meter it was written for."""

import json
import random
import re
import struct
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest
from crccheck.crc import CrcModbus
from typer.testing import CliRunner, Result

from protocols.register_map.model import Column
from protocols.register_map.parse import parse_map
from readout.cli.main import app
from readout.cli.map_try import tell_tried
from readout.diagnose.readings.judging import tried as tried_ways
from readout.errors import FellShort, NothingTrusted, PortError, WrongUse
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
    with SimulatedLine([true_meter()]) as line:
        yield line.port


def true_meter() -> SimulatedMeter:
    parsed = parse_map(TRUE.encode(), "true.yaml")
    assert parsed.map is not None
    values = ",".join(SHOWN) + "\n" + ",".join(SHOWN.values()) + "\n"
    source = read_values(values.encode(), "values.csv", parsed.map, usual_values(None))
    return SimulatedMeter(parsed.map, unit_address=12, source=source)


def tried(folder: Path, port: str, *words: str, text: str = WRONG) -> Result:
    (folder / "map.yaml").write_text(text, encoding="utf-8")
    return CliRunner().invoke(app, ["map", "try", str(folder / "map.yaml"), port, *words])


BITS_AND_TOTAL = """\
register_map: 1
meter: Mere 5 vane meter
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: uint16, unit: m3/min, basis: actual}
  total: {input: 1, type: uint32, unit: kg, plus: [{input: 3, type: uint16, scale: 0.0001}]}
  alarm: {input: 4, type: uint16, bits: {0: flow high, 7: sensor}}
  mass: {input: 5, type: float32, unit: kg}
"""


@dataclass
class Words:
    """A meter of these input registers, each by its own number; of any other it refuses the address."""

    registers: tuple[int, ...]

    def reply(self, frame: bytes) -> bytes | None:
        unit, function, start, count = struct.unpack(">BBHH", frame[:6])
        body = struct.pack(">BBB", unit, function | 0x80, 2)
        if function == 4 and start + count <= len(self.registers):
            words = self.registers[start : start + count]
            body = struct.pack(f">BBB{count}H", unit, function, 2 * count, *words)
        return body + CrcModbus.calc(body).to_bytes(2, "little")


def test_units_bits_and_all_digits_are_shown_as_people_read_them(tmp_path: Path) -> None:
    """999,999,998 is 3B9A C9FE and 9999 ten thousandths 270F: 999999998.9999; 0x181 is bits 8, 7 and 0.

    1234567 is 1.1775… × 2^20, as float32 4996 B438 (struct.pack).
    """
    with SimulatedLine([Words((85, 0x3B9A, 0xC9FE, 0x270F, 0x0181, 0x4996, 0xB438))]) as line:
        done = tried(tmp_path, line.port, "--samples", "1", text=BITS_AND_TOTAL)
    assert "as mapped  85  m³/min  0055" in done.stdout
    assert "as mapped  999999998.9999  kg  3B9A C9FE 270F" in done.stdout
    assert "as mapped  1234567  kg  4996 B438" in done.stdout
    assert "as mapped  385 (flow high, sensor, bit8)" in done.stdout


WIDE_TOTAL = """\
register_map: 1
meter: Mere 5 vane meter
serial: {unit_address: 12}
readings:
  total: {input: 0, type: int64, scale: 0.01, unit: kg, totaliser: true}
  speed: {input: 4, type: uint16, unit: m/s, basis: actual, range: [0, 60]}
"""


def test_a_wide_total_of_many_years_is_no_odd_number(tmp_path: Path) -> None:
    """123,456,789,012 hundredths are 1C BE99 1A14; what the display shows is said even where it is odd."""
    with SimulatedLine([Words((0, 0x1C, 0xBE99, 0x1A14, 85))]) as line:
        words = ("--samples", "1", "--display", "total=1234567890.12", "--display", "speed=85")
        done = tried(tmp_path, line.port, *words, text=WIDE_TOTAL)
    assert re.search(r"as mapped +1234567890\.12  kg .*  what the display shows\n", done.stdout)
    assert "what the display shows, but above range 0 to 60" in done.stdout


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


def test_a_unit_that_the_meter_tells_is_not_typed_with_the_number(tmp_path: Path, port: str) -> None:
    told = TRUE.replace("unit: kg, scale", "unit: {input: 4, type: uint16, codes: {7205: kg}}, scale")
    done = tried(tmp_path, port, "--display", "total=98765.4 kg", text=told)
    assert isinstance(done.exception, WrongUse), done.output
    assert "the meter tells its unit itself; write the number alone" in str(done.exception)


@pytest.mark.parametrize("unit", ["", " kg"])
def test_a_display_that_counts_in_thousands_is_named_and_taken(tmp_path: Path, port: str, unit: str) -> None:
    """98765.4 kg on the wire; the display shows 98.77 with a small x1000 beside it."""
    done = tried(tmp_path, port, "--display", f"total=98.77{unit}", "--json", text=TRUE)
    (note,) = [one for one in json.loads(done.stdout)["notes"] if one.startswith("total")]
    assert "1000 times what the display shows" in note
    again = re.search("--display total='(.*?)'", note)
    assert again is not None
    assert again[1] == f"98.77 x1000{unit}"
    done = tried(tmp_path, port, "--display", f"total={again[1]}", text=TRUE)
    assert (done.exit_code, "1000 times" in done.stderr) == (0, False), done.output


def test_another_power_of_ten_is_no_display_in_thousands(tmp_path: Path, port: str) -> None:
    done = tried(tmp_path, port, "--display", "total=987.65", text=TRUE)
    assert done.exit_code == 1
    assert "1000 times" not in done.stderr


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
        # a scale moves the point, and does nothing else
        (("--choose", "flow=float32:CDAB:input:0:scale=0.5", "--write-map", "new.yaml"), "no such way was"),
        (("--choose", "flow=float32:CDAB:input:0:scale=x", "--write-map", "new.yaml"), "no such way was"),
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


@dataclass
class Garbled:
    """A meter whose replies are damaged on the way, from the one with this number on."""

    meter: SimulatedMeter
    begin: int = 0
    asked: int = 0

    def reply(self, frame: bytes) -> bytes | None:
        self.asked += 1
        good = self.meter.reply(frame)
        return good if good is None or self.asked <= self.begin else good[:-1] + bytes([good[-1] ^ 0x10])


CHOICE = ("--choose", f"flow={RIGHT['flow']}", "--write-map")


def test_replies_that_are_all_damaged_are_told_as_that_and_nothing_is_written(tmp_path: Path) -> None:
    meter = Garbled(true_meter())
    with SimulatedLine([meter]) as line:
        done = tried(tmp_path, line.port, "--samples", "1", *CHOICE, str(tmp_path / "new.yaml"))
    assert isinstance(done.exception, NothingTrusted), done.output
    assert "A reply of the right length whose checksum does not fit." in str(done.exception)
    assert done.stdout == ""
    assert not (tmp_path / "new.yaml").exists()
    assert meter.asked < 20, "the line is at fault, so it is not asked on and on"


def test_replies_damaged_from_some_point_on_leave_what_came_and_say_why(tmp_path: Path) -> None:
    with SimulatedLine([Garbled(true_meter(), begin=6)]) as line:
        done = tried(tmp_path, line.port, "--samples", "1", "--display", "flow=123.4")
    assert done.exit_code == 1
    assert "float32:CDAB:input:0  what the display shows" in done.stdout
    assert "as mapped     not given by the meter" in done.stdout
    assert "dew_point: its registers were not given (Unit 12 on" in done.stderr
    assert "replies were damaged (see `line test`)" in done.stderr


def test_a_port_that_is_lost_midway_ends_with_a_sentence_and_nothing_written(tmp_path: Path) -> None:
    asked = threading.Event()
    line = SimulatedLine([true_meter()], watch=lambda exchange: asked.set()).__enter__()

    def pull() -> None:
        asked.wait(20)
        line.__exit__(None, None, None)

    puller = threading.Thread(target=pull)
    puller.start()
    done = tried(tmp_path, line.port, "--samples", "20", *CHOICE, str(tmp_path / "new.yaml"))
    puller.join()
    assert isinstance(done.exception, PortError), done.output
    assert "is gone" in str(done.exception)
    assert done.stdout == ""
    assert not (tmp_path / "new.yaml").exists()


PAGE = (Path(__file__).parents[3] / "docs/trying.md").read_text(encoding="utf-8")


def test_the_json_document_has_the_keys_that_the_manual_lists(tmp_path: Path, port: str) -> None:
    found = json.loads(tried(tmp_path, port, "--display", "flow=123.4", "--json").stdout)
    (top, value, reading) = (
        re.findall(r"`(\w+)`", row) for row in re.findall(r"^\| (`.*) \| ", PAGE, re.M)[:3]
    )
    assert list(found) == top
    assert {tuple(one) for one in found["values"]} == {tuple(value)}
    readings = [each for one in found["values"] for each in one["readings"]]
    readings += [one["mapped"] for one in found["values"] if one["mapped"] is not None]
    assert {tuple(each) for each in readings} == {tuple(reading)}
    assert {len(each["later"]) for each in readings} == {2}, "three reads unless told otherwise"
    fits = {each["fit"] for each in readings}
    assert fits <= set(re.findall(r"`(\w+)`", PAGE.partition("`fit` is one of ")[2].partition(".")[0]))


def test_the_manuals_example_is_what_the_command_shows(tmp_path: Path, port: str) -> None:
    (block,) = re.findall(
        r"```console\n\$ pipeledger map try mere-5\.yaml \S+ (--display flow=123\.4 --display.*?)```",
        PAGE,
        re.DOTALL,
    )
    words, _, shown = block.partition("\n")
    text = "\n".join(line for line in WRONG.splitlines() if "  total" not in line and "perature" not in line)
    text = "\n".join(line for line in text.splitlines() if "dew_point" not in line)
    done = tried(tmp_path, port, *words.split(), text=text)
    assert done.stdout.strip() == shown.strip()


@pytest.mark.parametrize("meter", ["steam-computer", "wide-registers", "header-flow"])
def test_no_line_is_wider_than_a_terminal(meter: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every way of every value, whatever the registers hold: the longest numbers and units there are."""
    file = Path(__file__).parents[2] / "golden/meters/maps" / f"{meter}.yaml"
    found = parse_map(file.read_bytes(), file.name).map
    assert found is not None
    chance = random.Random(20260505)
    for value in found.values():
        each = value.number.words // value.number.addresses
        low, high = min(part.address for part in value.parts()), max(part.address for part in value.parts())
        registers = {
            Column(value.number.table, at, word): chance.randrange(1 << 16)
            for at in range(low - 1, high + 6)
            for word in range(each)
        }
        tell_tried(tried_ways(value, registers, None, 1_780_000_000_000), found.wire.numbering, every=True)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 100
    assert max(map(len, lines)) <= 120


@pytest.mark.parametrize("scale", ["0.01", "0,01"])
def test_a_moved_point_can_be_chosen_after_the_value_has_moved_on(
    tmp_path: Path, port: str, scale: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was printed while the display's digits were those on the wire; a moment later they are not."""
    monkeypatch.chdir(tmp_path)
    way = f"flow=float32:CDAB:input:0:scale={scale}"
    done = tried(tmp_path, port, "--choose", way, "--write-map", "new.yaml")
    assert "new.yaml: written" in done.output, done.output
    parsed = parse_map((tmp_path / "new.yaml").read_bytes(), "new.yaml")
    assert parsed.map is not None
    (flow,) = [one for one in parsed.map.readings if one.name == "flow"]
    assert flow.number.scale == Decimal("0.01")
