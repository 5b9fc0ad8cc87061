"""Failed requests in the ledger, against what a fault plan did: counted at the meters, not by the recorder.

The whole stack records, in fast motion: a round every five minutes over three meters on one line, the third
of them without a fault. What each letter is called is told by docs/fault-plans.md and docs/line-faults.md.
"""

import threading
from collections import Counter
from pathlib import Path
from random import Random
from types import SimpleNamespace

import minimalmodbus
import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line
from readout.daemon.health.health import health
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment, Recorder
from readout.daemon.telling.failed_requests import ALL_TOLD_S
from readout.errors import PortError
from readout.review.about.requests import Requests, requests_of
from simulators.device.meter import SimulatedMeter
from simulators.faults import FaultPlayer, parse_plan
from simulators.faults.port import InnerPort
from simulators.line.pace import Pace, Piece, faithful
from simulators.shared_clock import SharedClock
from storage.ledger import LEDGER, Kind, read_file

#: 2026-05-04T00:00:20Z.
BEGIN = 1_777_852_820.0
HOURS, EVERY_MS, SEAL_HOURS = 26, 300_000, 2
FORMAT = SerialFormat(19200, "even", 8, 1)
PACE = Pace.of(FORMAT, 0.01)
#: What befalls a reply of 2 registers (9 bytes), and how a reader calls it.
CAUSES = {
    "x24": "bad checksum",  # bit 24 is the first of the data
    "c4": "incomplete",
    "s": "no reply",
    "n": "no reply",
    "u9": "other unit",
    "m": "other function",
    "q2": "fewer registers",
    "h1": "start cut off",
    "!06": "exception 06",
}
MAP = """\
register_map: 1
meter: constructed
serial: {baud_rate: 19200, parity: even}
readings:
  flow: {input: 0, type: float32, unit: m3/h, quantity: volume flow}
"""
POINT = """\
measuring_point: 1
name: meter-{unit}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml, unit_address: {unit}}}
line: {{port: hall}}
"""


class Meters:
    """Three meters on one line, and the truth: what was sent, and what befell the reply, by the minute."""

    def __init__(self, clock: SharedClock, plan: str) -> None:
        parsed = parse_map(MAP.encode(), "map.yaml")
        assert parsed.map is not None, parsed.faults
        self.sent = Counter[int]()
        self.failed = {unit: Counter[str]() for unit in (1, 2, 3)}
        #: Unit and minute → the cause of the last request then, "" for a good one.
        self.last: dict[tuple[int, int], str] = {}
        self._clock = clock
        self._reading = {unit: ReadRequest(Table.INPUT, 0, 2).frame(unit) for unit in (1, 2)}
        meters = [SimulatedMeter(parsed.map, unit_address=unit, clock=clock) for unit in (1, 2, 3)]
        faults = parse_plan(plan)
        self._player, self._steps = FaultPlayer(faults, clock=clock, pace=PACE), faults.steps()
        self._front, self._good = self._player.before(meters[:2]), meters[2]

    def reply(self, frame: bytes) -> bytes | None:
        """As the meters of a line."""
        unit = frame[0]
        self.sent[unit] += 1
        cause = ""
        if unit != 3:
            letter = "".join(map(str, next(self._steps)))
            spacer = (
                frame != self._reading[unit]
            )  # what was asked behind silence: one register, if there is one
            cause = "" if spacer and letter in ("q2", "!06") else CAUSES.get(letter, "")
        if cause:
            self.failed[unit][cause] += 1
        self.last[unit, int(self._clock.utc() // 60)] = cause
        return self._good.reply(frame) if unit == 3 else self._front.reply(frame)

    def deliver(self, frame: bytes, reply: bytes | None) -> list[Piece]:
        """What the line makes of it."""
        return list((faithful if frame[0] == 3 else self._player.deliver)(frame, reply))

    def rows(self, unit: int) -> Counter[str]:
        """Rounds whose last request failed."""
        return Counter(cause for (of, _), cause in self.last.items() if of == unit and cause)


@pytest.fixture(autouse=True)
def fast_second_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second reader of each reply is kept from really waiting."""
    monkeypatch.setattr(minimalmodbus, "time", SimpleNamespace(monotonic=lambda: 0.0, sleep=lambda _: None))


@pytest.fixture
def record(tmp_path: Path):
    """Record for so many hours, by a plan; gives the meters, the archive and the clock."""

    def run(plan: str, hours: float) -> tuple[Meters, Path, SharedClock]:
        (tmp_path / "map.yaml").write_text(MAP)
        files = [tmp_path / f"meter-{unit}.yaml" for unit in (1, 2, 3)]
        for unit, file in enumerate(files, 1):
            file.write_text(POINT.format(unit=unit))
        clock = SharedClock(threads=1, utc=BEGIN)
        meters = Meters(clock, plan)
        port = InnerPort(meters, clock, delivery=meters.deliver, pace=PACE, name="hall",
                         gone=lambda text: PortError("lost", text))  # fmt: skip
        stop = threading.Event()
        clock.at(clock.monotonic() + hours * 3600, stop.set)
        clock.gather(2)
        assignment = Assignment(
            tmp_path / "archive", load_points(files, EVERY_MS), None, SEAL_HOURS * 3_600_000
        )
        recorder = Recorder(
            assignment, lambda _: Line(port, FORMAT, clock), clock, lambda _: None, look_s=60.0
        )
        try:
            recorder.run(stop)
        finally:
            clock.gather(1)
        return meters, tmp_path / "archive", clock

    return run


def test_what_the_plan_did_is_counted_by_its_cause_whether_or_not_it_was_made_good(record) -> None:
    """Some 1000 requests of which 1 in 6 meets a fault; the last day, and the rows that it cost, too."""
    chance = Random(11)
    plan = "".join(chance.choice([*CAUSES]) if chance.random() < 1 / 6 else "." for _ in range(2000))
    meters, archive, clock = record(plan, HOURS)
    ledger = read_file(archive / LEDGER).lines
    for unit in (1, 2, 3):
        found = requests_of(ledger, f"meter-{unit}")
        assert found == Requests(meters.sent[unit], meters.failed[unit], meters.rows(unit)), unit
    assert set(meters.failed[1]) == set(CAUSES.values()), "every cause was met"
    assert 0 < sum(meters.rows(1).values()) < sum(meters.failed[1].values()) / 2, "most were made good"
    told = [line.content["points"] for line in ledger
            if line.kind == Kind.EVENT and line.content["what"] == "failed requests"]  # fmt: skip
    assert len(told) <= HOURS / SEAL_HOURS + 1, "one line a sealing"
    assert sum("meter-3" in points for points in told) == HOURS * 3600 // ALL_TOLD_S
    point = health(archive, round(clock.utc() * 1000)).points["meter-1"]
    assert point.requests.start == requests_of(ledger, "meter-1")
    assert point.requests.day.sent / meters.sent[1] == pytest.approx(24 / HOURS, abs=0.01)
