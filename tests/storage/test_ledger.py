"""The ledger: what it looks like, what a crash does to it, and what is found when someone changes it."""

import hashlib
import json
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from storage import ledger
from storage.archive import Archive
from storage.durable import Disk
from storage.errors import ArchiveDamaged, DiskFull
from storage.ledger import Kind, Ledger, Tail, Walk, against_tail, read, read_file


@pytest.fixture
def disk(tmp_path: Path) -> Disk:
    """A hand over an empty archive."""
    for name in ("journal", "temporary"):
        (tmp_path / name).mkdir()
    return Disk(tmp_path / "temporary")


def three_lines(root: Path, disk: Disk) -> bytes:
    """A ledger with a start, a note in German and a stop."""
    kept = Ledger(root, disk, utc=lambda: 1_777_766_400.25)
    kept.append(Kind.STARTED, {"points": ["bottling-hall-header"], "interval_s": 1})
    kept.append(Kind.NOTE, {"text": "Ventil geöffnet, 3 m³/h"})
    kept.append(Kind.STOPPED, {"cause": "asked to"})
    return (root / "ledger.jsonl").read_bytes()


def test_a_line_can_be_checked_with_nothing_but_text_tools(tmp_path: Path, disk: Disk) -> None:
    """The recipe of docs/format/ledger.md: cut `"hash":…` out of the bytes, hash the rest."""
    previous = "0" * 64
    lines = three_lines(tmp_path, disk).decode().splitlines()
    assert len(lines) == 3
    for number, line in enumerate(lines, 1):
        fields = json.loads(line)
        rest = line.replace(f'"hash":"{fields["hash"]}",', "")
        assert hashlib.sha256(rest.encode()).hexdigest() == fields["hash"]
        assert (fields["n"], fields["previous"]) == (number, previous)
        assert fields["time"] == "2026-05-03T00:00:00.250Z"
        previous = fields["hash"]
    assert "geöffnet, 3 m³/h" in lines[1]
    assert json.loads((tmp_path / "journal/tail.json").read_text()) == {"n": 3, "hash": previous}


def test_a_part_of_a_line_is_healed_without_losing_a_whole_one(tmp_path: Path, disk: Disk) -> None:
    """Every length at which a crash can leave the last line: whole lines stay, the part goes, it goes on."""
    whole = three_lines(tmp_path, disk)
    start = whole.rindex(b"\n", 0, -1) + 1
    before, last = whole[:start], whole[start:]
    path = tmp_path / "ledger.jsonl"
    tail = (tmp_path / "journal/tail.json").read_bytes()
    second = read(before).tail
    for length in range(len(last)):
        path.write_bytes(before + last[:length])
        (tmp_path / "journal/tail.json").write_bytes(
            ledger.canonical({"n": second.n, "hash": second.hash}) + b"\n"
        )
        opened = Ledger(tmp_path, disk)
        complete = length == len(last) - 1  # only the line's end is missing: the line is whole
        assert path.read_bytes() == (whole if complete else before)
        assert opened.append(Kind.NOTE, {"text": "on"}).n == (4 if complete else 3)
        assert read(path.read_bytes()).faults == ()
    (tmp_path / "journal/tail.json").write_bytes(tail)


def test_a_line_is_written_whole_or_not_at_all_on_a_full_disk(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The failed line leaves no trace, and the next one has its number."""
    before = three_lines(tmp_path, disk)
    kept = Ledger(tmp_path, disk)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("os.fsync", full)
        with pytest.raises(DiskFull):
            kept.append(Kind.NOTE, {"text": "lost"})
    assert (tmp_path / "ledger.jsonl").read_bytes() == before
    assert kept.append(Kind.NOTE, {"text": "kept"}).n == 4
    assert read((tmp_path / "ledger.jsonl").read_bytes()).faults == ()


def test_every_single_bit_of_a_ledger_matters(tmp_path: Path, disk: Disk) -> None:
    """Exhaustive over three lines: no flipped bit, the lines' ends included, is read as if nothing were."""
    whole = three_lines(tmp_path, disk)
    tail = read(whole).tail
    for bit in range(len(whole) * 8):
        changed = bytearray(whole)
        changed[bit // 8] ^= 1 << bit % 8
        reading = read(bytes(changed))
        assert reading.faults or against_tail(reading, tail), (bit // 8, whole[bit // 8 :][:20])


@pytest.mark.parametrize(
    ("name", "change", "told"),
    [
        ("last line cut", lambda lines: lines[:2], "the last 1 were cut off"),
        ("two lines cut", lambda lines: lines[:1], "the last 2 were cut off"),
        ("all cut", lambda lines: [], "the last 3 were cut off"),
        ("middle line missing", lambda lines: [lines[0], lines[2]], "line 2 has the number 3"),
        ("first missing", lambda lines: lines[1:], "line 1 has the number 2"),
        ("exchanged", lambda lines: [lines[1], lines[0], lines[2]], "line 1 has the number 2"),
        ("doubled", lambda lines: [lines[0], lines[1], lines[1], lines[2]], "line 3 has the number 2"),
    ],
)
def test_missing_and_moved_lines_are_named(tmp_path: Path, disk: Disk, name: str, change, told: str) -> None:
    """Whole lines with right hashes, but not the ones that were written."""
    whole = three_lines(tmp_path, disk)
    tail = read(whole).tail
    reading = read(b"".join(line + b"\n" for line in change(whole.splitlines())))
    assert told in " ".join([*reading.faults, against_tail(reading, tail) or ""]), name


def test_a_rewritten_line_with_a_fitting_hash_breaks_the_chain(tmp_path: Path, disk: Disk) -> None:
    """Whoever changes a line and its hash must change all that follow."""
    lines = three_lines(tmp_path, disk).splitlines()
    fields = json.loads(lines[1])
    fields["text"] = "Ventil geschlossen"
    del fields["hash"]
    fields["hash"] = hashlib.sha256(ledger.canonical(fields)).hexdigest()
    lines[1] = ledger.canonical(fields)
    reading = read(b"\n".join(lines) + b"\n")
    assert reading.faults == ("line 3 does not follow line 2: one of them was replaced",)


def test_recording_goes_on_behind_a_cut_and_the_cut_stays_visible(tmp_path: Path, disk: Disk) -> None:
    """The tail says where to go on: a cut ledger is not quietly closed over by later lines."""
    lines = three_lines(tmp_path, disk).splitlines(keepends=True)
    (tmp_path / "ledger.jsonl").write_bytes(lines[0])
    assert Ledger(tmp_path, disk).append(Kind.STARTED, {}).n == 4
    assert read((tmp_path / "ledger.jsonl").read_bytes()).faults != ()


def test_a_damaged_last_line_without_a_tail_is_not_guessed(tmp_path: Path, disk: Disk) -> None:
    """Neither the ledger nor the journal knows the last hash: say so, with what to do."""
    whole = three_lines(tmp_path, disk)
    (tmp_path / "ledger.jsonl").write_bytes(whole.replace(b"asked to", b"asked tp"))
    (tmp_path / "journal/tail.json").unlink()
    with pytest.raises(ArchiveDamaged, match=r"ledger\.jsonl: line 3 cannot be read .* put back the ledger"):
        Ledger(tmp_path, disk)


def test_lines_of_an_archive_continue_over_restarts(root: Path) -> None:
    """The chain does not begin anew with every start."""
    for number in (1, 2, 3):
        with Archive.open(root) as archive:
            assert archive.ledger.append(Kind.STARTED, {}).n == number
    assert read((root / "ledger.jsonl").read_bytes()).faults == ()


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_any_bytes_are_read_without_a_traceback(data: bytes) -> None:
    """Whatever stands in the file, reading ends in faults or nothing, and counts the lines' ends."""
    walk = Walk(lambda: BytesIO(data))
    reading = walk.reading(walk)
    assert reading.numbered == data.count(b"\n")
    assert walk.size + len(reading.torn) == len(data)
    assert len(reading.lines) + len(reading.faults) >= reading.numbered
    assert against_tail(reading, Tail(reading.numbered + 1, "0" * 64)) is not None


def spelled(fields: dict[str, Any], **how: Any) -> str:
    """JSON as the ledger spells it, or otherwise."""
    return json.dumps(fields, **{"sort_keys": True, "separators": (",", ":"), "ensure_ascii": False, **how})


@pytest.mark.parametrize(
    ("text", "how", "told"),
    [
        ("Wärme", {}, None),
        ("line\u2028end \x01", {}, None),
        ("Wärme", {"separators": (",", ": ")}, "is not written with sorted keys and no spaces"),
        ("Wärme", {"sort_keys": False}, "is not written with sorted keys and no spaces"),
        ("Wärme", {"ensure_ascii": True}, "is not written with sorted keys and no spaces"),
        (float("nan"), {}, "is no JSON"),
    ],
)
def test_a_line_has_one_spelling(text: object, how: dict[str, Any], told: str | None) -> None:
    """The hash fits the content each time."""
    fields = {"text": text, "n": 1, "time": "", "kind": "note", "previous": "0" * 64}
    fields = {"hash": hashlib.sha256(spelled(fields).encode()).hexdigest(), **fields}
    reading = read(spelled(fields, **how).encode() + b"\n")
    assert reading.faults == (() if told is None else (f"line 1 {told}",))
    assert [line.content["text"] for line in reading.lines] == ([] if told else [text])


def test_of_a_long_ledger_only_what_is_asked_for_is_held(tmp_path: Path, disk: Disk) -> None:
    """The chain is checked through all of it, and its end is told."""
    three_lines(tmp_path, disk)
    whole = read_file(tmp_path / "ledger.jsonl")
    asked = read_file(tmp_path / "ledger.jsonl", lambda line: line.n == 2)
    assert asked.lines == whole.lines[1:2]
    assert (asked.numbered, asked.tail) == (3, whole.tail)


def test_deep_nesting_is_a_fault_of_its_line() -> None:
    """10,000 brackets: more than the JSON reader descends."""
    assert read(b"[" * 10_000 + b"\n").faults == ("line 1 is no JSON",)


def test_own_keys_are_not_overwritten(tmp_path: Path, disk: Disk) -> None:
    """A caller cannot set a line's number or hash by accident."""
    with pytest.raises(ValueError, match=r"\['n'\] are the ledger's own keys"):
        Ledger(tmp_path, disk).append(Kind.NOTE, {"n": 7})
