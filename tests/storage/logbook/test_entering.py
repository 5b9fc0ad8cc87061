"""Notes reach the ledger once each, whether a recorder runs, does not, or dies in between."""

import json
import threading
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from storage.archive import Archive
from storage.durable import Disk
from storage.errors import ArchiveAbsent, StorageError
from storage.ledger import Kind, read_file
from storage.logbook.attachments import attach
from storage.logbook.entering import enter
from storage.logbook.inbox import INBOX, Inbox
from storage.verify import Depth, verify_archive

NOTE = {"point": "bottling-hall-header", "text": "probe cleaned", "at": "2026-05-03T08:00:00.000Z"}


@pytest.fixture
def kept(hall: ModuleType, root: Path) -> Path:
    """An archive with ten sealed rows, at rest."""
    with Archive.open(root) as archive:
        hall.fill(archive.journal, 1, 10)
        hall.seal_all(archive)
    return root


def told(root: Path, kind: str = "note") -> list[str]:
    return [line.content["text"] for line in read_file(root / "ledger.jsonl").lines if line.kind == kind]


def test_an_archive_at_rest_takes_a_note_at_once(kept: Path) -> None:
    entered = enter(kept, Kind.NOTE, NOTE)
    assert entered.line is not None
    assert {key: entered.line.content[key] for key in NOTE} == NOTE
    assert list((kept / INBOX).iterdir()) == []
    assert verify_archive(kept).faults == verify_archive(kept).notes == ()


def test_a_running_recorder_takes_notes_in(kept: Path) -> None:
    """Four people at once beside a recorder that looks now and then: each note is one line."""
    texts = [f"note {number}" for number in range(4)]
    done = []
    with Archive.open(kept) as recorder:
        people = [
            threading.Thread(target=lambda t=text: done.append(enter(kept, Kind.NOTE, {**NOTE, "text": t})))
            for text in texts
        ]
        for person in people:
            person.start()
        while any(person.is_alive() for person in people):
            recorder.take_in()
    assert sorted(told(kept)) == texts
    assert all(entered.line is not None for entered in done)


def test_a_recorder_that_does_not_look_loses_nothing(kept: Path) -> None:
    """The writer of the note is told that it waits; the next opening takes it in."""
    with Archive.open(kept):
        assert enter(kept, Kind.NOTE, NOTE, patience=0, sleep=lambda _: None).line is None
        assert told(kept) == []
    Archive.open(kept).close()
    assert told(kept) == ["probe cleaned"]


def test_a_crash_between_line_and_removal_makes_no_second_line(kept: Path) -> None:
    """The entry is still there, and its id is in the ledger."""

    class CrashError(Exception):
        pass

    def die(after: str) -> Callable[[str], None]:
        def step(name: str) -> None:
            if name == after:
                raise CrashError

        return step

    for after in ("ledger line: flushed", "ledger tail: flushed", "entry: removed"):
        Inbox(kept).leave(Kind.NOTE, {**NOTE, "text": after})
        with pytest.raises(CrashError):
            Archive.open(kept, step=die(after))
        Archive.open(kept).close()
    assert told(kept) == ["ledger line: flushed", "ledger tail: flushed", "entry: removed"]
    assert verify_archive(kept).faults == ()


@pytest.mark.parametrize(
    "rubbish",
    [
        b"", b"{", b"[]", b'{"id":"1"}', b'{"id":"1","kind":"sealed"}', b'{"kind":"note","text":"no id"}',
        b'{"id":"1","kind":"note","n":7}', b'{"id":"1","kind":"note","text":NaN}',
    ],
)  # fmt: skip
def test_what_is_no_entry_is_put_aside_and_stops_nothing(kept: Path, rubbish: bytes) -> None:
    """Nobody can write lines of the recorder's own kinds, or a number or hash of their choice."""
    (kept / INBOX).mkdir()
    (kept / INBOX / "0-rubbish.json").write_bytes(rubbish)
    enter(kept, Kind.NOTE, NOTE)
    assert told(kept) == ["probe cleaned"]
    assert [path.name for path in (kept / INBOX).iterdir()] == ["0-rubbish.refused"]


def test_only_notes_marks_and_corrections_come_from_outside(kept: Path) -> None:
    with pytest.raises(ValueError, match="sealed"):
        Inbox(kept).leave(Kind.SEALED, NOTE)
    with pytest.raises(ArchiveAbsent, match="holds no archive"):
        enter(kept / "elsewhere", Kind.NOTE, NOTE)
    assert not (kept / "elsewhere").exists()


def test_an_attachment_is_kept_under_its_hash_and_verified(kept: Path, tmp_path: Path) -> None:
    """SHA-256 of `abc` as in FIPS 180-2, B.1."""
    photo = tmp_path / "pipe no. 4.JPG"
    photo.write_bytes(b"abc")
    attached = attach(kept, photo)
    assert attached.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (attached.file, attached.name) == (f"attachments/{attached.sha256}.jpg", "pipe no. 4.JPG")
    assert attach(kept, photo) == attached
    (note,) = verify_archive(kept).notes
    assert note == f"{attached.file} is attached to no note"
    enter(kept, Kind.NOTE, {**NOTE, "attached": attached.as_told()})
    assert verify_archive(kept).notes == verify_archive(kept).faults == ()
    (kept / attached.file).write_bytes(b"abd")
    assert [f.file for f in verify_archive(kept).faults] == [attached.file]
    (kept / attached.file).unlink()
    assert [f.fault for f in verify_archive(kept, Depth.QUICK).faults] == [
        "is missing; a note in the ledger has it attached"
    ]


def test_what_cannot_be_attached_is_said(kept: Path, tmp_path: Path) -> None:
    for path, why in ((tmp_path / "absent.jpg", "is not there"), (tmp_path, "is no file")):
        with pytest.raises(StorageError, match=why):
            attach(kept, path)


def test_an_entry_half_written_is_no_entry(kept: Path) -> None:
    """A program that died while it left a note: the part stays, harmless."""
    (kept / INBOX).mkdir()
    Disk(kept / INBOX).write_aside("1-half.json", json.dumps(NOTE).encode()[:9], "entry")
    Archive.open(kept).close()
    assert told(kept) == []
