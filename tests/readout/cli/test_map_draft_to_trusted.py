"""From the manual's table to a map that shows what the display shows, against the meter it is about."""

from pathlib import Path

from typer.testing import CliRunner

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.plant import read_values, usual_values

TABLE = Path(__file__).parents[3] / "docs/new-meter.csv"
#: What the meter truly is: low word first, a signed temperature, the state one register further.
TRUE = """\
register_map: 1
meter: Mere 7
serial: {baud_rate: 19200, unit_address: 1}
wire: {word_order: low first}
readings:
  flow: {input: 0, type: float32, unit: m/s, basis: actual}
  total: {input: 2, type: uint32, unit: kg, scale: 0.1, totaliser: true}
  temperature: {input: 4, type: int16, scale: 0.1, unit: degC}
  pressure: {input: 5, type: uint16, scale: 0.001, unit: bar, gauge: true}
"""
SHOWN = {"flow": "23.47", "total": "98765.4", "temperature": "-10.5", "pressure": "7.205"}
RIGHT = {
    "flow": "float32:CDAB:input:30001",
    "total": "uint32:CDAB:input:30003",
    "temperature": "int16:AB:input:30005",
}


def test_a_drafted_map_is_mended_by_what_the_display_shows(tmp_path: Path) -> None:
    drafted, mended = str(tmp_path / "draft.yaml"), str(tmp_path / "mended.yaml")
    true = parse_map(TRUE.encode(), "true.yaml").map
    assert true is not None
    values = ",".join(SHOWN) + "\n" + ",".join(SHOWN.values()) + "\n"
    source = read_values(values.encode(), "values.csv", true, usual_values(None))
    run = CliRunner().invoke
    assert run(app, ["map", "draft", str(TABLE), "--to", drafted]).exit_code == 0
    displays = [word for name, shown in SHOWN.items() for word in ("--display", f"{name}={shown}")]
    chosen = [word for name, way in RIGHT.items() for word in ("--choose", f"{name}={way}")]
    line_of = ["--unit-address", "1", "--baud", "19200"]
    with SimulatedLine([SimulatedMeter(true, unit_address=1, source=source)]) as line:
        first = run(app, ["map", "try", drafted, line.port, *line_of, *displays])
        assert first.exit_code == 1
        for way in RIGHT.values():
            assert way in first.stdout
        run(app, ["map", "try", drafted, line.port, *line_of, *displays, *chosen, "--write-map", mended])
    found = parse_map(Path(mended).read_bytes(), "mended.yaml").map
    assert found is not None
    ways = {value.name: (value.number.kind, value.number.word_order) for value in found.readings}
    assert ways["flow"] == ("float32", "low first")
    assert ways["total"] == ("uint32", "low first")
    assert ways["temperature"][0] == "int16"
    assert "# line 2: Flow" in Path(mended).read_text(encoding="utf-8")
