"""What a memory tells that cannot be, or that is another meter's, is said; nothing waits for it."""

from pathlib import Path

from typer.testing import CliRunner

from protocols.log_memory.state import MemoryState, Session
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.parse import parse_map
from readout.cli.main import app
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine
from simulators.log_memory import LogOptions, Past

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {baud_rate: 115200, parity: even, unit_address: 12}
wire: {reply_within: 200 ms, late_within: 100 ms, word_order: high first}
identity: {serial_number: {holding: 60, type: text, registers: 4}}
log_memory:
  capacity: 120
  sessions:
    count: {input: 100}
    table: {input: 110, registers: 7}
    most: 8
    fields:
      started: {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records: {at: 3, type: uint32}
      first: {at: 5, type: uint32}
  record: {registers: 2, fields: {flow: {at: 0, type: float32, unit: m3/h}}}
  reached_by: {registers: {input: 1000}}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, serial_number: SERIAL}
line: {port: ./meter-port}
"""


def told(folder: Path, *words: str, serial: str = "EX-0042", order: str = "high first") -> tuple[int, str]:
    """A command on a meter whose memory has 50 records, read by a map of some word order."""
    (folder / "map.yaml").write_text(MAP.replace("high first", order), encoding="utf-8")
    (folder / "header.yaml").write_text(POINT.replace("SERIAL", serial), encoding="utf-8")
    found = parse_map(MAP.encode(), "map.yaml").map
    assert found is not None
    meter = SimulatedMeter(found, log=LogOptions([Past(50, interval=10)], recording=False))
    with SimulatedLine([meter], end=PtyEnd(folder / "meter-port")):
        done = CliRunner().invoke(app, [*words[:2], str(folder / "header.yaml"), *words[2:]])
    return done.exit_code, done.output


def test_list_says_that_another_meter_answers(tmp_path: Path) -> None:
    """`read` and `memory fetch` say so; a list of its sessions is not this point's either."""
    status, said = told(tmp_path, "memory", "list", serial="EX-0099")
    assert status == 1
    assert "ANOTHER METER answers: serial number EX-0042 instead of EX-0099" in said
    assert told(tmp_path, "memory", "list")[0] == 0


def test_more_records_than_can_be_are_no_full_memory(tmp_path: Path) -> None:
    """50 records with their words exchanged are 50 × 65536 = 3276800, of 120 places."""
    status, said = told(tmp_path, "memory", "list", order="low first")
    assert status == 1
    assert "seems to tell of 3276800 records, and the map says that it has places for 120" in said
    assert "nothing more is recorded" not in said


def test_fetch_ends_at_once_instead_of_asking_for_millions(tmp_path: Path) -> None:
    status, said = told(
        tmp_path, "memory", "fetch", "--archive", str(tmp_path / "hollow-mere"), order="low first"
    )
    assert status == 1
    assert "ended early: The meter seems to tell of 3276800 records" in said
    assert "to fetch, about" not in said


def test_a_capacity_that_is_a_little_off_costs_no_record() -> None:
    """Ten times what the map says is still fetched: 1200 of 120."""
    memory = parse_map(MAP.encode(), "map.yaml").map
    assert memory is not None
    assert isinstance(memory.log_memory, LogMemory)
    most = MemoryState(sessions=(Session(None, 10_000, 1200, 0),))
    assert most.unbelievable(memory.log_memory) is None
    beyond = MemoryState(sessions=(Session(None, 10_000, 1201, 0),))
    assert "1201 records" in (beyond.unbelievable(memory.log_memory) or "")
