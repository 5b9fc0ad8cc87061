"""`verify` at every place: each bit of a ledger, ten thousand of sealed files, each file missing or moved."""

import itertools
import random
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from storage import ledger
from storage.archive import Archive
from storage.errors import ArchiveDamaged
from storage.verify import Depth, verify_archive

FILES, FLIPS = 20, 10_000


@pytest.fixture(scope="module")
def whole(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive at rest with twenty small files of two points, one of them with a later column."""
    root = tmp_path_factory.mktemp("whole") / "archive"
    with Archive.open(root) as archive:
        for turn in range(FILES // 2):
            plan = '{"pressure": 1}' if turn > 5 else "{}"
            hall.fill(archive.journal, turn * 10 + 11, turn * 10 + 20, plan=plan)
            hall.fill(archive.journal, turn * 10 + 11, turn * 10 + 20, point="compressor-2")
            hall.seal_all(archive)
    assert verify_archive(root).faults == ()
    return root


def files(root: Path) -> list[Path]:
    """The sealed files, by path."""
    found = sorted((root / "rows").rglob("*.parquet"))
    assert len(found) == FILES
    return found


def flipped(data: bytes, bit: int) -> bytes:
    """`data` with one bit the other way round."""
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


def found_in_ledger(data: bytes, tail: ledger.Tail) -> bool:
    """Whether a ledger's bytes show a fault, by themselves or against the tail."""
    reading = ledger.read(data)
    return bool(reading.faults or ledger.against_tail(reading, tail))


def test_every_single_bit_of_a_ledger_is_guarded(whole: Path) -> None:
    """All bits of three lines that tell of files, one after the other, line feeds included."""
    lines = (whole / "ledger.jsonl").read_bytes().splitlines(keepends=True)
    short = b"".join(lines[:3])
    third = ledger.read(short).tail
    assert not found_in_ledger(short, third)
    missed = [bit for bit in range(len(short) * 8) if not found_in_ledger(flipped(short, bit), third)]
    assert (missed, len(short) > 1_000) == ([], True)


def test_every_single_bit_of_the_tail_is_guarded(whole: Path, tmp_path: Path) -> None:
    """A tail with another number, hash or a stray character is told, whichever bit it was."""
    reading = ledger.read((whole / "ledger.jsonl").read_bytes())
    data = (whole / "journal/tail.json").read_bytes()
    path = tmp_path / "tail.json"
    for bit in range(len(data) * 8):
        path.write_bytes(flipped(data, bit))
        try:
            tail = ledger.read_tail(path)
        except ArchiveDamaged:
            continue
        assert tail is not None
        assert ledger.against_tail(reading, tail), bit


@pytest.mark.long
def test_every_single_bit_of_a_ledger_is_named_by_verify(hall: ModuleType, root: Path) -> None:
    """The same through the whole of `verify`, on an archive of two files: the fault is the ledger's."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 20)
        hall.seal_all(archive)
    path = root / "ledger.jsonl"
    data = path.read_bytes()
    for bit in range(len(data) * 8):
        path.write_bytes(flipped(data, bit))
        found = verify_archive(root, Depth.QUICK)
        assert "ledger.jsonl" in {fault.file for fault in found.faults}, bit


def test_ten_thousand_flipped_bits_of_sealed_files_are_found_and_named(whole: Path, tmp_path: Path) -> None:
    """One bit in each of twenty files at a time, at random places: every file is named, each once."""
    root = shutil.copytree(whole, tmp_path / "copy")
    places = random.Random(4)
    held = {path: path.read_bytes() for path in files(root)}
    names = sorted(path.relative_to(root).as_posix() for path in held)
    for turn in range(FLIPS // FILES):
        for path, data in held.items():
            path.write_bytes(flipped(data, places.randrange(len(data) * 8)))
        found = verify_archive(root)
        assert sorted(fault.file for fault in found.faults) == names, turn
        assert {fault.fault for fault in found.faults} == {"has other bytes than were written"}


def test_whichever_file_is_missing_is_named(whole: Path, tmp_path: Path) -> None:
    """Each in turn, and nothing beside it; in both depths."""
    root = shutil.copytree(whole, tmp_path / "copy")
    for path in files(root):
        data = path.read_bytes()
        path.unlink()
        for depth in Depth:
            told = [(fault.file, fault.fault) for fault in verify_archive(root, depth).faults]
            assert told == [(path.relative_to(root).as_posix(), "is missing")]
        path.write_bytes(data)


def test_whichever_file_is_cut_is_named(whole: Path, tmp_path: Path) -> None:
    """All twenty cut at some place at once, in both depths; each says how many bytes there are and were."""
    root = shutil.copytree(whole, tmp_path / "copy")
    held = {path: path.read_bytes() for path in files(root)}
    for part in (0, 1, 4, 0.5, -8, -1):
        for path, data in held.items():
            path.write_bytes(data[: int(part * len(data)) if isinstance(part, float) else part])
        for depth in Depth:
            told = {fault.file: fault.fault for fault in verify_archive(root, depth).faults}
            assert told == {
                path.relative_to(
                    root
                ).as_posix(): f"has {path.stat().st_size} bytes, {len(data)} were written"
                for path, data in held.items()
            }


def test_whichever_two_files_are_exchanged_are_named(whole: Path, tmp_path: Path) -> None:
    """Every pair: bytes that are whole, under the name of others that are whole."""
    root = shutil.copytree(whole, tmp_path / "copy")
    for one, other in itertools.combinations(files(root), 2):
        swap(one, other)
        told = {fault.file for fault in verify_archive(root).faults}
        assert told == {path.relative_to(root).as_posix() for path in (one, other)}
        swap(one, other)


def swap(one: Path, other: Path) -> None:
    """Each gets the other's bytes."""
    data = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(data)


def beside(path: Path) -> Path:
    """A name as the recorder gives them, in the same folder."""
    return path.with_name("0000009001-0000009010.parquet")


def other_point(path: Path) -> Path:
    """The same name under a point that was never recorded."""
    return Path(str(path).replace("point=compressor-2", "point=somebody-else"))


@pytest.mark.parametrize("place", [beside, other_point])
def test_an_added_file_is_named(whole: Path, tmp_path: Path, place: Callable[[Path], Path]) -> None:
    """A whole sealed file, copied to where it was not written: plain readers would count its rows."""
    root = shutil.copytree(whole, tmp_path / "copy")
    path = next(path for path in files(root) if "compressor-2" in str(path))
    target = place(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy(path, target)
    for depth in Depth:
        told = [(fault.file, fault.fault) for fault in verify_archive(root, depth).faults]
        assert told == [(target.relative_to(root).as_posix(), "is below rows/ but is unknown to the ledger")]


def test_numbers_that_no_file_holds_are_told(hall: ModuleType, root: Path) -> None:
    """Rows that were given numbers and never reached the disk: no fault of the archive, but never silent."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 20)
        plan = archive.journal.add_plan("{}")
        archive.journal.append(replace(hall.row(plan, n), sequence=n) for n in range(24, 31))
        hall.seal_all(archive)
    found = verify_archive(root)
    assert found.faults == ()
    (note,) = found.notes
    start = "bottling-hall-header, live: 3 of the numbers 1 to 30 are in no file; "
    assert note == start + "no line of the ledger says why 3 of them are"
    with Archive.open(root) as archive:
        told = {"point": hall.POINT, "source": "live", "first_sequence": 21, "last_sequence": 23}
        archive.ledger.append(ledger.Kind.LOST, told)
    assert verify_archive(root).notes == (start + "the ledger says why",)
