"""One meter of eight dies on a paced line: what the others keep, and when it is back. On a fake clock.

The whole stack above the bytes on the wire: recorder, line, frames; only port and meters are simulated, each
character taking its time at 19200 Bd.
"""

import threading
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace

import minimalmodbus
import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment, Recorder
from readout.errors import PortError
from simulators.clock import FakeClock
from simulators.device.meter import SimulatedMeter
from simulators.faults.port import InnerPort
from simulators.line.pace import Pace, Piece
from storage.archive import ArchiveReader

FORMAT = SerialFormat(19200, "even", 8, 1)
#: Two blocks of readings, and who the meter is: 12 registers and a serial number.
MAP = """\
register_map: 1
meter: constructed
serial: {baud_rate: 19200, parity: even}
readings:
  flow: {input: 0, type: float32, unit: m3/h}
  pressure: {input: 2, type: float32, unit: bar}
  total: {input: 10, type: uint32, unit: m3, totaliser: true}
identity:
  serial_number: {holding: 100, type: uint32}
"""
POINT = """\
measuring_point: 1
name: meter-{unit}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml, unit_address: {unit}}}
line: {{port: fake}}
"""
UNITS = range(1, 9)
#: 2026-05-04T00:00:30Z; the dead one is silent from here on.
DIES = 1_777_852_830.0
#: Of a round a second for 10 min the others are to keep at least 99.5 %.
MINUTES, LEAST = 10, 0.995


class Meters:
    """All meters of the line; those of `silent` hear nothing while `silent` says so."""

    def __init__(self, clock: FakeClock, silent: dict[int, tuple[float, float]]) -> None:
        parsed = parse_map(MAP.encode(), "map.yaml")
        assert parsed.map is not None, parsed.faults
        self._meters = {unit: SimulatedMeter(parsed.map, unit_address=unit, clock=clock) for unit in UNITS}
        self._clock, self._silent = clock, silent

    def reply(self, frame: bytes) -> bytes | None:
        since, until = self._silent.get(frame[0], (0.0, 0.0))
        if since <= self._clock.utc() < until or frame[0] not in self._meters:
            return None
        return self._meters[frame[0]].reply(frame)


def recorded(
    folder: Path,
    silent: dict[int, tuple[float, float]],
    seconds: int,
    turnaround: float,
    slow: tuple[int, float] = (0, 0.0),
) -> dict[int, dict[int, str]]:
    """Record eight meters on one line once a second; unit → due time [s since 1970] → status.

    `slow` is a unit and the seconds in which it answers.
    """
    (folder / "map.yaml").write_text(MAP)
    for unit in UNITS:
        (folder / f"meter-{unit}.yaml").write_text(POINT.format(unit=unit))
    points = load_points([folder / f"meter-{unit}.yaml" for unit in UNITS], 1000)
    clock = FakeClock(utc=DIES - 30.7)

    def slowly(request: bytes, reply: bytes | None) -> Sequence[Piece]:
        return () if reply is None else [Piece(slow[1] if request[0] == slow[0] else None, reply)]

    port = InnerPort(
        Meters(clock, silent), clock, pace=Pace.of(FORMAT, turnaround), delivery=slowly,
        gone=lambda text: PortError("lost", text),
    )  # fmt: skip
    assignment = Assignment(folder / "archive", points, seconds * 1000, 3_600_000)
    Recorder(assignment, lambda _: Line(port, FORMAT, clock), clock, lambda _: None).run(threading.Event())
    found: dict[int, dict[int, str]] = defaultdict(dict)
    reader = ArchiveReader(folder / "archive")
    for unit in UNITS:
        for row in reader.read_rows(f"meter-{unit}", "live").to_pylist():
            found[unit][round(row["due"].timestamp())] = row["status"]
    return found


@pytest.fixture(autouse=True)
def fast_second_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second reader of each reply is kept from really waiting."""
    clock = SimpleNamespace(monotonic=FakeClock().monotonic, sleep=lambda _seconds: None)
    monkeypatch.setattr(minimalmodbus, "time", clock)


def window(rows: dict[int, str], since: float, minutes: float) -> Counter[str]:
    """Statuses of the rounds due in so many minutes from an instant."""
    return Counter(status for due, status in rows.items() if since <= due < since + 60 * minutes)


@pytest.mark.parametrize(
    ("dead", "turnaround", "asked"),
    [(1, 0.005, MINUTES), pytest.param(8, 0.05, MINUTES // 2, marks=pytest.mark.long)],
)
def test_the_other_seven_keep_their_rounds(tmp_path: Path, dead: int, turnaround: float, asked: int) -> None:
    """Each of them, from the moment the eighth falls silent; its own rounds are rows that say why.

    Once as the first of the round, with time to spare; once where the others take nine tenths of it: then it
    is asked every other minute.
    """
    found = recorded(tmp_path, {dead: (DIES, float("inf"))}, 30 + 60 * MINUTES + 5, turnaround)
    for unit in UNITS:
        of_unit = window(found[unit], DIES, MINUTES)
        assert of_unit.total() == 60 * MINUTES
        if unit == dead:
            assert set(of_unit) == {"no reply", "skipped"}
            assert of_unit["no reply"] >= asked
        else:
            assert of_unit["ok"] >= LEAST * 60 * MINUTES, (unit, of_unit)


def test_a_meter_that_is_back_is_read_within_a_minute_and_the_others_lose_nothing(tmp_path: Path) -> None:
    """B27: silent from 10 s to 130 s; its gap is as long as that and at most the minute's rest more."""
    back = DIES + 120
    found = recorded(tmp_path, {2: (DIES, back)}, 300, 0.005)
    oks = [due for due, status in found[2].items() if status == "ok" and due >= DIES]
    assert back <= oks[0] <= back + 61
    assert oks == list(range(oks[0], oks[-1] + 1)), "then every round"
    for unit in (1, 3):
        assert window(found[unit], back, 2) == {"ok": 120}


def test_a_slow_meter_is_not_lost_for_a_short_silence(tmp_path: Path) -> None:
    """It answers in 0.45 s, longer than the others leave time for, and does not for some seconds."""
    found = recorded(tmp_path, {5: (DIES, DIES + 4.5)}, 120, 0.02, slow=(5, 0.45))
    rows = [found[5][due] for due in sorted(found[5]) if due > DIES + 10]
    assert rows.count("ok") >= 0.4 * len(rows), Counter(rows)
