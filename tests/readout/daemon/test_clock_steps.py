"""A recorder on a computer whose clock starts in 1970 and steps, on a fake clock: hours take a second."""

import itertools
import json
import threading
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pyarrow.parquet as pq
import pytest

from protocols.modbus.requests import ReadRequest
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.daemon import computer_clock
from readout.daemon.points import PointToRecord, load_points
from readout.daemon.recorder import Assignment, Recorder
from readout.review.about.logbook import log_book
from readout.review.figures.coverage import NO_ROW, coverage
from readout.review.rows.measure import measure
from simulators.clock import FakeClock
from simulators.shared_clock import SharedClock
from storage.archive import ArchiveReader
from storage.verify import verify_archive

MAP = """\
register_map: 1
meter: constructed
readings:
  pressure: {input: 10, type: uint16, unit: bar}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, unit_address: 12}
line: {port: fake}
"""
#: 2026-10-25T00:50:00Z; at 01:00Z summer time ends at the site (IANA time zone database, Europe/Dublin).
SET_TO = 1_792_889_400.0
SUMMER_TIME_ENDS = 1_792_890_000_000


class SteppingClock(FakeClock):
    """A wall clock that is set or stepped at given moments of `monotonic()`, by so many seconds."""

    def __init__(self, utc: float, steps: dict[float, float]) -> None:
        super().__init__(utc=utc, monotonic=0.0)
        self._steps = sorted(steps.items())

    def sleep_until(self, deadline: float) -> None:
        while self._steps and self._steps[0][0] <= deadline:
            moment, seconds = self._steps.pop(0)
            super().sleep_until(moment)
            self.step_utc(seconds)
        super().sleep_until(deadline)


class AnsweringLine:
    """Its meter answers every request after 20 ms with a number that counts up."""

    def __init__(self, clock: FakeClock) -> None:
        self.lost, self.statistics = False, SimpleNamespace(advice=())
        self._clock, self._answers = clock, itertools.count(1)

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        sent = self._clock.monotonic()
        self._clock.sleep_until(sent + 0.02)
        words = tuple(next(self._answers) & 0xFFFF for _ in range(request.count))
        ended = self._clock.monotonic()
        return Outcome(Status.OK, "ok", "", b"", b"\x01", words, None, sent, ended, False, 0)

    def settle(self, outcomes: Sequence[Outcome], until: float) -> Sequence[Outcome]:
        return outcomes

    def tally(self, unit: int) -> None:
        """Nothing is counted."""

    def close(self) -> None:
        pass


@pytest.fixture
def point(tmp_path: Path) -> PointToRecord:
    (tmp_path / "map.yaml").write_text(MAP)
    (tmp_path / "header.yaml").write_text(POINT)
    (loaded,) = load_points([tmp_path / "header.yaml"], 1000)
    return loaded


def record(point: PointToRecord, root: Path, clock: FakeClock, seconds: int) -> list[str]:
    """One run; what it said."""
    said: list[str] = []
    assignment = Assignment(root, (point,), seconds * 1000, 600_000)
    Recorder(assignment, lambda _: AnsweringLine(clock), clock, said.append).run(threading.Event())
    return said


def rows_of(root: Path) -> list[dict[str, Any]]:
    """All sealed rows in order of sequence; moments in ms since 1970."""
    table = ArchiveReader(root).read_rows("header", "live")
    rows = table.to_pylist()
    for row in rows:
        for name in ("due", "time"):
            row[name] = None if row[name] is None else round(row[name].timestamp() * 1000)
    return rows


def ledger_of(root: Path, kind: str) -> list[dict[str, Any]]:
    lines = [json.loads(line) for line in (root / "ledger.jsonl").read_text().splitlines()]
    return [line for line in lines if line["kind"] == kind]


def spacing(rows: list[dict[str, Any]], name: str = "due") -> set[int]:
    return {after[name] - before[name] for before, after in itertools.pairwise(rows)}


def dates(root: Path) -> set[str]:
    return {path.name for path in root.rglob("date=*")}


def test_1970_then_set_then_back_then_summer_time_ends(point: PointToRecord, tmp_path: Path) -> None:
    """90 s in 1970, set, ten minutes on back by 7 s, and on across the end of summer time."""
    root = tmp_path / "archive"
    began = 10.0
    clock = SteppingClock(began, {90.3: SET_TO - 90.3 - began, 690.3: -7.0})
    record(point, root, clock, 1500)
    assert verify_archive(root).faults == ()
    rows = rows_of(root)
    assert [row["sequence"] for row in rows] == list(range(1, 1501)), "every scheduled round is a row"
    assert [row["raw_input_10"] for row in rows] == list(range(1, 1501)), "in the order of the readings"
    unset = [row for row in rows if row["clock"] == "unset"]
    # Due at 0, 1 … 90 s, and the one that was waited for already when the clock was set.
    assert len(unset) == 92
    assert spacing(unset) == {1000}
    # The first of them was due at the start, 90.3 s before the clock was set.
    assert abs(unset[0]["due"] - 1000 * (SET_TO - 90.3)) <= 1
    assert 500 <= rows[len(unset)]["due"] - unset[-1]["due"] <= 1500
    assert spacing(rows[len(unset) :]) == {1000}, "after it, every due time comes once and in order"
    late = [row["time"] - row["due"] for row in rows]
    assert min(late) >= 0
    assert max(late) <= 1000
    assert rows[0]["due"] < 1000 * SET_TO < SUMMER_TIME_ENDS < rows[-1]["due"]
    assert dates(root) == {"date=2026-10-25"}
    events = [(event["what"], event.get("seconds")) for event in ledger_of(root, "event")]
    assert events == [("clock set", pytest.approx(SET_TO - 90.3 - began, abs=0.01)), ("clock step", -7.0)]


def test_a_file_tells_which_of_its_times_were_put_right_and_by_how_much(
    point: PointToRecord, tmp_path: Path
) -> None:
    root = tmp_path / "archive"
    record(point, root, SteppingClock(10.0, {5.3: SET_TO - 15.3}), 20)
    (file,) = ArchiveReader(root).files()
    told = json.loads((pq.read_metadata(root / file.file).metadata or {})[b"pipeledger.rows"])
    (run,) = told["clock_unset"]
    unset = [row for row in rows_of(root) if row["clock"] == "unset"]
    assert (run["first_sequence"], run["last_sequence"]) == (1, len(unset))
    assert run["first_told"] == "1970-01-01T00:00:10.000Z"
    assert unset[0]["due"] - 1000 * run["seconds_added"] == 10_000


def test_a_run_that_ends_before_the_clock_is_set_waits_in_the_journal(
    point: PointToRecord, tmp_path: Path
) -> None:
    """Nothing is filed under 1970; a later run of the same start of the computer knows the times."""
    root = tmp_path / "archive"
    clock = SteppingClock(10.0, {100.0: SET_TO - 110.0})
    said = record(point, root, clock, 30)
    assert any("30 rows stay in the journal until this computer's clock is set" in line for line in said)
    assert list((root / "rows").rglob("*.parquet")) == []
    clock.sleep_until(200.0)
    record(point, root, clock, 5)
    rows = rows_of(root)
    assert len(rows) == 35
    assert rows[0]["due"] == round(1000 * (SET_TO - 100.0))
    assert spacing(rows[:30]) == {1000}


def test_a_start_of_the_computer_in_which_the_clock_was_never_set(
    point: PointToRecord, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Power came and went: the rows keep their order and values, and their times are null, not invented."""
    root = tmp_path / "archive"
    monkeypatch.setattr(computer_clock, "boot_id", lambda: "the start before")
    record(point, root, SteppingClock(10.0, {}), 30)
    monkeypatch.setattr(computer_clock, "boot_id", lambda: "the start after")
    record(point, root, FakeClock(utc=SET_TO), 5)
    rows = rows_of(root)
    assert [row["raw_input_10"] for row in rows] == [*range(1, 31), *range(1, 6)]
    assert {(row["due"], row["time"], row["clock"]) for row in rows[:30]} == {(None, None, "unset")}
    assert spacing(rows[30:]) == {1000}
    assert dates(root) == {"date=2026-10-25"}
    assert verify_archive(root).faults == ()


@pytest.mark.parametrize(("began", "known"), [(10.0, False), (SET_TO, True)])
def test_a_meters_clock_is_not_compared_with_one_that_is_not_set(
    tmp_path: Path, began: float, known: bool
) -> None:
    """An offset of half a century would be told of a meter that is right."""
    (tmp_path / "map.yaml").write_text(MAP + "settings:\n  clock: {holding: 20, type: unix time}\n")
    (tmp_path / "header.yaml").write_text(POINT)
    root = tmp_path / "archive"
    steps = {} if known else {5.3: SET_TO - 15.3}
    record(*load_points([tmp_path / "header.yaml"], 1000), root, SteppingClock(began, steps), 20)
    files = [pq.read_metadata(root / file.file).metadata for file in ArchiveReader(root).files()]
    offsets = [json.loads(metadata[b"pipeledger.clock_offset"]) for metadata in files if metadata]
    assert offsets
    assert all((offset is not None) is known for offset in offsets)


@pytest.mark.parametrize("back", [SET_TO - 400_000_000.0, SET_TO])
def test_a_clock_that_falls_back_to_1970_meanwhile(point: PointToRecord, tmp_path: Path, back: float) -> None:
    """Far back and on again: due times go on, each once; no row is filed under the wrong year."""
    root = tmp_path / "archive"
    clock = SteppingClock(SET_TO, {60.3: -back, 120.3: back})
    record(point, root, clock, 180)
    rows = rows_of(root)
    assert len(rows) == 180
    dues = [row["due"] for row in rows]
    assert dues == sorted(set(dues))
    assert {due // 86_400_000 for due in dues} <= {int(SET_TO) // 86_400, int(SET_TO) // 86_400 + 1}
    assert [event["what"] for event in ledger_of(root, "event")] == ["clock step", "clock set"]
    assert all(0 <= row["time"] - row["due"] <= 1000 for row in rows if row["clock"] != "unset")


def test_a_computer_that_slept_misses_rounds_and_makes_up_for_none(
    point: PointToRecord, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Suspended for an hour: the monotonic clock stood meanwhile, so the wall clock is ahead, and right."""
    root, slept = tmp_path / "archive", 3600.0
    clock = SteppingClock(SET_TO, {200.3: slept})
    monkeypatch.setattr(computer_clock, "slept_s", lambda: slept if clock.monotonic() >= 200.3 else 0.0)
    said = record(point, root, clock, 400)
    rows = rows_of(root)
    assert len(rows) == 400
    assert min(spacing(rows)) == 1000, "no burst after it"
    (gap,) = spacing(rows) - {1000}
    assert gap == pytest.approx(1000 * slept, abs=2000)
    (event,) = ledger_of(root, "event")
    assert (event["what"], event["seconds"]) == ("suspended", slept)
    assert said == ["the computer slept for 3600 s; the rounds due meanwhile were missed"]
    measured = measure(root, "header", "live")
    assert measured is not None
    missing = coverage(measured, "pressure", log_book(root, "header").ran).missing_s
    assert missing == {NO_ROW: pytest.approx(slept, abs=2.0)}


def test_the_summary_names_the_files_that_are_there_after_midnight(
    point: PointToRecord, tmp_path: Path
) -> None:
    """Sealed every minute from five minutes before; the first day's five are joined when it has ended."""
    root, midnight = tmp_path / "archive", SET_TO + 70 * 60 + 22 * 3600
    clock = SharedClock(threads=2, utc=midnight - 300.0)
    assignment = Assignment(root, (point,), 600_000, 60_000)
    summary = Recorder(assignment, lambda _: AnsweringLine(clock), clock, lambda _: None).run(
        threading.Event()
    )
    assert [file for file in summary.files if not (root / file).exists()] == []
    assert sorted(summary.files) == sorted(
        str(file.relative_to(root)) for file in root.rglob("*.parquet") if "rows" in file.parts
    )
    assert sum("date=2026-10-25" in file for file in summary.files) == 1
