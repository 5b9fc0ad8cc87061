"""What reaches the disk, in which order: watched from outside with strace, not asked of the code."""

import errno
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from storage.durable import Disk
from storage.errors import ArchiveDenied, DiskFull, StorageError

CALLS = "trace=write,pwrite64,fsync,fdatasync,rename,renameat,renameat2,mkdir,mkdirat,ftruncate,unlink"
#: `123 fsync(4</archive/rows>) = 0`, `123 rename("/a/b", "/a/c") = 0`
CALL = re.compile(r"^\d+ +(?P<name>\w+)\((?P<rest>.*)\) += 0*(?P<result>\d+)")


@dataclass(frozen=True)
class Call:
    """A system call that succeeded: its name, and the paths in it relative to the archive."""

    name: str
    paths: tuple[str, ...]


def watched(hall: ModuleType, root: Path, trace: Path) -> list[Call]:
    """The small recorder's calls on its archive, in order."""
    command = ["strace", "-f", "-y", "-s", "4096", "-e", CALLS, "-o", str(trace), sys.executable]
    subprocess.run([*command, hall.__file__, str(root), "seal"], check=True, capture_output=True, timeout=120)
    calls = []
    for line in trace.read_text(errors="replace").splitlines():
        found = CALL.match(line)
        if not found:
            continue
        paths = re.findall(rf'[<"]{re.escape(str(root))}/?([^>"]*)[>"]', found["rest"])
        if paths:
            calls.append(Call(found["name"], tuple(paths)))
    return calls


def test_bytes_are_flushed_before_the_name_and_the_name_before_the_ledger(
    hall: ModuleType, root: Path, tmp_path: Path
) -> None:
    """write, fsync, rename, fsync of both folders, ledger written, ledger flushed, journal cut, in this
    order for every sealed file; rename(2) and fsync(2) of the Linux manual: a rename is atomic, but only
    an fsync of the folder makes it durable."""
    calls = watched(hall, root, tmp_path / "trace")
    rows = sorted(path.relative_to(root).as_posix() for path in (root / "rows").rglob("*.parquet"))
    assert len(rows) == 2
    for file in rows:
        aside, folder = f"temporary/{Path(file).name}.part", str(Path(file).parent)
        order = [
            Call("write", (aside,)),
            Call("fsync", (aside,)),
            Call("pwrite64", ("journal/journal.sqlite-wal",)),
            Call("fdatasync", ("journal/journal.sqlite-wal",)),
            Call("rename", (aside, file)),
            Call("fsync", (folder,)),
            Call("fsync", ("temporary",)),
            Call("write", ("ledger.jsonl",)),
            Call("fsync", ("ledger.jsonl",)),
            Call("write", ("temporary/tail.json.part",)),
            Call("fsync", ("temporary/tail.json.part",)),
            Call("rename", ("temporary/tail.json.part", "journal/tail.json")),
            Call("fsync", ("journal",)),
            Call("pwrite64", ("journal/journal.sqlite-wal",)),
            Call("fdatasync", ("journal/journal.sqlite-wal",)),
        ]
        position = calls.index(order[0])
        for step in order[1:]:
            position = calls.index(
                step, position + 1
            )  # ValueError: the step did not come after the one before
        assert calls.count(Call("rename", (aside, file))) == 1
        assert not any(call.name == "write" and call.paths == (file,) for call in calls)


def test_a_new_folder_is_flushed_in_the_one_above(hall: ModuleType, root: Path, tmp_path: Path) -> None:
    """A folder whose name is not durable takes its files along when the power goes."""
    calls = watched(hall, root, tmp_path / "trace")
    made = [(at, call.paths[0]) for at, call in enumerate(calls) if call.name in ("mkdir", "mkdirat")]
    assert {path for _, path in made if path} >= {"journal", "temporary", "rows", f"rows/point={hall.POINT}"}
    for at, path in made:
        if path:  # the archive's own folder stands in one that the trace does not keep
            above = str(Path(path).parent) if "/" in path else ""
            assert Call("fsync", (above,)) in calls[at:], path


def test_a_commit_costs_one_flush(tmp_path: Path, root: Path) -> None:
    """Ten commits of three rows each: ten fdatasync of the write-ahead log, and nothing else flushed."""
    program = (
        "import sys; from pathlib import Path; from storage.archive import Archive\n"
        "from storage.journal import JournalWriter, Row\n"
        "archive = Archive.open(Path(sys.argv[1]))\n"
        "writer = JournalWriter(archive.journal.path, interval=3600)\n"
        "plan = writer.add_plan('{}')\n"
        "def commit():\n"
        "    for _ in range(3): writer.put(Row('p', 'live', plan, 0, 0, 'unset', 'ok'))\n"
        "    assert writer.flush(30)\n"
        "commit(); Path(sys.argv[1], 'begin').mkdir()\n"
        "for _ in range(10): commit()\n"
        "Path(sys.argv[1], 'end').mkdir()\n"
    )
    trace = tmp_path / "trace"
    command = ["strace", "-f", "-y", "-e", CALLS, "-o", str(trace), sys.executable, "-c", program, str(root)]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    between = trace.read_text(errors="replace").split('/begin"')[1].split('/end"')[0]
    flushed = re.findall(r"(?:fsync|fdatasync)\(\d+<([^>]*)>", between)
    assert flushed == [f"{root}/journal/journal.sqlite-wal"] * 10


@pytest.mark.parametrize(
    ("number", "kind"), [(errno.EIO, StorageError), (errno.EACCES, ArchiveDenied), (errno.EDQUOT, DiskFull)]
)
def test_every_refusal_of_the_system_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, kind: type[StorageError]
) -> None:
    """A dying card, another's folder, a full quota: the path and the reason, no traceback to a user."""
    refuse(monkeypatch, "fsync", number)
    with pytest.raises(StorageError, match=r"x\.part.*[.:]") as caught:
        Disk(tmp_path).write_file(tmp_path / "x", b"abc", "x")
    assert type(caught.value) is kind


def refuse(monkeypatch: pytest.MonkeyPatch, call: str, number: int) -> None:
    """Let one system call fail as the kernel would."""

    def failing(*_: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, call, failing)


def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """ENOSPC while writing aside: told as a sentence with the path, nothing left in temporary."""
    refuse(monkeypatch, "write", errno.ENOSPC)
    with pytest.raises(DiskFull, match=r"No space left to write .*x\.part") as caught:
        Disk(tmp_path).write_file(tmp_path / "x", b"abc", "x")
    assert caught.value.path == tmp_path / "x.part"
    assert list(tmp_path.iterdir()) == []


def test_a_flush_that_fails_takes_the_line_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EDQUOT at fsync: the file is as long as before, and the same call works once there is space."""
    disk = Disk(tmp_path)
    disk.append(tmp_path / "lines", b"one\n", 0, "line")
    with monkeypatch.context() as patched:
        refuse(patched, "fsync", errno.EDQUOT)
        with pytest.raises(DiskFull):
            disk.append(tmp_path / "lines", b"two\n", 4, "line")
    assert (tmp_path / "lines").read_bytes() == b"one\n"
    disk.append(tmp_path / "lines", b"two\n", 4, "line")
    assert (tmp_path / "lines").read_bytes() == b"one\ntwo\n"


def test_a_short_write_is_continued(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """write(2) may take fewer bytes than given; the rest follows."""
    real = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, data: real(descriptor, bytes(data)[:2]))
    Disk(tmp_path).write_file(tmp_path / "x", b"abcdefg", "x")
    assert (tmp_path / "x").read_bytes() == b"abcdefg"


def test_a_read_only_folder_is_told_as_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EROFS, as a card gives that was switched to read-only."""
    refuse(monkeypatch, "open", errno.EROFS)
    with pytest.raises(ArchiveDenied, match="cannot be read or written"):
        Disk(tmp_path).write_file(tmp_path / "x", b"abc", "x")


def test_only_one_module_flushes_and_renames() -> None:
    """Durability is one place to read: nothing else in the project calls os.replace, os.fsync or rename."""
    project = Path(__file__).parents[2]
    calling = re.compile(r"os\.(replace|fsync|fdatasync|rename|renames)\(|\.rename\(")
    found = {
        path.relative_to(project).as_posix()
        for room in ("protocols", "readout", "storage", "simulators")
        for path in (project / room).rglob("*.py")
        if calling.search(path.read_text())
    }
    assert found == {"storage/durable.py"}
