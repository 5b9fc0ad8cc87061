"""Acts on an archive in processes that can be killed before any of their calls, and what must hold then."""

import importlib.util
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest

from storage.archive import Archive, ArchiveReader
from storage.verify import verify_archive

FOLDER = Path(__file__).parent


@pytest.fixture(scope="session")
def acts() -> ModuleType:
    """The module `acts.py` beside this file."""
    spec = importlib.util.spec_from_file_location("crash_acts", FOLDER / "acts.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def killer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`killer.c` as a library."""
    library = tmp_path_factory.mktemp("killer") / "killer.so"
    command = ["cc", "-O1", "-Wall", "-shared", "-fPIC", "-o", library, FOLDER / "killer.c", "-ldl"]
    subprocess.run(command, check=True, capture_output=True, text=True)
    return library


@dataclass(frozen=True)
class Ended:
    """How an act ended: exit status, calls that changed files, in order, and rows it said were durable."""

    status: int
    calls: list[str]
    durable: int


class Doer:
    """Has acts done by processes of their own."""

    def __init__(self, process: "subprocess.Popen[str]", notes: Path) -> None:
        self._process, self._notes = process, notes

    def do(self, act: str, root: Path, at: int = 0, *, torn: bool = False) -> Ended:
        """Do an act; die by SIGKILL right before its call number `at`, from 1, or half way through it."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        order = {"act": act, "root": str(root), "at": at, "torn": torn, "notes": str(self._notes)}
        print(json.dumps(order), file=self._process.stdin, flush=True)
        status = int(self._process.stdout.readline())
        lines = self._notes.read_text().splitlines()
        durable = [int(line.split()[1]) for line in lines if line.startswith("durable ")]
        calls = [line for line in lines if not line.startswith("durable ")]
        return Ended(status, calls, max(durable, default=0))


@pytest.fixture(scope="session")
def doer(killer: Path, acts: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Doer]:
    """One program that forks for each act: imports are paid once."""
    environment = {"LD_PRELOAD": str(killer), "PYTHONDONTWRITEBYTECODE": "1", "PATH": "/usr/bin:/bin"}
    with subprocess.Popen(
        [sys.executable, acts.__file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env=environment,
    ) as process:  # fmt: skip
        yield Doer(process, tmp_path_factory.mktemp("notes") / "notes")
        assert process.stdin is not None
        process.stdin.close()


def assert_rows(acts: ModuleType, table: Any, least: int, most: int, first: int = 1) -> int:
    """Every row once, in order, with its own registers and its own time or none yet; returns how many."""
    numbers = table["sequence"].to_pylist() if table.num_rows else []
    assert numbers == list(range(1, len(numbers) + 1))
    assert least <= len(numbers) <= most
    if numbers:
        held = [table[f"raw_input_{register}"].to_pylist() for register in range(3)]
        assert [list(row) for row in zip(*held, strict=True)] == [acts.words(n + first - 1) for n in numbers]
        assert table["flow"].to_pylist() == [n + first - 0.5 for n in numbers]
        due = [None if d is None else round(d.timestamp() * 1000) for d in table["due"].to_pylist()]
        assert all(d in (None, acts.due_of(n + first - 1)) for d, n in zip(due, numbers, strict=True))
    return len(numbers)


def assert_whole(acts: ModuleType, root: Path, least: int, most: int, first: int = 1) -> int:
    """As the dead process left it, nothing repaired: our reader gives every row once, no file is broken."""
    from readout.sealing.record import Record
    from readout.sealing.table import table_of

    def decode(plan: str, rows: Any) -> Any:
        return table_of(Record.from_text(plan), rows)

    table = ArchiveReader(root).read_rows(acts.meter.POINT, "live", decode=decode)
    found = assert_rows(acts, table, least, most, first)
    for path in (*(root / "rows").rglob("*"), *(root / "superseded").rglob("*")):
        if path.is_file():
            assert path.suffix == ".parquet"
            pq.ParquetFile(path).read()
    assert list((root / "temporary").glob("*.parquet")) == []
    assert verify_archive(root).faults == ()
    return found


def assert_recovered(acts: ModuleType, root: Path, rows: int, first: int = 1) -> None:
    """After the next opening and sealing any reader of the folder finds every row once."""
    with Archive.open(root) as archive:
        acts.seal(archive)
        assert archive.journal.count() == {}
        assert archive.journal.intents() == []
        assert archive.journal.next_sequence(acts.meter.POINT, "live") == rows + 1
    assert list((root / "temporary").iterdir()) == []
    if rows:
        plain = ds.dataset(root / f"rows/point={acts.meter.POINT}/source=live", format="parquet")
        table = plain.to_table().sort_by("sequence")
        assert_rows(acts, table, rows, rows, first)
        assert table["due"].null_count == 0
    assert verify_archive(root).faults == ()


@pytest.fixture(scope="session")
def whole() -> Any:
    """See `assert_whole`."""
    return assert_whole


@pytest.fixture(scope="session")
def recovered() -> Any:
    """See `assert_recovered`."""
    return assert_recovered
