"""One writer an archive, named when a second one comes, forgotten when it dies."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from storage import lock
from storage.archive import Archive
from storage.errors import ArchiveAbsent, ArchiveHeld

HOLD = "import sys; from pathlib import Path; from storage.archive import Archive; \
a = Archive.open(Path(sys.argv[1])); print('held', flush=True); sys.stdin.read()"


def test_a_second_recorder_is_refused_and_told_who_records(root: Path) -> None:
    """The refusal names the process; once that one is killed, the archive is free without any repair."""
    command = [sys.executable, "-c", HOLD, str(root)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        assert lock.holder(root / "journal" / "lock") == process.pid
        with pytest.raises(ArchiveHeld, match=f"being written by process {process.pid}") as caught:
            Archive.open(root)
        assert caught.value.pid == process.pid
        process.kill()
    assert lock.holder(root / "journal" / "lock") is None
    Archive.open(root).close()


def test_a_second_opening_in_the_same_process_is_refused(root: Path) -> None:
    """Two recorders in one process would write over each other as well."""
    with Archive.open(root), pytest.raises(ArchiveHeld, match=str(os.getpid())):
        Archive.open(root)


def test_a_number_of_a_dead_process_is_not_passed_on(tmp_path: Path) -> None:
    """A lock file copied from elsewhere may name anyone; only a running process is named."""
    path = tmp_path / "lock"
    with lock.take(path):
        path.write_text("4194999\n")  # above Linux's largest process number, 4194304 (proc(5), pid_max)
        assert lock.is_held(path)
        assert lock.holder(path) is None


def test_asking_does_not_refuse_a_recorder_that_starts(tmp_path: Path) -> None:
    """A reader asks by a shared lock for an instant; whoever takes the lock outlasts it."""
    path = tmp_path / "lock"
    path.touch()
    asking = os.open(path, os.O_RDONLY)
    import threading

    from storage import platform

    assert platform.try_lock(asking, platform.Share.TOGETHER)
    timer = threading.Timer(0.03, os.close, [asking])
    timer.start()
    lock.take(path).release()
    timer.join()


def test_a_folder_with_other_things_is_not_made_an_archive(root: Path) -> None:
    """A slip of the finger does not scatter an archive over someone's documents."""
    root.mkdir()
    (root / "letter.txt").write_text("Dear Sir")
    with pytest.raises(ArchiveAbsent, match="is no archive and not empty"):
        Archive.open(root)
    assert [path.name for path in root.iterdir()] == ["letter.txt"]
