"""`memory fetch` killed, unplugged or interrupted at any instant, until it is through: each record once.

Killed is SIGKILL to a real process. The meter counts what is asked of it, so the instants are spread evenly
over the requests; a random delay behind each moves them into what the process does between two requests,
its commits and its sealing included.
"""

import random
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pyarrow.dataset as ds
import pytest

from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.faults.scripts import Unpluggable
from simulators.line import PtyEnd, SimulatedLine
from simulators.log_memory import LogOptions

RECORDS, WINDOW = 3000, 15
MAP = """\
register_map: 1
meter: Hollow Mere logging meter
serial: {baud_rate: 115200, parity: even, unit_address: 12}
wire: {reply_within: 1 s, late_within: 100 ms}
identity:
  serial_number: {holding: 200, type: text, registers: 5}
log_memory:
  capacity: 50000
  sessions:
    count: {holding: 100}
    table: {holding: 110, registers: 7}
    fields:
      started: {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: min}
      records: {at: 3, type: uint32}
      first: {at: 5, type: uint32}
  record:
    registers: 2
    fields:
      flow: {at: 0, type: uint16, scale: 0.1, unit: kg/h}
      pressure: {at: 1, type: uint16, scale: 0.001, unit: bar, gauge: true}
  reached_by:
    window: {pointer: {holding: 82, type: uint32}, echo: {holding: 400, type: uint32}, data: {holding: 402},
             records: 15, write_and_read: allowed}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml}
line: {port: ./adapter}
"""
FETCH = ("memory", "fetch", "header.yaml", "--archive", "hall", "--live", "off", "--json")
#: Function 23 (MODBUS Application Protocol V1.1b3, 6.17, p. 38): the words written begin at byte 11.
READ_WRITE = 23


@dataclass
class Place:
    """A meter behind an adapter. `at` requests after `arm`, `strike` is called from a thread of its own."""

    folder: Path
    meter: SimulatedMeter
    adapter: Unpluggable
    asked: list[int] = field(default_factory=list)
    requests: int = 0
    _at: int = -1
    _strike: Any = None
    struck: threading.Event = field(default_factory=threading.Event)

    def arm(self, at: int, strike: Any, after_s: float) -> None:
        self.requests, self._at, self._strike = 0, at, threading.Timer(after_s, self._run, (strike,))
        self.struck.clear()

    def _run(self, strike: Any) -> None:
        strike()
        self.struck.set()

    def reply(self, frame: bytes) -> bytes | None:
        """Counts the records asked for: echo (2 registers), then 2 registers a record."""
        self.requests += 1
        if frame[1] == READ_WRITE:
            first = int.from_bytes(frame[11:15])
            self.asked += range(first, first + (int.from_bytes(frame[4:6]) - 2) // 2)
        if self.requests == self._at:
            self._strike.start()
        return self.meter.reply(frame)

    def asked_twice(self) -> int:
        """Records asked for again, counted as often."""
        return len(self.asked) - len(set(self.asked))

    def as_the_meter(self) -> None:
        """The archive has exactly the meter's records, once each."""
        table = ds.dataset(self.folder / "hall/rows/point=header/source=memory").to_table().sort_by("record")
        truth = self.meter.log.truth()
        assert table["record"].to_pylist() == truth.number.tolist()
        assert table["flow"].to_pylist() == truth.values["flow"].data.tolist()
        assert table["time"].cast("int64").to_pylist() == truth.time_ms.tolist()
        assert len(np.unique(table["sequence"].to_numpy())) == RECORDS


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """3,000 records of a minute each: three days, so that there are several files."""
    with standing(tmp_path) as found:
        yield found


@contextmanager
def standing(folder: Path) -> Iterator[Place]:
    (folder / "map.yaml").write_text(MAP, encoding="utf-8")
    (folder / "header.yaml").write_text(POINT, encoding="utf-8")
    parsed = parse_map(MAP.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    meter = SimulatedMeter(parsed.map, log=LogOptions.prefilled(RECORDS, 60.0, recording=False))
    adapter = Unpluggable(lambda: PtyEnd(folder / "adapter"))
    found = Place(folder, meter, adapter)
    with SimulatedLine([found], end=adapter):
        yield found


def killed(command: ModuleType, place: Place, at: int, after_s: float) -> int:
    """Start a fetch and kill it then; its exit status, −9 where the kill came before its end."""
    with command.running(*FETCH, cwd=place.folder) as fetch:
        place.arm(at, fetch.process.kill, after_s)
        fetch.process.wait(60)
        status: int = fetch.process.returncode
    return status


def through_many_kills(command: ModuleType, place: Place, kills: int, seed: int) -> None:
    chance = random.Random(seed)
    struck = 0
    while struck < kills:
        # a run that is to be killed does not get far: the last ones meet commits, seals and what is known
        status = killed(command, place, chance.randint(1, 400 // kills + 5), chance.uniform(0, 0.06))
        assert status in (-signal.SIGKILL, 0)
        struck += 1
    done = command.run(*FETCH, cwd=place.folder)
    assert done.status == 0, done.err
    assert done.json()["records_new"] + done.json()["records_known"] == RECORDS
    place.as_the_meter()
    # two windows for each kill, and the last record of the session, which every run reads again
    assert place.asked_twice() <= kills * (2 * WINDOW + 1) + 1
    assert command.run("archive", "verify", "hall", "--json", cwd=place.folder).json()["faults"] == []


def test_killed_again_and_again_each_record_arrives_once(command: ModuleType, place: Place) -> None:
    through_many_kills(command, place, 4, seed=1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2))
def test_killed_fifty_times_each_record_arrives_once(command: ModuleType, place: Place, seed: int) -> None:
    through_many_kills(command, place, 50, seed)


@pytest.mark.parametrize("after_s", [0.0, 0.1])
def test_killed_while_it_seals(command: ModuleType, place: Place, after_s: float) -> None:
    """All records are in the journal, and some of the files are made."""
    last = 3 + RECORDS // WINDOW + 1  # identity, count and table, the windows, the look at the end
    killed(command, place, last, after_s)
    done = command.run(*FETCH, cwd=place.folder)
    assert (done.status, done.json()["records_known"]) == (0, RECORDS), done.err
    place.as_the_meter()


def test_what_a_killed_fetch_left_can_be_sealed_without_the_meter(command: ModuleType, place: Place) -> None:
    """Brought home in the journal, away from the meter; the next visit goes on behind it."""
    killed(command, place, 100, 0.0)
    sealed = command.run("archive", "seal", "hall", "--json", cwd=place.folder).json()
    waited = sum(file["rows"] for file in sealed["sealed"])
    assert waited > 90 * WINDOW
    assert command.run("archive", "verify", "hall", "--json", cwd=place.folder).json()["rows"] == waited
    assert command.run(*FETCH, cwd=place.folder).json()["records_known"] == waited
    place.as_the_meter()


def unplugged(command: ModuleType, place: Place, at: int) -> None:
    with command.running(*FETCH, cwd=place.folder) as fetch:
        place.arm(at, place.adapter.unplug, 0.0)
        done = fetch.end()
        assert place.struck.wait(10)
    place.adapter.plug()
    assert done.status == 3, done.err
    assert "Run it again" in done.err


def test_unplugged_it_says_so_and_goes_on_the_next_time(command: ModuleType, place: Place) -> None:
    for at in (40, 60):
        unplugged(command, place, at)
    done = command.run(*FETCH, cwd=place.folder)
    assert (done.status, done.json()["gaps"]) == (0, []), done.err
    place.as_the_meter()
    assert place.asked_twice() <= 2 * (2 * WINDOW + 1) + 1


@pytest.mark.long
def test_unplugged_ten_times_each_record_arrives_once(command: ModuleType, place: Place) -> None:
    chance = random.Random(3)
    for _ in range(10):
        unplugged(command, place, chance.randint(5, 24))
    assert command.run(*FETCH, cwd=place.folder).status == 0
    place.as_the_meter()
    assert place.asked_twice() <= 10 * (2 * WINDOW + 1) + 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_it_seals_what_came(command: ModuleType, place: Place, number: signal.Signals) -> None:
    with command.running(*FETCH, cwd=place.folder) as fetch:
        place.arm(60, lambda: fetch.process.send_signal(number), 0.0)
        done = fetch.end()
    assert done.status == 130
    kept = done.json()["records_new"]
    assert 0 < kept < RECORDS
    assert command.run("archive", "verify", "hall", "--json", cwd=place.folder).json()["rows"] == kept
    assert command.run(*FETCH, cwd=place.folder).json()["records_known"] == kept
    place.as_the_meter()
