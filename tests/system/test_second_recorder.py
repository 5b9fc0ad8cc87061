"""A second recorder on a line or an archive that has one: it ends at once, and names the first."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from subprocess import DEVNULL, PIPE
from tempfile import TemporaryDirectory
from types import ModuleType

import pytest

#: Most that a refusal may take [s], from the start of its process to its end, while it has a processor.
REFUSED_S = 2.0
#: A recorder's hold on a real terminal: the lock, and the flag that makes every later open fail (EBUSY).
#: Pseudo-terminals get no flag from us, so the holder sets it itself.
HOLD = """
import fcntl, os, sys, termios
held = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
fcntl.ioctl(held, termios.TIOCEXCL)
print(1, flush=True)
sys.stdin.read()
"""
#: The super-user opens past the flag, anybody else does not: root tries as another user.
AS_ANOTHER = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"] if os.geteuid() == 0 else []


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that another user may use too; pytest's own are closed to others."""
    with TemporaryDirectory() as name:
        path = Path(name)
        path.chmod(0o777)
        yield path


@dataclass(frozen=True)
class Refused:
    """What a `log` said that was refused."""

    err: str


def refused(
    command: ModuleType, words: tuple[str, ...], folder: Path, prefix: tuple[str, ...] = ()
) -> Refused:
    """How a `log` ended that has to be refused, and that it took no longer than it may."""
    begun = time.monotonic()
    line = [*prefix, command.PROGRAM, "log", *words]
    with subprocess.Popen(line, cwd=folder, stdin=DEVNULL, stdout=DEVNULL, stderr=PIPE, text=True) as process:
        pid, look = process.pid, os.WEXITED | os.WNOWAIT | os.WNOHANG
        command.until(lambda: os.waitid(os.P_PID, pid, look), 60, "its end")
        took = time.monotonic() - begun
        # Seconds for which other programs had the processors, see Linux' Documentation/scheduler/sched-stats.
        took -= int(Path(f"/proc/{pid}/schedstat").read_text().split()[1]) / 1e9
        _, err = process.communicate()
    assert process.returncode == 3, err
    assert took < REFUSED_S, err
    return Refused(err)


def test_a_second_recorder_on_the_line_names_the_first(command: ModuleType, folder: Path) -> None:
    """Into another archive; the first goes on undisturbed."""
    with command.line() as line:
        command.write_point(folder, "header", line.port)
        with command.running("log", "header.yaml", "--archive", "first", "--every", "1s", cwd=folder) as log:
            command.until(lambda: line.stats.requests >= 4, what="rounds of the first")
            done = refused(command, ("header.yaml", "--archive", "second"), folder)
            assert log.process.poll() is None
    assert str(log.pid) in done.err
    assert line.port in done.err


def test_a_second_recorder_of_the_archive_names_the_first(command: ModuleType, folder: Path) -> None:
    """On another line."""
    with command.line() as line, command.line() as other:
        command.write_point(folder, "header", line.port)
        command.write_point(folder, "packing", other.port)
        with command.running("log", "header.yaml", "--archive", "kept", "--every", "1s", cwd=folder) as log:
            command.until(lambda: line.stats.requests >= 4, what="rounds of the first")
            done = refused(command, ("packing.yaml", "--archive", "kept"), folder)
            assert log.process.poll() is None
    assert str(log.pid) in done.err
    assert "kept" in done.err
    assert other.stats.requests == 0


def test_the_holder_of_a_closed_terminal_is_named_to_another_user(command: ModuleType, folder: Path) -> None:
    """The open itself fails, so no lock can be asked; the kernel's list of locks names the holder."""
    with command.line() as line:
        command.write_point(folder, "header", line.port)
        Path(line.port).chmod(0o666)
        words = [sys.executable, "-c", HOLD, line.port]
        with subprocess.Popen(words, stdin=-1, stdout=-1, text=True) as holder:
            assert holder.stdout is not None
            assert holder.stdout.readline() == "1\n"
            done = refused(command, ("header.yaml", "--archive", "second"), folder, tuple(AS_ANOTHER))
            holder.kill()
    assert str(holder.pid) in done.err
    assert line.stats.requests == 0
