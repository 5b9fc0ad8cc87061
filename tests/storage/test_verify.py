"""`verify` finds whatever is done to a sealed archive, and is quiet about one that is whole."""

import hashlib
import json
import shutil
import threading
import tracemalloc
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from storage.archive import Archive
from storage.errors import ArchiveAbsent
from storage.ledger import NO_LINE, canonical
from storage.verify import Depth, Verification, verify_archive, verify_file


@pytest.fixture(scope="module")
def whole(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive at rest: three files of one point, one of a second, five rows in the journal."""
    root = tmp_path_factory.mktemp("whole") / "archive"
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 20)
        hall.seal_all(archive)
        hall.fill(archive.journal, 21, 30, plan='{"pressure": 1}')
        hall.fill(archive.journal, 11, 20, point="compressor-2")
        hall.seal_all(archive)
        hall.fill(archive.journal, 31, 35)
    return root


@pytest.fixture
def copy(whole: Path, tmp_path: Path) -> Path:
    """A copy to be damaged."""
    return shutil.copytree(whole, tmp_path / "copy")


def files(root: Path) -> list[Path]:
    """The sealed files, by path."""
    return sorted((root / "rows").rglob("*.parquet"))


def test_a_whole_archive_has_no_faults(whole: Path) -> None:
    """Counts are of sealed files and rows; the JSON is as contracted."""
    found = verify_archive(whole)
    assert (found.files, found.rows, found.faults, found.notes) == (4, 40, (), ())
    tail = json.loads((whole / "journal/tail.json").read_text())
    assert found.as_json() == {"files": 4, "rows": 40, "ledger": {"n": 4, "hash": tail["hash"]}, "faults": []}
    assert verify_archive(whole, Depth.QUICK) == found


def remove(root: Path) -> None:
    files(root)[1].unlink()


def add_unknown(root: Path) -> None:
    shutil.copy(files(root)[1], files(root)[1].with_name("0000000900-0000000909.parquet"))


def add_stray(root: Path) -> None:
    (root / "rows" / "notes.txt").write_text("mine")


def truncate(root: Path) -> None:
    files(root)[1].write_bytes(files(root)[1].read_bytes()[:-1])


def lengthen(root: Path) -> None:
    files(root)[1].write_bytes(files(root)[1].read_bytes() + b"\0")


def empty(root: Path) -> None:
    files(root)[1].write_bytes(b"")


def swap(root: Path) -> None:
    one, other = files(root)[1].read_bytes(), files(root)[2].read_bytes()
    files(root)[1].write_bytes(other)
    files(root)[2].write_bytes(one)


def move_to_another_day(root: Path) -> None:
    target = files(root)[1].parent.with_name("date=2026-05-09")
    target.mkdir()
    files(root)[1].rename(target / files(root)[1].name)


@pytest.mark.parametrize("depth", list(Depth))
@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (remove, "is missing"),
        (add_unknown, "is below rows/ but is unknown to the ledger"),
        (add_stray, "is below rows/ but is unknown to the ledger"),
        (truncate, "bytes, "),
        (lengthen, "bytes, "),
        (empty, "has 0 bytes"),
        (swap, ""),
        (move_to_another_day, "is missing"),
    ],
)
def test_missing_added_truncated_and_swapped_files_are_named(
    copy: Path, depth: Depth, damage: Callable[[Path], None], told: str
) -> None:
    """Both depths find these; the fault carries the file's path inside the archive."""
    before = {path.relative_to(copy).as_posix() for path in files(copy)}
    damage(copy)
    found = verify_archive(copy, depth)
    after = {path.relative_to(copy).as_posix() for path in (copy / "rows").rglob("*") if path.is_file()}
    assert found.faults
    assert all(fault.file in before | after for fault in found.faults)
    assert any(told in fault.fault for fault in found.faults)


@given(bits=st.data())
def test_any_flipped_bit_of_a_sealed_file_is_found(
    bits: st.DataObject, whole: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """One bit anywhere: pages, footer, magic. The fault names the file, and no other file."""
    root = tmp_path_factory.getbasetemp() / "flipped"
    if not root.exists():
        shutil.copytree(whole, root)
    path = bits.draw(st.sampled_from(files(root)))
    data = path.read_bytes()
    bit = bits.draw(st.integers(0, len(data) * 8 - 1))
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    path.write_bytes(changed)
    try:
        found = verify_archive(root)
    finally:
        path.write_bytes(data)
    assert {fault.file for fault in found.faults} == {path.relative_to(root).as_posix()}


@given(bits=st.data())
def test_any_flipped_bit_of_ledger_or_tail_is_found(
    bits: st.DataObject, whole: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The ledger's lines with their file names, hashes and counts, and the tail that guards its end."""
    root = tmp_path_factory.getbasetemp() / "flipped_ledger"
    if not root.exists():
        shutil.copytree(whole, root)
    path = root / bits.draw(st.sampled_from(["ledger.jsonl", "journal/tail.json"]))
    data = path.read_bytes()
    bit = bits.draw(st.integers(0, len(data) * 8 - 1))
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    path.write_bytes(changed)
    try:
        found = verify_archive(root, bits.draw(st.sampled_from(Depth)))
    finally:
        path.write_bytes(data)
    assert {"ledger.jsonl", "journal/tail.json"} & {fault.file for fault in found.faults}


@pytest.mark.parametrize("left", [0, 1, 2, 3])
def test_a_cut_ledger_is_found(copy: Path, left: int) -> None:
    """Cut after any line: the tail knows how many were written."""
    lines = (copy / "ledger.jsonl").read_bytes().splitlines(keepends=True)
    (copy / "ledger.jsonl").write_bytes(b"".join(lines[:left]))
    told = [fault.fault for fault in verify_archive(copy).faults if fault.file == "ledger.jsonl"]
    assert told == [f"ends at line {left}, but line 4 was written: the last {4 - left} were cut off"]


def test_without_journal_the_end_is_not_proven_but_files_still_are(copy: Path) -> None:
    """Someone who was given rows and ledger only: told as a note, and cut lines show by their files."""
    shutil.rmtree(copy / "journal")
    found = verify_archive(copy)
    assert found.faults == ()
    assert any("cut off the ledger's end cannot be found" in note for note in found.notes)
    lines = (copy / "ledger.jsonl").read_bytes().splitlines(keepends=True)
    (copy / "ledger.jsonl").write_bytes(b"".join(lines[:3]))
    assert [fault.fault for fault in verify_archive(copy).faults] == [
        "is below rows/ but is unknown to the ledger"
    ]


def test_a_copy_that_cannot_be_written_is_verified_and_not_changed(
    hall: ModuleType, whole: Path, copy: Path
) -> None:
    """Nothing is made, touched or removed, even where a write-ahead log lies there without its recorder."""
    with Archive.open(copy) as archive:
        hall.fill(archive.journal, 36, 40)
        frozen = shutil.copytree(copy, copy.with_name("frozen"))  # as a copy of a running archive is
    (frozen / "journal/journal.sqlite-shm").unlink()
    for path in (*frozen.rglob("*"), frozen):
        path.chmod(0o555 if path.is_dir() else 0o444)
    before = {path: path.stat().st_mtime_ns for path in frozen.rglob("*")}
    try:
        assert verify_archive(frozen).faults == ()
        assert {path: path.stat().st_mtime_ns for path in frozen.rglob("*")} == before
    finally:
        for path in (frozen, *frozen.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)


def test_a_running_recorder_gives_no_false_fault(hall: ModuleType, root: Path) -> None:
    """Verified at every single step of the sealings, from a place between them: never a fault."""
    found: list[Verification] = []

    def step(_: str) -> None:
        if (root / "journal/journal.sqlite").exists():
            found.append(verify_archive(root))

    with Archive.open(root, step=step) as archive:
        hall.fill(archive.journal, 1, 20)
        hall.seal_all(archive)
    assert len(found) > 25
    assert [faults for each in found if (faults := each.faults)] == []
    assert any("is being sealed" in note for each in found for note in each.notes)


def test_a_recorder_in_full_swing_gives_no_false_fault(hall: ModuleType, root: Path) -> None:
    """Verified again and again while another thread seals twenty files."""
    done = threading.Event()

    def record() -> None:
        with Archive.open(root) as archive:
            for turn in range(20):
                hall.fill(archive.journal, turn * 5 + 11, turn * 5 + 15)
                hall.seal_all(archive)
        done.set()

    Archive.open(root).close()
    thread = threading.Thread(target=record)
    thread.start()
    results = []
    while not done.is_set():
        results.append(verify_archive(root))
    thread.join()
    assert [faults for each in results if (faults := each.faults)] == []
    assert verify_archive(root).files == 20


def test_a_folder_without_archive_is_refused(tmp_path: Path) -> None:
    """An empty folder is not a whole archive."""
    with pytest.raises(ArchiveAbsent, match="holds no archive"):
        verify_archive(tmp_path)


def test_one_file_alone_tells_what_is_wrong_with_it(whole: Path, tmp_path: Path) -> None:
    """Someone who has one file: readable and in order, or what is wrong with it."""
    path = files(whole)[1]
    assert verify_file(path) == []
    assert verify_file(path, "0" * 64) == ["has other bytes than its SHA-256 says"]
    (tmp_path / "half.parquet").write_bytes(path.read_bytes()[:500])
    assert "cannot be opened as Parquet" in verify_file(tmp_path / "half.parquet")[0]
    assert verify_file(tmp_path / "none.parquet", "0" * 64) == ["cannot be read (No such file or directory)"]


def ledger_of_days(root: Path, days: int) -> None:
    """Of each day 24 hourly files and one that took their place, told only: no file of them is there."""
    previous, lines = NO_LINE, list[bytes]()
    about = {"point": "header", "source": "live", "rows": 60, "bytes": 5123, "sha256": "a" * 64}
    about |= {"schema": "b" * 64, "first": None, "last": None}

    def put(kind: str, first: int, last: int, more: dict[str, object]) -> str:
        nonlocal previous
        day = date.fromordinal(739_000 + (first - 1) // 1440)
        name = f"rows/point=header/source=live/date={day}/{first:010d}-{last:010d}.parquet"
        line = {**about, "file": name, "first_sequence": first, "last_sequence": last, **more, "kind": kind}
        line |= {"n": len(lines) + 1, "time": "2026-05-04T00:00:00.000Z", "previous": previous}
        previous = line["hash"] = hashlib.sha256(canonical(line)).hexdigest()
        lines.append(canonical(line) + b"\n")
        return name

    for first in range(1, 1440 * days, 1440):
        hours = [put("sealed", at, at + 59, {}) for at in range(first, first + 1440, 60)]
        put("merged", first, first + 1439, {"replaces": hours})
    root.mkdir()
    (root / "ledger.jsonl").write_bytes(b"".join(lines))


def test_years_of_replaced_files_fill_no_memory(tmp_path: Path) -> None:
    """Of each its name and its proof, and a share of its day's own file: some 500 bytes, not 1500."""
    most = {}
    for days in (1, 11, 26):  # once before, for what is loaded on first use
        root = tmp_path / f"{len(most)}-{days}"
        ledger_of_days(root, days)
        tracemalloc.start()
        found = verify_archive(root, Depth.QUICK)
        most[days] = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        shutil.rmtree(root)
        assert f"{24 * days} replaced files are no longer in superseded/" in found.notes
    assert (most[26] - most[11]) / (15 * 24) < 1000
