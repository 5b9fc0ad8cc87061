"""What a person at a terminal sees while something lasts, and what a file or a pipe gets instead."""

import contextlib
import os
import pty
import re
import select
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import pytest


class Terminal:
    """A command on a terminal of 110 columns; `seen` is everything it has written there."""

    def __init__(self, words: list[str], cwd: Path) -> None:
        self._screen, end = pty.openpty()
        environment = {**os.environ, "TERM": "xterm", "COLUMNS": "110", "LINES": "40"}
        self.process = subprocess.Popen(words, cwd=cwd, stdin=end, stdout=end, stderr=end, env=environment)
        os.close(end)
        self.seen = ""

    def until(self, pattern: str, timeout: float = 20.0) -> None:
        """Read the screen until `pattern` has been on it."""
        deadline = time.monotonic() + timeout
        while not re.search(pattern, self.seen):
            assert time.monotonic() < deadline, f"{pattern} was not seen in {self.seen!r}"
            self._take()

    def _take(self) -> bool:
        ready, _, _ = select.select([self._screen], [], [], 0.1)
        data = b""
        with contextlib.suppress(OSError):  # the command has closed its end
            data = os.read(self._screen, 65536) if ready else b""
        self.seen += data.decode(errors="replace")
        return bool(data)

    def end(self, by: signal.Signals | None = None) -> int:
        """Send it a signal, or none; its exit status."""
        if by is not None:
            self.process.send_signal(by)
        deadline = time.monotonic() + 30
        while self.process.poll() is None:
            assert time.monotonic() < deadline, self.seen
            self._take()
        while self._take():
            pass
        return self.process.returncode

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self._screen)


@contextmanager
def on_a_terminal(command: ModuleType, words: list[str], cwd: Path) -> Iterator[Terminal]:
    terminal = Terminal([str(command.PROGRAM), *words], cwd)
    try:
        yield terminal
    finally:
        terminal.close()


def test_watch_keeps_one_table_live(command: ModuleType, tmp_path: Path) -> None:
    """It is written over in place, and the cursor is there again after Ctrl-C."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ["read", "header.yaml", "--watch", "--every", "100ms"]
        with on_a_terminal(command, words, tmp_path) as terminal:
            terminal.until(r"(?s)header .*ok.*flow.*m³/h.*header .*ok")
            assert terminal.end(signal.SIGINT) == 130
    assert "\x1b[1A" in terminal.seen, "the cursor goes up to the table's first line"
    assert terminal.seen.rindex("\x1b[?25h") > terminal.seen.rindex("\x1b[?25l")
    assert "Traceback" not in terminal.seen


def test_watch_shows_why_nothing_comes(command: ModuleType, tmp_path: Path) -> None:
    command.write_point(tmp_path, "header", "./port")
    words = ["read", "header.yaml", "--watch", "--every", "100ms"]
    with on_a_terminal(command, words, tmp_path) as terminal:
        terminal.until(r"(?s)port lost.*port is not there")
        assert terminal.end(signal.SIGINT) == 130


@pytest.mark.parametrize("limit", [[], ["--for", "2s"]])
def test_log_shows_its_progress(command: ModuleType, tmp_path: Path, limit: list[str]) -> None:
    """Rows so far and those without all values; then the result as anywhere else."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ["log", "header.yaml", "--archive", "archive", "--every", "100ms", *limit]
        with on_a_terminal(command, words, tmp_path) as terminal:
            terminal.until(r"recording: [1-9]\d* rows, \d+ without all values")
            assert terminal.end(None if limit else signal.SIGINT) == 0
    told = re.search(r"header: (\d+) rows \((\d+) ok", terminal.seen)
    assert told is not None, terminal.seen
    rows, good = map(int, told.groups())
    *_, last = re.findall(r"recording: (\d+) rows, (\d+) without all values", terminal.seen)
    assert 0 < int(last[0]) <= rows
    assert int(last[1]) <= rows - good, "a busy computer may have lost some"
    assert "Traceback" not in terminal.seen


def test_log_into_a_file_has_no_progress(command: ModuleType, tmp_path: Path) -> None:
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ["log", "header.yaml", "--archive", "archive", "--every", "100ms", "--for", "1s"]
        done = command.run(*words, cwd=tmp_path)
    assert "recording" not in done.err
    assert "\x1b" not in done.out + done.err
