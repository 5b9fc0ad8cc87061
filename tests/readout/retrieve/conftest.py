"""A meter with a memory behind a played line: all but the wire is real, and no second is waited for."""

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import minimalmodbus
import numpy as np
import pyarrow.dataset as ds
import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line
from readout.cli.memory_meter import introduced, point_with_memory
from readout.cli.memory_visit import Visit, Visitor
from readout.errors import PortError
from readout.retrieve.retrieval import Verify
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.faults import FaultPlayer, InnerPort, parse_plan
from simulators.line.pace import Pace
from simulators.log_memory import LogOptions
from storage.archive import Archive

HEAD = """\
register_map: 1
meter: Hollow Mere logging meter
fluid: compressed air
serial: {baud_rate: 19200, parity: even, unit_address: 12}
wire: {reply_within: 300 ms, late_within: 100 ms, bridge: 4}
readings:
  flow: {input: 0, type: float32, unit: kg/h}
settings:
  clock: {holding: 60, type: unix time}
identity:
  serial_number: {holding: 200, type: text, registers: 5}
log_memory:
"""
MEMORY = """\
  capacity: 50000
  holds: mean
  marked_at: end
  recording: {input: 80, type: uint16, codes: {0: idle, 1: recording}}
"""
SESSIONS = """\
  sessions:
    count: {holding: 100}
    table: {holding: 110, registers: 7}
    most: 10
    fields:
      started: {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records: {at: 3, type: uint32}
      first: {at: 5, type: uint32}
"""
RECORD = """\
  record:
    registers: 4
    fields:
      flow: {at: 0, type: uint16, scale: 0.1, unit: kg/h, not_available: [65535]}
      pressure: {at: 1, type: uint16, scale: 0.001, unit: bar, gauge: true}
      temperature: {at: 2, type: int16, scale: 0.1, unit: degC}
      check: {at: 3, type: crc16}
"""
WAYS = {
    "window": "{window: {pointer: {holding: 82, type: uint32}, echo: {holding: 400, type: uint32}, "
    "data: {holding: 402}, records: 15, write_and_read: allowed}}",
    "window by two requests": "{window: {pointer: {holding: 82, type: uint32}, data: {holding: 402}, "
    "records: 15}}",
    "registers": "{registers: {input: 1000, bank: {holding: 84}, records_per_bank: 5000}}",
    "files": "{files: {first_file: 1, records_per_file: 1000}}",
    "queue": "{queue: {address: 600, next_wanted: {holding: 86, type: uint32}}}",
}
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml}
line: {port: /dev/null}
"""


def map_text(way: str, *, memory: str = MEMORY + SESSIONS, record: str = RECORD, head: str = HEAD) -> str:
    return f"{head}{memory}{record}  reached_by: {WAYS.get(way, way)}\n"


@dataclass
class MemoryHall:
    """A meter, its point file, and an archive; `fetch` is `memory fetch` without a process."""

    folder: Path
    meter: SimulatedMeter
    clock: FakeClock
    fmt: SerialFormat
    faults: str = ""
    turnaround: float = 0.005
    said: list[str] = field(default_factory=list)
    live: list[str] = field(default_factory=list)
    requests: list[bytes] = field(default_factory=list)
    port: InnerPort | None = None

    @property
    def archive(self) -> Path:
        return self.folder / "hall"

    def line(self, answer: Any = None) -> Line:
        """A line to the meter; `answer` stands between: frame → reply."""
        pace = Pace.of(self.fmt, self.turnaround)
        player = FaultPlayer(parse_plan(self.faults), clock=self.clock, pace=pace)
        meter = _Watched(answer or self.meter.reply, self.requests)
        self.port = InnerPort(
            player.before([meter]), self.clock, delivery=player.deliver, pace=pace,
            gone=lambda text: PortError("lost", text),
        )  # fmt: skip
        return Line(self.port, self.fmt, self.clock)

    def fetch(
        self, verify: Verify = Verify.LAST, *, answer: Any = None, stop: threading.Event | None = None,
        live_every_s: float | None = None, watch: Callable[[Any], None] = lambda _: None,
    ) -> Visit:  # fmt: skip
        line = self.line(answer)
        loaded = point_with_memory(self.folder / "header.yaml")
        with Archive.open(self.archive, utc=self.clock.utc) as archive:
            meter = introduced(loaded, line, self.clock)
            return Visitor(
                archive, meter, self.clock, stop or threading.Event(), verify, live_every_s,
                self.said.append, watch, self.live.append,
            ).visit()  # fmt: skip

    def rows(self) -> dict[str, list[Any]]:
        """Every column of the rows, by session and record; moments as ms since 1970."""
        folder = self.archive / "rows/point=header/source=memory"
        if not folder.exists():
            return {"record": []}
        table = ds.dataset(folder, partitioning="hive").to_table()
        table = table.sort_by([("session", "ascending"), ("record", "ascending")])
        found = {}
        for name in table.column_names:
            column = table[name]
            moments = str(column.type).startswith("timestamp")
            found[name] = column.cast("int64").to_pylist() if moments else column.to_pylist()
        return found

    def ledger(self, kind: str = "retrieved") -> list[dict[str, Any]]:
        lines = (self.archive / "ledger.jsonl").read_text(encoding="utf-8").splitlines()
        return [line for line in map(json.loads, lines) if line["kind"] == kind]

    def as_the_meter(self) -> None:
        """The archive has the meter's records, once each, with their values and times."""
        truth, found = self.meter.log.truth(), self.rows()
        assert found["record"] == truth.number.tolist()
        assert found["time"] == truth.time_ms.tolist()
        for name, held in truth.values.items():
            both = zip(held.data.tolist(), held.available.tolist(), strict=True)
            kept = [one if there else None for one, there in both]
            assert found[name] == kept, name


class _Watched:
    """Keeps the requests that reach the meter."""

    def __init__(self, reply: Any, requests: list[bytes]) -> None:
        self._reply, self._requests = reply, requests

    def reply(self, frame: bytes) -> bytes | None:
        self._requests.append(frame)
        answer: bytes | None = self._reply(frame)
        return answer


@pytest.fixture
def hall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., MemoryHall]:
    """`hall(map text, log options)`; the second reader of each reply is kept from really waiting."""
    still = SimpleNamespace(monotonic=lambda: 0.0, sleep=lambda _seconds: None)
    monkeypatch.setattr(minimalmodbus, "time", still)

    def make(text: str, log: LogOptions, *, faults: str = "", baud: int = 19200) -> MemoryHall:
        (tmp_path / "map.yaml").write_text(text, encoding="utf-8")
        (tmp_path / "header.yaml").write_text(POINT, encoding="utf-8")
        parsed = parse_map(text.encode(), "map.yaml")
        assert parsed.map is not None, "\n".join(map(str, parsed.faults))
        clock = FakeClock()
        meter = SimulatedMeter(parsed.map, clock=clock, log=log)
        return MemoryHall(tmp_path, meter, clock, SerialFormat(baud, "even"), faults)

    return make


@pytest.fixture(scope="session")
def memory() -> SimpleNamespace:
    """Texts of maps, for tests that cannot import this file."""
    return SimpleNamespace(
        map_text=map_text, ways=WAYS, head=HEAD, memory=MEMORY, sessions=SESSIONS, record=RECORD, np=np
    )
