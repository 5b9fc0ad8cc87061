"""A recorder's start on an archive of years: what it costs must not grow with the number of points."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from readout.bus.exchange import Line as BusLine
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment, Recorder
from readout.errors import PortError
from readout.sealing.otherwise import by_another_map
from simulators.clock import FakeClock
from storage.ledger import Line, Walk

MAP = """\
register_map: 1
meter: constructed
serial: {baud_rate: 19200, parity: even}
readings:
  flow: {input: 0, type: float32, unit: m3/h, quantity: volume flow}
"""
POINT = """\
measuring_point: 1
name: header-NUMBER
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, unit_address: NUMBER}
line: {port: absent}
"""


def absent(_: object) -> BusLine:
    raise PortError("absent", "absent is not there.")


def test_the_ledger_is_walked_once_however_many_points(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a second start, which has a ledger to walk; the maps of the run before take no walk."""
    (tmp_path / "map.yaml").write_text(MAP)
    files = [tmp_path / f"header-{number}.yaml" for number in range(1, 6)]
    for number, file in enumerate(files, 1):
        file.write_text(POINT.replace("NUMBER", str(number)))
    points = load_points(files, 60_000)
    clock, said = FakeClock(utc=1_777_852_800.0), list[str]()
    assignment = Assignment(tmp_path / "archive", points, None, 3_600_000)
    stop = threading.Event()
    stop.set()
    Recorder(assignment, absent, clock, said.append).run(stop)
    walks, real = list[int](), Walk.__iter__

    def lines() -> int:
        return (tmp_path / "archive/ledger.jsonl").read_bytes().count(b"\n")

    def counted(walk: Walk) -> Iterator[Line]:
        yield from real(walk)
        walks.append(walk.numbered)

    monkeypatch.setattr(Walk, "__iter__", counted)
    before = lines()
    Recorder(assignment, absent, clock, said.append).run(stop)
    assert walks == [before]
    assert by_another_map(tmp_path / "archive", "live", {point.name: point.map for point in points}) == {}
    assert walks == [before]
    assert not [line for line in said if "did not end" in line]
