"""Kill a real recorder between any two steps of a sealing: no committed row lost, none doubled."""

import json
import os
import random
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest

from storage.archive import Archive, ArchiveReader
from storage.verify import verify_archive

OPENING = ("folder journal: made", "folder temporary: made", "folder superseded: made", "folder rows: made")
ASIDE = ("sealed file: written aside", "sealed file: flushed", "intent: committed")
PLACED = ("sealed file: renamed", "sealed file: folder flushed")
TOLD = ("ledger line: written", "ledger line: flushed")
TAIL = (
    "ledger tail: written aside",
    "ledger tail: flushed",
    "ledger tail: renamed",
    "ledger tail: folder flushed",
)
CUT = ("journal: cut",)
NEW_POINT = ("folder point=bottling-hall-header: made", "folder source=live: made")
NEW_LEDGER = ("ledger line: file made",)
FIRST_DAY = (
    *ASIDE, *NEW_POINT, "folder date=2026-05-02: made", *PLACED, *NEW_LEDGER, *TOLD, *TAIL, *CUT
)  # fmt: skip
SECOND_DAY = (*ASIDE, "folder date=2026-05-03: made", *PLACED, *TOLD, *TAIL, *CUT)
#: Everything a recorder that seals rounds on both sides of midnight does to the disk, in order, but for
#: the archive's own folder and SQLite's commits.
STEPS = ("folder archive: made", *OPENING, *TAIL, *FIRST_DAY, *SECOND_DAY)


#: Has the small recorder work in a process of its own: folder and words in, exit status and stdout out.
Run = Callable[..., tuple[int, str]]


@pytest.fixture(scope="module")
def run(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Run]:
    """The small recorder, whose processes are forked from one that has loaded what they need."""
    told = tmp_path_factory.mktemp("told") / "stdout"
    command = [sys.executable, hall.__file__, "serve"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:

        def done(root: Path, *words: str) -> tuple[int, str]:
            assert process.stdin is not None
            assert process.stdout is not None
            print(json.dumps([str(root), words, str(told)]), file=process.stdin, flush=True)
            return int(process.stdout.readline()), told.read_text()

        yield done
        assert process.stdin is not None
        process.stdin.close()


def durable(output: str) -> int:
    """How many rows the recorder said were committed before it died."""
    return max(
        (int(line.split()[1]) for line in output.splitlines() if line.startswith("durable")), default=0
    )


def check(hall: ModuleType, root: Path, committed: int) -> None:
    """Before anything is repaired, after the next opening, and sealed: the same rows, each once."""
    if (root / "journal" / "journal.sqlite").exists():
        before = ArchiveReader(root).read_rows(hall.POINT, "live", decode=hall.decode)
        assert before.num_rows >= committed
        assert verify_archive(root).faults == ()
    with Archive.open(root) as archive:
        assert list((root / "temporary").iterdir()) == []
        hall.seal_all(archive)
        assert archive.journal.count() == {}
        assert archive.journal.intents() == []
        following = archive.journal.next_sequence(hall.POINT, "live")
    found = verify_archive(root)
    assert found.faults == ()
    table = ArchiveReader(root).read_rows(hall.POINT, "live")
    numbers = table["sequence"].to_pylist() if committed else []
    assert len(numbers) >= committed
    assert numbers == list(range(1, len(numbers) + 1))
    if committed:
        assert table["raw_input_16"].to_pylist() == numbers
        assert table["flow"].to_pylist() == [number / 2 for number in numbers]
    assert following == len(numbers) + 1
    assert found.rows == len(numbers)


def test_table_holds_every_step_of_a_recording(hall: ModuleType, run: Run, root: Path) -> None:
    """The table below is complete: a step added to the code and not to the table fails here."""
    output = run(root, "seal")[1].splitlines()
    assert tuple(line for line in output if not line.startswith("durable")) == STEPS
    check(hall, root, 20)


@pytest.mark.parametrize("step", range(1, len(STEPS) + 1), ids=lambda step: f"{step} {STEPS[step - 1]}")
def test_killed_after_step(hall: ModuleType, run: Run, root: Path, step: int) -> None:
    """SIGKILL right after the step: nothing to repair by hand, nothing lost, nothing twice."""
    status, told = run(root, "seal", str(step))
    assert status == -signal.SIGKILL
    check(hall, root, durable(told))


#: What the opening does after a crash right behind the first intent.
RECOVERY = FIRST_DAY[len(ASIDE) :]


@pytest.mark.parametrize("step", range(1, len(RECOVERY) + 1), ids=lambda step: f"{step} {RECOVERY[step - 1]}")
def test_killed_again_while_recovering(hall: ModuleType, run: Run, root: Path, step: int) -> None:
    """A crash right behind the intent leaves most to do; a second crash in the doing is recovered too."""
    first, told = run(root, "seal", str(STEPS.index("intent: committed") + 1))
    second, _ = run(root, "seal", str(step))
    assert (first, second) == (-signal.SIGKILL, -signal.SIGKILL)
    check(hall, root, durable(told))


def test_killed_at_random_instants(hall: ModuleType, root: Path) -> None:
    """One archive, recorded and killed six times over: every row that was said to be durable is there."""
    dice = random.Random(17)
    committed = 0
    for _ in range(6):
        command = [sys.executable, hall.__file__, str(root), "record"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            lines = dice.randint(3, 12)
            said = 0
            for _, line in zip(range(lines), process.stdout, strict=False):
                said = durable(line)
            os.kill(process.pid, signal.SIGKILL)
            said = max(said, durable(process.stdout.read()))
        committed += said
        rows = ArchiveReader(root).read_rows(hall.POINT, "live", decode=hall.decode)
        numbers = rows["sequence"].to_pylist()
        assert len(numbers) >= committed
        assert numbers == list(range(1, len(numbers) + 1))
        assert verify_archive(root).faults == ()
        committed = len(numbers)
