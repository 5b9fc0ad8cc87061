"""A round a second for 32 meters on four lines, in fast motion, entering at the exchange.

Above the bytes on the wire everything is the recorder's own: rounds, patience, rows, journal, sealing. What a
request brings, and how long it takes, is a fault plan's; what it brought is written down there, and held
against what was kept.
"""

import itertools
import threading
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace

import pytest

from protocols.modbus.requests import ReadRequest
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.daemon.points import PointToRecord, load_points
from readout.daemon.recorder import Assignment, Recorder
from simulators.faults import parse_plan
from simulators.shared_clock import SharedClock
from storage.archive import ArchiveReader
from storage.verify import verify_archive

MAP = """\
register_map: 1
meter: constructed
readings:
  count: {input: 0, type: uint32}
"""
POINT = """\
measuring_point: 1
name: {port}-meter-{unit}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml, unit_address: {unit}}}
line: {{port: {port}}}
"""
PORTS, UNITS = [f"line-{n}" for n in range(4)], range(1, 9)
#: 2026-05-04T00:00:00.4Z
BEGIN = 1_777_852_800.4
#: Seconds that a reply takes with its request at 19200 Bd, and with a meter's turnaround of 10 ms.
GOOD_S = 0.025
#: In a thousand exchanges two are silent and eight damaged.
PLAN = "random:{seed}:share=0.01,faults=sxxxx"
#: A silence costs the line 1.5 s, so 1.6 % of the rounds at eight meters make the others miss one or two.
LEAST = 0.95


class Exchanges:
    """One line whose exchanges go as a plan says; `came` has each unit's readings, with ends in ms of UTC."""

    def __init__(self, clock: SharedClock, seed: int, dead: dict[int, tuple[float, float]]) -> None:
        self.lost, self.loss, self.statistics = False, "", SimpleNamespace(advice=())
        self.came: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.exchanges = 0
        self._clock, self._dead = clock, dead
        self._steps, self._numbers = parse_plan(PLAN.format(seed=seed)).steps(), itertools.count(1)

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        sent = self._clock.monotonic()
        for _ in range(1 + manners.repeats):
            status = self._once(unit, manners)
            if status is Status.OK:
                break
        ended, number = self._clock.monotonic(), next(self._numbers)
        heard = b"" if status is Status.NO_REPLY else b"\x01"
        words = (number >> 16, number & 0xFFFF) if status is Status.OK else ()
        if words:
            self._note(unit, round(self._clock.utc() * 1000), number)
        return Outcome(status, str(status), str(status), b"", heard, words, None, sent, ended, False, 0)

    def _note(self, unit: int, ended_ms: int, number: int) -> None:
        """A reading came. A meter not heard so far is knocked at first: that counts of the two."""
        came = self.came[unit]
        if came and ended_ms - came[-1][0] < 120:
            number = came.pop()[1]
        came.append((ended_ms, number))

    def _once(self, unit: int, manners: Manners) -> Status:
        """One sending: what came of it; takes its time."""
        self.exchanges += 1
        letters = {fault.letter for fault in next(self._steps)}
        since, until = self._dead.get(unit, (0.0, 0.0))
        silent = "s" in letters or since <= self._clock.utc() < until
        took = manners.reply_within + manners.late_within if silent else GOOD_S
        self._clock.sleep_until(self._clock.monotonic() + took)
        if silent:
            return Status.NO_REPLY
        return Status.DAMAGED_REPLY if "x" in letters else Status.OK

    def settle(self, outcomes: Sequence[Outcome], until: float = 0.0) -> Sequence[Outcome]:
        return outcomes

    def tally(self, unit: int) -> None:
        """Nothing is counted."""

    def close(self) -> None:
        """The plan goes on with the next recorder."""


def points(folder: Path) -> tuple[PointToRecord, ...]:
    (folder / "map.yaml").write_text(MAP)
    files = []
    for port, unit in itertools.product(PORTS, UNITS):
        files.append(folder / f"{port}-{unit}.yaml")
        files[-1].write_text(POINT.format(port=port, unit=unit))
    return load_points(files, 1000)


def check_point(root: Path, name: str, came: list[tuple[int, int]], due: list[int]) -> Counter[str]:
    """Each second once, and the readings that came, all of them, with the moments at which they did."""
    rows = ArchiveReader(root).read_rows(name, "live").sort_by("sequence")
    found, wanted = [round(moment.timestamp()) for moment in rows["due"].to_pylist()], set(due)
    # Until a line has noticed the end, what is due is a row, too.
    assert [moment for moment in found if moment in wanted] == due, name
    assert len(found) - len(due) <= 4 * 3, name
    kept = [
        (round(row["time"].timestamp() * 1000), row["count"])
        for row in rows.to_pylist()
        if row["status"] == "ok"
    ]
    assert [number for _, number in kept] == [number for _, number in came], name
    assert all(abs(ours[0] - theirs[0]) <= 1 for ours, theirs in zip(kept, came, strict=True)), name
    return Counter(rows["status"].to_pylist())


def record_seconds(folder: Path, spans: Sequence[tuple[int, int]], dies: float, rises: float) -> int:
    """Record in these spans [s since the begin] and check everything; how many exchanges it took.

    Meter 3 of line-0 is silent from `dies` until `rises` [s since the begin].
    """
    clock = SharedClock(threads=1, utc=BEGIN)
    began = clock.monotonic()
    dead = {3: (BEGIN + dies, BEGIN + rises)}
    lines = {port: Exchanges(clock, n, dead if n == 0 else {}) for n, port in enumerate(PORTS)}
    said, due = list[str](), list[int]()
    for since, until in spans:
        clock.sleep_until(began + since)
        stop = threading.Event()
        clock.at(began + until, stop.set)
        clock.gather(len(PORTS) + 1)
        assignment = Assignment(folder / "archive", points(folder), None, 3_600_000)
        recorder = Recorder(assignment, lambda mine: lines[mine[0].port], clock, said.append)
        assert recorder.run(stop).lost == 0
        clock.gather(1)
        due += range(int(BEGIN) + since + 1, int(BEGIN) + until + 1)
    assert verify_archive(folder / "archive").faults == ()
    for port, unit in itertools.product(PORTS, UNITS):
        found = check_point(folder / "archive", f"{port}-meter-{unit}", lines[port].came[unit], due)
        if (port, unit) != ("line-0", 3):
            assert found["ok"] >= LEAST * len(due), (port, unit, found)
    assert sum(line.startswith("line-0-meter-3") for line in said) <= 6
    return sum(line.exchanges for line in lines.values())


def test_six_minutes_of_seconds(tmp_path: Path) -> None:
    """With a restart, and a meter dead for two minutes."""
    assert record_seconds(tmp_path, [(0, 130), (140, 360)], 40.0, 160.0) > 9_000


@pytest.mark.long
def test_two_hours_of_seconds(tmp_path: Path) -> None:
    """230,400 rounds, with three restarts, and a meter dead for half an hour."""
    spans = [(0, 1300), (1310, 3650), (3655, 5000), (5060, 7280)]
    assert record_seconds(tmp_path, spans, 2000.0, 3800.0) > 220_000
