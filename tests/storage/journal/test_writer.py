"""The writer's thread: polling never waits for the disk, and what it put becomes durable."""

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from types import ModuleType

import pytest

from storage.errors import DiskFull
from storage.journal import Journal, JournalWriter, WriterState
from storage.journal.writer import Loss


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the journal is made."""
    return tmp_path / "journal.sqlite"


@pytest.fixture
def changes() -> list[WriterState]:
    """What the writer told when the disk began or ceased to refuse."""
    return []


@pytest.fixture
def writer(path: Path, changes: list[WriterState]) -> Iterator[JournalWriter]:
    """A writer that commits by itself only once an hour: tests flush."""
    opened = JournalWriter(path, interval=3600, most_rows=10, on_change=changes.append)
    yield opened
    opened.close(1)


def stored(path: Path) -> list[int]:
    """The numbers that are durable, asked by another connection."""
    with closing(sqlite3.connect(path)) as other:
        return [number for (number,) in other.execute("SELECT sequence FROM row ORDER BY sequence")]


def test_rows_get_numbers_at_once_and_are_durable_after_a_flush(
    writer: JournalWriter, path: Path, hall: ModuleType
) -> None:
    """Numbers run per point and source, from 1."""
    plan = writer.add_plan("{}")
    assert [writer.put(hall.row(plan, n)).sequence for n in (1, 2, 3)] == [1, 2, 3]
    assert writer.put(hall.row(plan, 1, point="compressor-2")).sequence == 1
    assert stored(path) == []
    assert writer.flush(10)
    assert stored(path) == [1, 1, 2, 3]
    assert writer.state == WriterState(committed=4)


def test_rows_are_told_only_once_they_are_durable(path: Path, hall: ModuleType) -> None:
    """Each once, in their order, and another connection finds it when it is told."""
    told: list[tuple[int, bool]] = []
    writer = JournalWriter(
        path, interval=3600,
        on_commit=lambda rows: told.extend((row.sequence, row.sequence in stored(path)) for row in rows),
    )  # fmt: skip
    plan = writer.add_plan("{}")
    for n in (1, 2):
        writer.put(hall.row(plan, n))
    assert told == []
    writer.flush(10)
    writer.put(hall.row(plan, 3))
    writer.close()
    assert told == [(1, True), (2, True), (3, True)]


def test_rows_are_committed_without_being_asked(path: Path, hall: ModuleType) -> None:
    """Once an interval, all rows of it in one transaction."""
    writer = JournalWriter(path, interval=0.02)
    plan = writer.add_plan("{}")
    for number in range(5):
        writer.put(hall.row(plan, number))
    with writer._condition:
        assert writer._condition.wait_for(lambda: writer._state.committed == 5, 10)
    assert writer.close()


def test_closing_commits_what_waits_and_a_restart_goes_on(path: Path, hall: ModuleType) -> None:
    """Nothing is left in memory, no number is given twice."""
    for expected in ([1, 2], [3, 4]):
        writer = JournalWriter(path, interval=3600)
        plan = writer.add_plan("{}")
        assert [writer.put(hall.row(plan, n)).sequence for n in (1, 2)] == expected
        assert writer.close()
    assert stored(path) == [1, 2, 3, 4]
    with pytest.raises(ValueError, match="closed"):
        writer.put(hall.row(plan, 5))


def test_a_plan_that_was_not_added_is_refused_at_once(writer: JournalWriter, hall: ModuleType) -> None:
    """Not minutes later in another thread."""
    with pytest.raises(KeyError):
        writer.put(hall.row("0" * 64, 1))


def test_a_slow_disk_does_not_delay_a_poll(
    writer: JournalWriter, path: Path, hall: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While a commit hangs, rows are taken all the same."""
    plan = writer.add_plan("{}")
    hanging, go_on = threading.Event(), threading.Event()
    real = Journal.append

    def slow(journal: Journal, rows: list, plans: Iterable[str]) -> None:
        hanging.set()
        assert go_on.wait(10)
        real(journal, rows, plans)

    monkeypatch.setattr(Journal, "append", slow)
    writer.put(hall.row(plan, 1))
    assert not writer.flush(0)
    assert hanging.wait(10)
    for number in range(2, 8):
        writer.put(hall.row(plan, number))  # would hang here
    assert stored(path) == []
    go_on.set()
    assert writer.flush(10)
    assert stored(path) == [1, 2, 3, 4, 5, 6, 7]


def test_a_full_disk_is_told_once_bounded_and_got_over(
    writer: JournalWriter,
    path: Path,
    hall: ModuleType,
    changes: list[WriterState],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Ten rows are kept, three dropped and named; once there is space all ten are durable, in order."""
    plan = writer.add_plan("{}")

    def full(*_: object) -> None:
        raise DiskFull(path, "No space left to write journal.sqlite: free some, nothing else is needed.")

    with monkeypatch.context() as patched:
        patched.setattr(Journal, "append", full)
        for number in range(1, 14):
            writer.put(hall.row(plan, number))
            assert not writer.flush(0.02)
        assert writer.state.waiting == 10
        assert writer.state.dropped == 3
        assert len(changes) == 1
        assert "No space left" in str(changes[0].fault)
    assert writer.flush(10)
    assert stored(path) == list(range(1, 11))
    assert [change.fault is None for change in changes] == [False, True]
    (loss,) = writer.take_losses()
    assert (loss.first, loss.last) == (11, 13)
    assert writer.take_losses() == []
    assert writer.put(hall.row(plan, 14)).sequence == 14


def test_what_a_full_disk_takes_to_the_grave_is_named(
    writer: JournalWriter, path: Path, hall: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A recorder that ends while the disk refuses: rows 3 to 5 were given numbers and are nowhere."""
    plan = writer.add_plan("{}")
    for number in (1, 2):
        writer.put(hall.row(plan, number))
    assert writer.flush(10)

    def full(*_: object) -> None:
        raise DiskFull(path, "No space left to write journal.sqlite: free some, nothing else is needed.")

    monkeypatch.setattr(Journal, "append", full)
    for number in (3, 4, 5):
        writer.put(hall.row(plan, number))
    assert not writer.close(0.02)
    assert writer.take_losses() == [Loss(hall.POINT, "live", 3, 5)]


def test_a_new_plan_does_not_wait_for_a_full_disk(
    writer: JournalWriter, path: Path, hall: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A meter that comes back, or a plan that was learned, while the disk is full: the line goes on."""

    def full(*_: object) -> None:
        raise DiskFull(path, "No space left to write journal.sqlite: free some, nothing else is needed.")

    with monkeypatch.context() as patched:
        patched.setattr(Journal, "append", full)
        patched.setattr(Journal, "add_plan", full)
        plan = writer.add_plan('{"learned": "meanwhile"}')
        writer.put(hall.row(plan, 1))
        assert not writer.flush(0.02)
    assert writer.flush(10)
    with closing(Journal.open(path)) as journal:
        assert [journal.plan_text(row.plan) for row in journal.rows(hall.POINT, "live")] == [
            '{"learned": "meanwhile"}'
        ]


def test_a_really_full_disk_is_recognised(path: Path, hall: ModuleType) -> None:
    """SQLite's own SQLITE_FULL (here by its page limit) becomes the same sentence."""
    with closing(Journal.open(path)) as journal:
        hall.fill(journal, 1, 10)
        journal._connection.execute("PRAGMA max_page_count = 10")
        with pytest.raises(DiskFull, match="No space left"):
            hall.fill(journal, 11, 5_000)
        assert stored(path) == list(range(1, 11))


def test_recording_needs_neither_pyarrow_nor_numpy() -> None:
    """They cost 80 and 60 ms at the start; opening an archive and journaling a row must not pay them."""
    program = (
        "import sys, tempfile; from pathlib import Path; from storage.archive import Archive\n"
        "from storage.journal import JournalWriter, Row\n"
        "with tempfile.TemporaryDirectory() as folder, Archive.open(Path(folder) / 'a') as archive:\n"
        "    writer = JournalWriter(archive.journal.path)\n"
        "    writer.put(Row('p', 'live', writer.add_plan('{}'), 0, 0, 'unset', 'ok'))\n"
        "    assert archive.clashing_columns('p', 'live', {'flow': 'float'}) == []\n"
        "    writer.close()\n"
        "print(sorted({'pyarrow', 'numpy', 'pandas'} & sys.modules.keys()))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert (done.stdout, done.stderr) == ("[]\n", "")
