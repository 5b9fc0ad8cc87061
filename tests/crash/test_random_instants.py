"""A process that records, seals, merges and decodes again without a pause, killed at random instants."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

#: An archive is used for so many kills, then a fresh one begun: looking at all rows must not take long.
KILLS_AN_ARCHIVE = 10


def killed(acts: ModuleType, root: Path, seconds: float) -> int:
    """Let it work, kill it `seconds` after its first row; returns the last row said to be durable."""
    command = [sys.executable, acts.__file__, "work", str(root)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        first = process.stdout.readline()
        time.sleep(seconds)
        os.kill(process.pid, signal.SIGKILL)
        rest = process.stdout.read()
        assert process.stderr.read() == ""
    *lines, _ = (first + rest).split("\n")  # behind the last line's end may stand a piece of one
    return int(lines[-1].split()[1])


def kill(acts: ModuleType, whole: Any, recovered: Any, folder: Path, times: int, seed: int) -> None:
    dice = random.Random(seed)
    rows = 0
    root = folder
    for number in range(times):
        if number % KILLS_AN_ARCHIVE == 0:
            root, rows = folder / f"archive-{number}", 0
        durable = killed(acts, root, dice.uniform(0.0, 0.7))
        assert durable > rows, "a fresh life records on behind the last"
        rows = whole(acts, root, durable, 10_000)
        if number % KILLS_AN_ARCHIVE == KILLS_AN_ARCHIVE - 1:
            recovered(acts, root, rows)


def test_killed_at_ten_instants(acts: ModuleType, whole: Any, recovered: Any, tmp_path: Path) -> None:
    """One archive, ten lives: every row that was said to be durable is there once."""
    kill(acts, whole, recovered, tmp_path, 10, seed=5)


@pytest.mark.long
def test_killed_at_300_instants(acts: ModuleType, whole: Any, recovered: Any, tmp_path: Path) -> None:
    """Thirty archives, ten lives each."""
    kill(acts, whole, recovered, tmp_path, 300, seed=8)
