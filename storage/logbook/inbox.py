"""`journal/inbox/`: entries for the ledger, left by others than the archive's one writer.

An entry is a file of its own, written aside, flushed and renamed, so that the writer finds it whole or not
at all. Its `id` goes into the ledger's line: a crash between the line and the removal of the file makes no
second line.
"""

import json
import secrets
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from storage.durable import Disk, told
from storage.ledger import Kind, Ledger, Line, canonical

INBOX = "journal/inbox"
#: What others may enter; everything else only the recorder knows.
KINDS = frozenset({Kind.NOTE, Kind.MARK, Kind.POINT, Kind.SETTING})


class Inbox:
    """The inbox of the archive in `root`. Anyone may `leave`, only the archive's writer may `take_in`."""

    def __init__(self, root: Path) -> None:
        self.folder = root / INBOX

    def leave(self, kind: Kind, content: Mapping[str, Any]) -> str:
        """Leave an entry; when this returns it survives a power cut. Returns its id, 32 hexadecimal digits.

        ValueError for a kind that is not for others to enter.
        """
        if kind not in KINDS:
            raise ValueError(f"{kind} is not entered from outside")
        identity = secrets.token_hex(16)
        disk = Disk(self.folder)
        disk.make_folder(self.folder)
        data = canonical({**content, "kind": str(kind), "id": identity}) + b"\n"
        disk.write_file(self._path(identity), data, "entry")
        return identity

    def waits(self, identity: str) -> bool:
        """Whether an entry has not been taken in yet."""
        return any(path.name.endswith(f"-{identity}.json") for path in self._entries())

    def take_in(self, ledger: Ledger, known: set[str], disk: Disk) -> list[Line]:
        """Write every entry into the ledger, oldest first, and remove it; `known` are ids that are there.

        An entry that is none is renamed to end in `.refused`. Raises DiskFull; the rest waits then.
        """
        lines = []
        for path in self._entries():
            entry = _read(path)
            if entry is None:
                disk.place(path, path.with_suffix(".refused"), "refused entry")
                continue
            kind, content = entry
            if content["id"] not in known:
                lines.append(ledger.append(kind, content))
                known.add(content["id"])
            disk.remove(path, "entry")
        return lines

    def _path(self, identity: str) -> Path:
        return self.folder / f"{time.time_ns() // 1_000_000:013d}-{identity}.json"

    def _entries(self) -> list[Path]:
        try:
            with told(self.folder):
                return sorted(path for path in self.folder.iterdir() if path.suffix == ".json")
        except FileNotFoundError:
            return []


def entry_id(line: Line) -> str | None:
    """The id of the entry that a line was; None where it was none."""
    identity = line.content.get("id")
    return identity if isinstance(identity, str) else None


def _read(path: Path) -> tuple[Kind, dict[str, Any]] | None:
    """Kind and content of an entry; None where the file is none."""
    try:
        with told(path):
            content = json.loads(path.read_bytes())
        kind = Kind(content.pop("kind"))
        canonical(content)
    except (ValueError, KeyError, AttributeError, TypeError, RecursionError):
        return None
    if kind not in KINDS or not isinstance(content.get("id"), str):
        return None
    return None if content.keys() & {"n", "time", "previous", "hash"} else (kind, content)
