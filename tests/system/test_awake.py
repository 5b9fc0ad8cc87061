"""A real `log` keeps the computer awake by a program beside it, which a killed one takes with it."""

import os
import signal
from pathlib import Path
from types import ModuleType

import pytest

#: Stands for systemd-inhibit(1): runs its command while it holds, and tells what it was asked and its end.
LOCK = """\
#!/bin/sh
cd "$(dirname "$0")"
echo "$*" >> asked
while [ "${1#--}" != "$1" ]; do shift; done
"$@"
echo released >> released
"""


@pytest.fixture
def lock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder in which the program tells; it is found before the system's own."""
    file = tmp_path / "bin/systemd-inhibit"
    file.parent.mkdir()
    file.write_text(LOCK)
    file.chmod(0o755)
    monkeypatch.setenv("PATH", f"{file.parent}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("XDG_CURRENT_DESKTOP", "")
    return file.parent


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGINT])
def test_the_lock_ends_with_the_recorder(
    command: ModuleType, tmp_path: Path, lock: Path, by: signal.Signals
) -> None:
    """However it ends; until then it is held."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ("log", "header.yaml", "--archive", "archive", "--every", "200ms")
        with command.running(*words, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests >= 6, what="rounds")
            assert "--what=sleep:handle-lid-switch" in (lock / "asked").read_text()
            assert not (lock / "released").exists()
            log.end(by)
            command.until((lock / "released").exists, what="the lock is given back")
    assert (lock / "asked").read_text().count("\n") == 1


@pytest.mark.parametrize("words", [("--let-sleep",), ("--for", "1min")])
def test_nothing_is_held_where_it_is_not_wanted_or_not_worth_it(
    command: ModuleType, tmp_path: Path, lock: Path, words: tuple[str, ...]
) -> None:
    """A recording of a minute ends before a computer goes to sleep by itself."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ("log", "header.yaml", "--archive", "archive", "--every", "200ms", *words)
        with command.running(*words, cwd=tmp_path):
            command.until(lambda: line.stats.requests >= 6, what="rounds")
    assert not (lock / "asked").exists()
