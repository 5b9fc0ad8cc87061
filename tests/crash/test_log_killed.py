"""`log` itself, killed at random instants of its life: at the start, while it merges, records and seals."""

import random
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.dataset as ds
import pytest

from readout.sealing.record import Record
from readout.sealing.table import table_of
from storage.archive import ArchiveReader
from storage.verify import verify_archive

POINT = "header"
#: The latest instant of a life at which it is killed [s]: two sealings and some.
LONGEST_LIFE_S = 3.5


def decode(plan: str, rows: Any) -> Any:
    return table_of(Record.from_text(plan), rows)


def rows_of(root: Path) -> dict[int, tuple[Any, ...]]:
    """Every row that our reader finds, by sequence: due time and registers."""
    if not (root / "ledger.jsonl").exists():
        return {}  # killed before it had written anything
    table = ArchiveReader(root).read_rows(POINT, "live", decode=decode)
    numbers = table["sequence"].to_pylist() if table.num_rows else []
    assert numbers == list(range(1, len(numbers) + 1)), "none lost, none twice"
    names = [name for name in table.column_names if name == "due" or name.startswith("raw_")]
    return {row["sequence"]: tuple(row[name] for name in names) for row in table.to_pylist()}


def kill(command: ModuleType, acts: ModuleType, folder: Path, lives: int, seed: int) -> None:
    """Each life goes on where the one before was killed; nothing is repaired in between."""
    dice = random.Random(seed)
    root = folder / "archive"
    acts.hourly(root)
    known: dict[int, tuple[Any, ...]] = {}
    words = ["log", f"{POINT}.yaml", "--archive", root, "--every", "100ms", "--seal-every", "1s"]
    with command.line() as line:
        command.write_point(folder, POINT, line.port)
        for life in range(lives):
            with command.running(*words, cwd=folder) as log:
                if life == lives - 1:  # one at least is killed with rows behind it, on a busy computer, too
                    command.until(lambda known=known: len(rows_of(root)) > len(known), what="rows")
                time.sleep(dice.uniform(0.3, LONGEST_LIFE_S))
                log.process.kill()
                log.process.wait()
                assert "Traceback" not in log.so_far().err
            found = rows_of(root)
            assert {number: found.get(number) for number in known} == known, "what was there stays as it was"
            known = found
            assert verify_archive(root).faults == ()
        assert command.run(*words, "--for", "500ms", cwd=folder).status == 0
    assert known
    assert_at_rest(acts, root, known)


def assert_at_rest(acts: ModuleType, root: Path, known: dict[int, tuple[Any, ...]]) -> None:
    """Any reader of the folder finds every row once, the day that was to be merged too."""
    plain = ds.dataset(root / f"rows/point={POINT}/source=live", format="parquet").to_table()
    numbers = sorted(plain["sequence"].to_pylist())
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= len(known) + 5
    other = ds.dataset(root / f"rows/point={acts.meter.POINT}/source=live", format="parquet")
    assert len(other.files) == 2
    assert sorted(other.to_table()["sequence"].to_pylist()) == list(range(1, 61))
    assert list((root / "temporary").iterdir()) == []
    assert verify_archive(root).faults == ()


def test_killed_twice(command: ModuleType, acts: ModuleType, tmp_path: Path) -> None:
    """Two lives; the others are in the long tests."""
    kill(command, acts, tmp_path, 2, seed=2)


@pytest.mark.long
def test_killed_sixty_times(command: ModuleType, acts: ModuleType, tmp_path: Path) -> None:
    """No committed row lost, none doubled, nothing to repair."""
    kill(command, acts, tmp_path, 60, seed=4)
