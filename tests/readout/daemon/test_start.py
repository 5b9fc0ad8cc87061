"""A recorder's start on an archive of years: what it costs must not grow with the number of points."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from readout.bus.exchange import Line as BusLine
from readout.clock import SystemClock
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment, Recorder, Summary
from readout.errors import PortError
from readout.sealing.otherwise import by_another_map
from simulators.clock import FakeClock
from storage.archive import Archive
from storage.errors import ArchiveAbsent
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


def test_a_start_that_is_refused_leaves_no_empty_archive_behind(tmp_path: Path) -> None:
    """A port that somebody else holds: the folder that was named is not made."""
    (tmp_path / "map.yaml").write_text(MAP)
    file = tmp_path / "header.yaml"
    file.write_text(POINT.replace("NUMBER", "1"))

    def held(_: object) -> BusLine:
        raise PortError("held", "absent is held by process 1.")

    assignment = Assignment(tmp_path / "new" / "archive", load_points([file], 60_000), None, 3_600_000)
    recorder = Recorder(assignment, held, FakeClock(utc=1_777_852_800.0), lambda _: None)
    with pytest.raises(PortError, match="held by process 1"):
        recorder.run(threading.Event())
    assert not (tmp_path / "new").exists()


def test_a_start_that_the_archive_refuses_gives_its_ports_back(tmp_path: Path) -> None:
    """The folder is no archive: what was opened for the recording is closed again."""
    (tmp_path / "map.yaml").write_text(MAP)
    file = tmp_path / "header.yaml"
    file.write_text(POINT.replace("NUMBER", "1"))
    closed: list[bool] = []

    class Opened:
        def close(self) -> None:
            closed.append(True)

    assignment = Assignment(tmp_path, load_points([file], 60_000), None, 3_600_000)
    clock = FakeClock(utc=1_777_852_800.0)
    recorder = Recorder(assignment, lambda _: Opened(), clock, lambda _: None)  # type: ignore[arg-type, return-value]  # stands in
    with pytest.raises(ArchiveAbsent):
        recorder.run(threading.Event())
    assert closed == [True]


def test_a_folder_that_was_moved_away_ends_the_recording_at_once(tmp_path: Path) -> None:
    """Moved, removed, or a disk mounted over it: no hour of rows, until the next sealing, for nobody."""
    (tmp_path / "map.yaml").write_text(MAP)
    file = tmp_path / "header.yaml"
    file.write_text(POINT.replace("NUMBER", "1"))
    folder, elsewhere = tmp_path / "archive", tmp_path / "elsewhere"

    def move(_: Summary) -> None:
        if folder.exists():
            folder.rename(elsewhere)

    assignment = Assignment(folder, load_points([file], 100), None, 3_600_000)
    recorder = Recorder(assignment, absent, SystemClock(), lambda _: None, move, look_s=0.01)
    with pytest.raises(ArchiveAbsent, match="no longer the folder"):
        recorder.run(threading.Event())
    assert not folder.exists()
    with Archive.open(elsewhere) as archive:
        assert archive.last_run is not None
        assert archive.last_run.kind == "started", "as after a killed one; its journal is sealed as ever"
