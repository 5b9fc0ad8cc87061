"""A real process killed before every single call that changes a file: write, flush, rename, remove, cut.

SQLite's calls are among them (its commits are a write and a flush of `journal.sqlite-wal`), and those of
every thread. Which calls an act makes is read off the act itself; those that matter are listed below.
"""

import shutil
import signal
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

#: Of each act: rows that are there for certain, rows at most, number of the first.
ROWS = {
    "record": (0, 12, 1),
    "seal": (20, 20, 31),
    "put times right": (20, 20, 31),
    "merge": (60, 60, 1),
    "decode again": (60, 60, 1),
}
#: In the order in which a sealing, a merge or a re-decoding must make them.
ORDER = {
    "record": [
        "write ledger.jsonl", "flush ledger.jsonl", "write journal/journal.sqlite-wal",
        "flush journal/journal.sqlite-wal", "write journal/journal.sqlite", "flush journal/journal.sqlite",
    ],
    "seal": [
        "write temporary/0000000001-0000000010.parquet.part",
        "flush temporary/0000000001-0000000010.parquet.part",
        "write journal/journal.sqlite-wal", "flush journal/journal.sqlite-wal",
        "rename rows/point=bottling-hall-header/source=live/date=2026-05-03/0000000001-0000000010.parquet",
        "flush rows/point=bottling-hall-header/source=live/date=2026-05-03", "flush temporary",
        "write ledger.jsonl", "flush ledger.jsonl", "write temporary/tail.json.part",
        "flush temporary/tail.json.part", "rename journal/tail.json", "flush journal",
        "write journal/journal.sqlite-wal", "flush journal/journal.sqlite-wal",
    ],
    "put times right": [
        "write journal/journal.sqlite-wal", "flush journal/journal.sqlite-wal",
        "write temporary/0000000001-0000000010.parquet.part",
    ],
    "merge": [
        "write temporary/0000000001-0000000040.parquet.part",
        "flush temporary/0000000001-0000000040.parquet.part", "flush journal/journal.sqlite-wal",
        "rename rows/point=bottling-hall-header/source=live/date=2026-05-03/0000000001-0000000040.parquet",
        "flush temporary", "flush ledger.jsonl",
        "rename superseded/point=bottling-hall-header/source=live/date=2026-05-03/"
        "0000000001-0000000010.parquet",
        "flush superseded/point=bottling-hall-header/source=live/date=2026-05-03",
        "flush rows/point=bottling-hall-header/source=live/date=2026-05-03",
        "flush journal/journal.sqlite-wal",
    ],
    "decode again": [
        "flush temporary/0000000051-0000000060-v2.parquet.part", "flush journal/journal.sqlite-wal",
        "rename rows/point=bottling-hall-header/source=live/date=2026-05-03/0000000001-0000000010-v2.parquet",
        "rename rows/point=bottling-hall-header/source=live/date=2026-05-04/0000000051-0000000060-v2.parquet",
        "flush ledger.jsonl",
        "rename superseded/point=bottling-hall-header/source=live/date=2026-05-03/"
        "0000000001-0000000010.parquet",
        "flush journal/journal.sqlite-wal",
    ],
}  # fmt: skip


def made(acts: ModuleType, act: str, folder: Path) -> Path:
    """What the act starts from."""
    root = folder / "before"
    acts.BEFORE[act](root)
    return root


@pytest.mark.parametrize("act", ROWS)
def test_calls_come_in_the_order_that_survives_a_power_cut(
    acts: ModuleType, doer: Any, act: str, tmp_path: Path
) -> None:
    """Bytes are durable before their name, it before the ledger's line, that before what it replaces goes."""
    calls = doer.do(act, made(acts, act, tmp_path)).calls
    at = -1
    for call in ORDER[act]:
        at = calls.index(call, at + 1)  # ValueError: it did not come behind the one before


def kill(
    acts: ModuleType, doer: Any, whole: Any, recovered: Any, before: Path, act: str, at: int, *, torn: bool
) -> None:
    """Die before call `at`, look, let the next one finish, do the act again: always the same rows."""
    root = before.with_name("killed")
    shutil.copytree(before, root)
    try:
        died = doer.do(act, root, at, torn=torn)
        assert died.status == -signal.SIGKILL, died
        least, most, first = ROWS[act]
        rows = whole(acts, root, max(least, died.durable), most, first)
        recovered(acts, root, rows, first)
        if act != "record":
            assert doer.do(act, root).status == 0
            whole(acts, root, rows, rows, first)
            recovered(acts, root, rows, first)
    finally:
        shutil.rmtree(root)


def kill_at_each(
    acts: ModuleType, doer: Any, whole: Any, recovered: Any, act: str, folder: Path, stride: int
) -> int:
    before = made(acts, act, folder)
    root = before.with_name("whole")
    shutil.copytree(before, root)
    done = doer.do(act, root)
    assert done.status == 0
    for at in range(stride, len(done.calls) + 1, stride):
        try:
            kill(acts, doer, whole, recovered, before, act, at, torn=False)
            if done.calls[at - 1].startswith("write "):
                kill(acts, doer, whole, recovered, before, act, at, torn=True)
        except Exception as error:
            raise AssertionError(f"{act}: killed at call {at}, {done.calls[at - 1]}") from error
    return len(done.calls)


@pytest.mark.parametrize("act", ROWS)
def test_killed_at_some_calls(
    acts: ModuleType, doer: Any, whole: Any, recovered: Any, act: str, tmp_path: Path
) -> None:
    """Every seventeenth call; the others are in the long tests."""
    assert kill_at_each(acts, doer, whole, recovered, act, tmp_path, 17) > 30


@pytest.mark.long
@pytest.mark.parametrize("act", ROWS)
def test_killed_at_every_call(
    acts: ModuleType, doer: Any, whole: Any, recovered: Any, act: str, tmp_path: Path
) -> None:
    """No committed row lost, none doubled, no file unreadable, nothing to repair, wherever it died."""
    assert kill_at_each(acts, doer, whole, recovered, act, tmp_path, 1) > 30


@pytest.mark.long
@pytest.mark.parametrize("act", ["seal", "merge", "decode again"])
def test_killed_again_while_the_next_one_finishes(
    acts: ModuleType, doer: Any, whole: Any, recovered: Any, act: str, tmp_path: Path
) -> None:
    """The worst place for a first crash is right behind the intent; then at every call of the recovery."""
    before = made(acts, act, tmp_path)
    died = doer.do(act, before, first_rename(doer, before, act))
    assert died.status == -signal.SIGKILL
    root = before.with_name("whole")
    shutil.copytree(before, root)
    calls = doer.do(act, root).calls
    for at in range(1, len(calls) + 1):
        kill(acts, doer, whole, recovered, before, act, at, torn=False)


def first_rename(doer: Any, before: Path, act: str) -> int:
    """The number of the first call that gives a file its name below rows/."""
    root = before.with_name("counted")
    shutil.copytree(before, root)
    calls = doer.do(act, root).calls
    return next(n for n, call in enumerate(calls, 1) if call.startswith("rename rows/"))
