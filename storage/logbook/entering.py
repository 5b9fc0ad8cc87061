"""Have something written into the ledger, by whoever is its writer now."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from storage.archive import Archive, is_archive
from storage.errors import ArchiveAbsent, ArchiveHeld
from storage.ledger import LEDGER, Kind, Line, lines_of
from storage.logbook.inbox import Inbox

#: Seconds that a recorder has to take an entry in; it looks ten times a second.
PATIENCE_S = 10.0
_PAUSE_S = 0.05


@dataclass(frozen=True)
class Entered:
    """`line` is the ledger's, or None where the entry still waits: the next writer takes it in."""

    id: str
    line: Line | None


def enter(
    root: Path,
    kind: Kind,
    content: Mapping[str, Any],
    *,
    patience: float = PATIENCE_S,
    sleep: Callable[[float], None] = time.sleep,
) -> Entered:
    """Leave an entry and see it into the ledger: by the recorder that runs, or by opening the archive.

    Nothing is lost where that fails: an entry that was left is taken in by the next writer.
    `patience`: seconds that a recorder is given to take it in. ArchiveAbsent where there is no archive.
    """
    if not is_archive(root):
        raise ArchiveAbsent(root, f"{root} holds no archive; is the path right?")
    inbox = Inbox(root)
    identity = inbox.leave(kind, content)
    deadline = time.monotonic() + patience
    while inbox.waits(identity):
        try:
            Archive.open(root).close()  # opening takes in what is there
        except ArchiveHeld:
            if time.monotonic() > deadline:
                return Entered(identity, None)
            sleep(_PAUSE_S)
    entries = lines_of(root / LEDGER, kind)
    return Entered(identity, next((line for line in entries if line.content.get("id") == identity), None))
