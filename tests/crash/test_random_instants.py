"""A process that records, seals, merges and decodes again without a pause, killed at random instants."""

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

#: An archive is used for so many kills, then a fresh one begun: looking at all rows must not take long.
KILLS_AN_ARCHIVE = 10


class Lives:
    """Processes that work, one after the other, each until it is killed."""

    def __init__(self, process: "subprocess.Popen[str]", said: Path) -> None:
        self._process, self._said = process, said

    def killed(self, root: Path, seconds: float) -> int:
        """Let one work, kill it `seconds` after its first row; returns the last row said to be durable."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(root, file=self._process.stdin, flush=True)
        life, number = self._process.stdout.readline().split()
        assert life == "life", self._said.read_text()
        lines = [self._process.stdout.readline()]
        time.sleep(seconds)
        os.kill(int(number), signal.SIGKILL)
        while not lines[-1].startswith("ended"):
            lines.append(self._process.stdout.readline())
            assert lines[-1], self._said.read_text()
        assert lines[-1] == f"ended {-signal.SIGKILL}\n"
        assert self._said.read_text() == ""
        *durable, _, _ = lines  # behind the last line's end may stand a piece of one
        return int(durable[-1].split()[1])


@pytest.fixture(scope="module")
def lives(acts: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lives]:
    """One program that forks for each life: imports are paid once."""
    said = tmp_path_factory.mktemp("lives") / "said"
    with (
        said.open("w") as err,
        subprocess.Popen(
            [sys.executable, acts.__file__, "work"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=err, text=True,
        ) as process,
    ):  # fmt: skip
        yield Lives(process, said)
        assert process.stdin is not None
        process.stdin.close()


def kill(
    lives: Lives, acts: ModuleType, whole: Any, recovered: Any, folder: Path, times: int, seed: int
) -> None:
    dice = random.Random(seed)
    rows = 0
    root = folder
    for number in range(times):
        if number % KILLS_AN_ARCHIVE == 0:
            root, rows = folder / f"archive-{number}", 0
        durable = lives.killed(root, dice.uniform(0.0, 0.7))
        assert durable > rows, "a fresh life records on behind the last"
        rows = whole(acts, root, durable, 10_000)
        if number % KILLS_AN_ARCHIVE == KILLS_AN_ARCHIVE - 1:
            recovered(acts, root, rows)


def test_killed_at_ten_instants(
    lives: Lives, acts: ModuleType, whole: Any, recovered: Any, tmp_path: Path
) -> None:
    """One archive, ten lives: every row that was said to be durable is there once."""
    kill(lives, acts, whole, recovered, tmp_path, 10, seed=5)


@pytest.mark.long
def test_killed_at_300_instants(
    lives: Lives, acts: ModuleType, whole: Any, recovered: Any, tmp_path: Path
) -> None:
    """Thirty archives, ten lives each."""
    kill(lives, acts, whole, recovered, tmp_path, 300, seed=8)
