"""A small disk, a real `log` on it, and a ballast that fills it: nothing broken is seen, polling goes on.

The disk is a tmpfs, so these tests need the right to mount one; where it is denied they fail.
"""

import json
import random
import signal
import subprocess
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from functools import partial
from itertools import groupby
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.parquet as pq
import pytest

from readout.clock import SystemClock
from readout.daemon import recorder as daemon
from readout.daemon.connect import connector
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment
from storage.archive import ArchiveReader
from storage.errors import DiskFull
from storage.journal import JournalWriter
from storage.ledger import Kind, Ledger
from storage.verify import verify_archive

DISK_BYTES = 8 << 20
POINT = "header"
#: How often the reader looks [s].
LOOK_S = 0.1
EVERY_MS = 200


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 8 MB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", folder], check=True)
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


def fill(disk: Path, leave: int = 0) -> Path:
    """Take all space but `leave` bytes; returns the ballast, whose removal frees it."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        size = 0
        try:
            while written := file.write(bytes(4096)):
                size += written
        except OSError:
            file.truncate(max(0, size - leave))
    return ballast


class Watcher(threading.Thread):
    """Someone who reads the archive every 100 ms, by any reader and by ours, and keeps what was wrong."""

    def __init__(self, root: Path) -> None:
        super().__init__(name="watcher")
        self.root, self.looks = root, 0
        self.wrong: list[str] = []
        self.enough = threading.Event()

    def run(self) -> None:
        while not self.enough.wait(LOOK_S):
            try:
                self._look()
            except Exception as error:
                self.wrong.append(repr(error))

    def _look(self) -> None:
        for path in (self.root / "rows").rglob("*.parquet"):
            try:
                pq.ParquetFile(path).read()
            except FileNotFoundError:
                continue  # was replaced between the listing and the reading
        if (self.root / "ledger.jsonl").exists():
            table = ArchiveReader(self.root).read_rows(POINT, "live")
            numbers = table["sequence"].to_pylist() if table.num_rows else []
            if numbers != sorted(set(numbers)):
                self.wrong.append(f"rows twice or out of order: {numbers}")
        self.looks += 1


@contextmanager
def watched(root: Path) -> Iterator[None]:
    watcher = Watcher(root)
    watcher.start()
    try:
        yield
    finally:
        watcher.enough.set()
        watcher.join()
    assert watcher.looks > 5
    assert watcher.wrong == []


def events(root: Path) -> list[str]:
    lines = [json.loads(line) for line in (root / "ledger.jsonl").read_text().splitlines()]
    return [line["what"] for line in lines if line["kind"] == "event"]


def assert_nothing_lost(root: Path) -> None:
    """Every due time from the first to the last is a row with a reading: polling never paused.

    Rounds left out because this computer was busy are rows, too; a disk waited for would be many in a row.
    """
    table = ArchiveReader(root).read_rows(POINT, "live")
    numbers = table["sequence"].to_pylist()
    assert numbers == list(range(1, len(numbers) + 1))
    dues = [round(due.timestamp() * 1000) for due in table["due"].to_pylist()]
    assert dues == list(range(dues[0], dues[-1] + 1, EVERY_MS))
    runs = [(status, len(list(run))) for status, run in groupby(table["status"].to_pylist())]
    assert {status for status, _ in runs} <= {"ok", "skipped"}
    assert max((length for status, length in runs if status == "skipped"), default=0) * EVERY_MS < 2000
    assert verify_archive(root).faults == ()


@contextmanager
def recorder(command: ModuleType, disk: Path, seal_every: str) -> Iterator[tuple[Any, Any]]:
    """A `log` into the small disk, and the line it reads."""
    with ExitStack() as stack:
        line = stack.enter_context(command.line())
        folder = disk.parent
        command.write_point(folder, POINT, line.port)
        words = ["log", f"{POINT}.yaml", "--archive", disk / "archive", "--every", f"{EVERY_MS}ms"]
        log = stack.enter_context(command.running(*words, "--seal-every", seal_every, cwd=folder))
        stack.enter_context(watched(disk / "archive"))
        yield log, line


def go_on(command: ModuleType, line: Any, rounds: int) -> None:
    """Wait until so many further rounds were asked for: two reads each."""
    asked = line.stats.requests
    command.until(lambda: line.stats.requests >= asked + 2 * rounds, what="polling goes on")


def told(command: ModuleType, log: Any, text: str, times: int = 1) -> None:
    command.until(lambda: log.so_far().err.count(text) >= times, what=text)


def test_full_while_the_journal_is_written(command: ModuleType, disk: Path) -> None:
    """Rows wait in memory, told once; with space again all are written: 0 lost."""
    with recorder(command, disk, "1h") as (log, line):
        go_on(command, line, 10)
        ballast = fill(disk)
        told(command, log, "Recording goes on in memory")
        go_on(command, line, 15)
        ballast.unlink()
        told(command, log, "the disk takes rows again; nothing was lost")
        go_on(command, line, 10)
        done = log.end(signal.SIGTERM)
    assert done.status == 0, done
    assert done.err.count("No space left") == 1
    assert_nothing_lost(disk / "archive")
    assert events(disk / "archive") == ["disk full", "disk free"]


STAYS = "The rows stay in the journal until the next sealing"


def files(root: Path) -> int:
    return len(list((root / "rows").rglob("*.parquet")))


def test_full_while_rows_are_sealed(command: ModuleType, disk: Path) -> None:
    """A sealing that finds no space is tried again; its rows stay in the journal meanwhile."""
    archive = disk / "archive"
    with recorder(command, disk, "4s") as (log, line):
        for _ in range(5):  # until the disk is full just when rows are committed and not sealed yet
            before = files(archive)
            command.until(lambda before=before: files(archive) > before, what="a file is sealed")
            go_on(command, line, 8)
            ballast = fill(disk)
            asked = line.stats.requests
            command.until(
                # 50 rounds: a sealing waits 5 s for the journal's thread
                lambda asked=asked: STAYS in log.so_far().err or line.stats.requests >= asked + 100,
                what="a sealing that finds no space",
            )
            if STAYS in log.so_far().err:
                break
            ballast.unlink()
        assert STAYS in log.so_far().err
        go_on(command, line, 5)
        before = files(archive)
        ballast.unlink()
        command.until(lambda: files(archive) > before, what="sealing goes on by itself")
        done = log.end(signal.SIGTERM)
    assert done.status == 0, done
    assert list((archive / "temporary").iterdir()) == []
    assert_nothing_lost(archive)


def noisy_day(acts: ModuleType, root: Path) -> None:
    """Twenty sealed hours of a past day of another point, whose values do not repeat: some 800 kB."""
    dice = random.Random(3)
    with acts.Archive.open(root) as archive:
        for hour in range(20):
            dues = [acts.meter.MIDNIGHT + hour * acts.meter.HOUR + n * 1000 for n in range(3600)]
            acts.meter.fill(
                archive, acts.meter.record(), dues,
                lambda _: acts.meter.words_of(dice.random(), dice.randrange(65536)),
            )  # fmt: skip
            acts.seal(archive)


def test_full_while_a_day_is_merged(command: ModuleType, acts: ModuleType, disk: Path) -> None:
    """Below 5 % it is not tried; where it finds no space the day stays in its hourly files until it does."""
    archive = disk / "archive"
    noisy_day(acts, archive)
    day = f"rows/point={acts.meter.POINT}/**/*.parquet"
    ballast = fill(disk, leave=380_000)
    with recorder(command, disk, "1s") as (log, line):
        told(command, log, "make room soon")
        go_on(command, line, 15)
        assert "No space left" not in log.so_far().err
        assert len(list(archive.rglob(day))) == 20
        with ballast.open("r+b") as file:
            file.truncate(ballast.stat().st_size - 300_000)
        told(command, log, "No space left")
        go_on(command, line, 15)
        assert len(list(archive.rglob(day))) == 20
        ballast.unlink()
        command.until(lambda: len(list(archive.rglob(day))) == 1, what="the day is merged by itself")
        go_on(command, line, 5)
        done = log.end(signal.SIGTERM)
    assert done.status == 0, done
    assert done.err.count("make room soon") == 1
    assert_nothing_lost(archive)
    assert ArchiveReader(archive).read_rows(acts.meter.POINT, "live").num_rows == 72_000


def test_ended_while_the_disk_is_still_full(command: ModuleType, disk: Path) -> None:
    """The space kept back takes the rows that wait; what could not be sealed is sealed by the next one."""
    with recorder(command, disk, "1h") as (log, line):
        go_on(command, line, 10)
        ballast = fill(disk)
        told(command, log, "Recording goes on in memory")
        go_on(command, line, 15)
        done = log.end(signal.SIGTERM)
        ballast.unlink()
        sealed = command.run("archive", "seal", disk / "archive", cwd=disk.parent)
    assert "could not be written" not in done.err, done
    assert sealed.status == 0, sealed
    assert_nothing_lost(disk / "archive")


class InProcess:
    """A recorder in this process, so that its limits can be made small."""

    def __init__(self, command: ModuleType, disk: Path, line: Any) -> None:
        self.root, self.said, self._stop = disk / "archive", list[str](), threading.Event()
        points = load_points([command.write_point(disk.parent, POINT, line.port)], EVERY_MS)
        clock = SystemClock()
        assignment = Assignment(self.root, points, None, 3_600_000)
        log = daemon.Recorder(assignment, connector(clock, None), clock, self.said.append)
        self._pool = ThreadPoolExecutor(1)
        self._running = self._pool.submit(log.run, self._stop)

    def end(self) -> Any:
        """Its summary."""
        self._stop.set()
        with self._pool:
            return self._running.result()


def test_more_rows_than_memory_holds(
    command: ModuleType, disk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With room for ten rows in memory instead of 36,000: what is lost is the rows beyond, and is stated."""
    monkeypatch.setattr(daemon, "JournalWriter", partial(JournalWriter, most_rows=10))
    with command.line() as line:
        log = InProcess(command, disk, line)
        try:
            go_on(command, line, 5)
            ballast = fill(disk)
            command.until(lambda: any("goes on in memory" in text for text in log.said), what="it is told")
            go_on(command, line, 25)
            ballast.unlink()
            command.until(lambda: any("takes rows again" in text for text in log.said), what="space is used")
            go_on(command, line, 5)
        finally:
            summary = log.end()
    lines = [json.loads(text) for text in (log.root / "ledger.jsonl").read_text().splitlines()]
    lost = [
        number
        for line in lines
        if line["kind"] == "lost"
        for number in range(line["first_sequence"], line["last_sequence"] + 1)
    ]
    kept = ArchiveReader(log.root).read_rows(POINT, "live")["sequence"].to_pylist()
    assert 10 <= len(lost) <= 30
    assert sorted([*kept, *lost]) == list(range(1, kept[-1] + 1)), "the holes are the stated ones"
    assert summary.lost == len(lost)
    assert verify_archive(log.root).faults == ()


def test_ended_on_a_full_disk_with_nothing_kept_back(
    command: ModuleType, disk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It ends all the same, says what it could not keep, and what was committed is whole."""
    monkeypatch.setattr(daemon, "_LAST_FLUSH_S", 0.5)
    append = Ledger.append

    def no_room_for_the_end(ledger: Ledger, kind: Kind, content: dict[str, Any]) -> Any:
        """A file system gives whole blocks, so that a line may find room where a file finds none."""
        if kind is Kind.STOPPED:
            raise DiskFull(ledger.path, f"No space left to write {ledger.path}: free some.")
        return append(ledger, kind, content)

    monkeypatch.setattr(Ledger, "append", no_room_for_the_end)
    with command.line() as line:
        log = InProcess(command, disk, line)
        try:
            go_on(command, line, 10)
            (log.root / "journal" / "reserve").unlink()
            ballast = fill(disk)
            command.until(lambda: any("goes on in memory" in text for text in log.said), what="it is told")
            go_on(command, line, 5)
        finally:
            summary = log.end()
    assert summary.lost >= 5
    assert any(f"{summary.lost} rows could not be written" in text for text in log.said)
    assert any("The ledger was not told of this end" in text for text in log.said)
    assert summary.unsealed is not None
    assert verify_archive(log.root).faults == ()
    total = sum(counts.total() for counts in summary.rows.values())
    told = [json.loads(text) for text in (log.root / "ledger.jsonl").read_text().splitlines()]
    lost = [(line["first_sequence"], line["last_sequence"]) for line in told if line["kind"] == "lost"]
    assert lost == [(total - summary.lost + 1, total)]
    ballast.unlink()
    assert command.run("archive", "seal", log.root, cwd=disk.parent).status == 0
    numbers = ArchiveReader(log.root).read_rows(POINT, "live")["sequence"].to_pylist()
    assert numbers == list(range(1, total - summary.lost + 1))
