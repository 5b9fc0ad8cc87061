"""Exit status, sentences and JSON of `memory list` and `memory fetch`, by one table.

0 done · 1 fell short · 2 wrong use or file · 3 port or archive not to be had · 4 replies came, none could be
trusted. JSON keys are a contract with other programs: exactly these.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import pytest

from protocols.modbus.crc import with_crc
from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.log_memory import LogOptions

MAP = """\
register_map: 1
meter: Hollow Mere logging meter
serial: {baud_rate: 115200, parity: even, unit_address: 12}
wire: {reply_within: 300 ms, late_within: 100 ms}
identity:
  serial_number: {holding: 200, type: text, registers: 5}
log_memory:
  capacity: 1000
  count: {input: 10}
  lock: {holding: 90, open: 1, close: 0, busy: 2}
  record:
    registers: 3
    fields:
      time: {at: 0, type: unix time}
      flow: {at: 2, type: uint16, scale: 0.1, unit: kg/h}
  reached_by: {registers: {input: 1000}}
"""
WITHOUT = MAP[: MAP.index("log_memory:")] + "readings: {flow: {input: 0, type: float32, unit: kg/h}}\n"
POINT = """\
measuring_point: 1
name: header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: {map}{more}}}
line: {{port: "{port}"}}
"""
#: Function 3 on the lock's register (V1.1b3, 6.3), unit 12: what the meter says of who holds the memory.
LOOK = bytes([12, 3, 0, 90, 0, 1])

Answer = Callable[[bytes], bytes | None]


class Answering:
    """A meter that answers through a function."""

    def __init__(self, answer: Answer) -> None:
        self.reply = answer


def behaviours(meter: SimulatedMeter, empty: SimulatedMeter) -> dict[str, Answer]:
    """Meters by the name of their point file."""

    def damaged(frame: bytes) -> bytes | None:
        reply = meter.reply(frame)
        return None if reply is None else reply[:3] + bytes([reply[3] ^ 0x10]) + reply[4:]

    def locked(frame: bytes) -> bytes | None:
        return with_crc(bytes([12, 3, 2, 0, 2])) if frame[:6] == LOOK else meter.reply(frame)

    def without_records(frame: bytes) -> bytes | None:
        """Input registers from 1000 on are refused: exception 02."""
        refused = frame[1] == 4 and int.from_bytes(frame[2:4]) >= 1000
        return with_crc(bytes([12, 0x84, 2])) if refused else meter.reply(frame)

    return {
        "good": meter.reply, "empty": empty.reply, "silent": lambda _: None, "damaged": damaged,
        "locked": locked, "refusing": without_records,
    }  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A point file for each behaviour, and some that are wrong."""
    folder = tmp_path_factory.mktemp("table")
    (folder / "map.yaml").write_text(MAP, encoding="utf-8")
    (folder / "without.yaml").write_text(WITHOUT, encoding="utf-8")
    parsed = parse_map(MAP.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    meter = SimulatedMeter(parsed.map, log=LogOptions.prefilled(200, 60.0, recording=False))
    empty = SimulatedMeter(parsed.map, log=LogOptions(recording=False))
    with ExitStack() as stack:
        for name, answer in behaviours(meter, empty).items():
            line = stack.enter_context(SimulatedLine([Answering(answer)]))
            _write(folder, name, line.port)
        _write(folder, "absent", "./no-port")
        _write(folder, "plain", "./no-port", map_file="without.yaml")
        _write(
            folder, "other", (folder / "good.yaml").read_text().split('"')[1], more=", serial_number: EX-9999"
        )
        (folder / "full").mkdir()
        (folder / "full" / "thesis.txt").write_text("not ours")
        yield folder


def _write(folder: Path, name: str, port: str, *, map_file: str = "map.yaml", more: str = "") -> None:
    text = POINT.format(map=map_file, port=port, more=more)
    (folder / f"{name}.yaml").write_text(text, encoding="utf-8")


TABLE: list[tuple[str, int, list[str]]] = [
    ("memory fetch good.yaml", 2, ["--archive"]),
    ("memory fetch good.yaml --archive new --verify some", 2, ["--verify some", "last", "all"]),
    ("memory fetch good.yaml --archive new --live 5x", 2, ["--live", "5x"]),
    ("memory fetch plain.yaml --archive new", 2, ["without.yaml", "log_memory"]),
    ("memory list plain.yaml", 2, ["without.yaml", "log_memory"]),
    ("memory list missing.yaml", 2, ["missing.yaml"]),
    ("memory fetch absent.yaml --archive new", 3, ["no-port"]),
    ("memory list absent.yaml", 3, ["no-port"]),
    ("memory fetch good.yaml --archive full", 3, ["full"]),
    ("memory fetch silent.yaml --archive new", 1, ["header", "does not answer"]),
    ("memory list silent.yaml", 1, ["header", "does not answer"]),
    ("memory fetch damaged.yaml --archive new", 4, ["header", "trusted"]),
    ("memory list damaged.yaml", 4, ["header", "trusted"]),
    ("memory fetch other.yaml --archive new", 1, ["ANOTHER METER", "EX-9999"]),
    ("memory fetch locked.yaml --archive new", 1, ["in use by another port"]),
    ("memory list locked.yaml", 1, ["in use by another port"]),
    ("memory fetch refusing.yaml --archive new", 1, ["exception 02", "missing"]),
    ("memory fetch empty.yaml --archive empty", 0, ["memory is empty"]),
    ("memory list empty.yaml", 0, ["memory is empty"]),
    ("memory fetch good.yaml --archive hall", 0, ["200 records in the meter: 200 new"]),
    ("memory list good.yaml", 0, ["200 records of 1000 (20%)"]),
]


@pytest.mark.parametrize(("line", "status", "said"), TABLE, ids=[line for line, _, _ in TABLE])
def test_each_ends_with_its_status_and_a_sentence(
    command: ModuleType, folder: Path, line: str, status: int, said: list[str]
) -> None:
    done = command.run(*line.split(), cwd=folder)
    assert done.status == status, done
    for words in said:
        assert words in " ".join(done.err.split()), done.err


def test_the_json_has_exactly_the_contracted_keys(command: ModuleType, folder: Path) -> None:
    fetched = command.run("memory", "fetch", "good.yaml", "--archive", "keys", "--json", cwd=folder).json()
    assert list(fetched) == [
        "sessions", "expected", "records_read", "records_new", "records_known", "records_reread",
        "records_changed", "records_flagged", "gaps", "first", "last", "clock_offset_s",
    ]  # fmt: skip
    listed = command.run("memory", "list", "good.yaml", "--json", cwd=folder).json()
    assert list(listed) == ["sessions", "recording", "full", "clock_offset_s"]
    assert list(listed["sessions"][0]) == ["session", "started", "interval_s", "records", "first"]
    refused = command.run("memory", "fetch", "refusing.yaml", "--archive", "gaps", "--json", cwd=folder)
    assert refused.status == 1
    assert list(refused.json()["gaps"][0]) == ["session", "first", "last", "cause"]
