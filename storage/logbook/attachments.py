"""`attachments/`: files that belong to a note, each under the SHA-256 of its bytes."""

import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from storage.durable import Disk, told
from storage.errors import StorageError
from storage.ledger import Line

ATTACHMENTS = "attachments"
#: A photograph or a short film; larger things are kept elsewhere and named in the note's text.
MOST_BYTES = 256 << 20
_SUFFIX = re.compile(r"\.[A-Za-z0-9]{1,8}")
_FILE = re.compile(rf"{ATTACHMENTS}/[0-9a-f]{{64}}(\.[a-z0-9]{{1,8}})?")


@dataclass(frozen=True)
class Attachment:
    """As a ledger line tells it under `attached`."""

    file: str  # relative to the archive, with /
    name: str  # as it was called
    bytes: int
    sha256: str

    def as_told(self) -> dict[str, Any]:
        """The entry `attached`."""
        return asdict(self)


def attach(root: Path, source: Path) -> Attachment:
    """Keep a copy of a file; when this returns it survives a power cut. The same bytes are kept once.

    Raises StorageError for a file that is absent, no file, or over 256 MiB; DiskFull.
    """
    try:
        with told(source):
            size = source.stat().st_size
            if not source.is_file() or size > MOST_BYTES:
                why = f"is larger than {MOST_BYTES >> 20} MiB" if source.is_file() else "is no file"
                raise StorageError(source, f"{source} {why}: it cannot be attached.")
            data = source.read_bytes()
    except FileNotFoundError as error:
        raise StorageError(source, f"{source} is not there: it cannot be attached.") from error
    sha256 = hashlib.sha256(data).hexdigest()
    suffix = source.suffix.lower() if _SUFFIX.fullmatch(source.suffix) else ""
    kept = Attachment(f"{ATTACHMENTS}/{sha256}{suffix}", source.name, len(data), sha256)
    folder = root / ATTACHMENTS
    disk = Disk(folder)
    disk.make_folder(folder)
    if not (root / kept.file).exists():
        disk.write_file(root / kept.file, data, "attachment")
    return kept


def attachments(lines: Iterable[Line]) -> Iterator[Attachment]:
    """What the ledger's lines say is attached; entries that say it wrongly are left out."""
    for line in lines:
        told_ = line.content.get("attached")
        if not isinstance(told_, dict) or told_.keys() != {"file", "name", "bytes", "sha256"}:
            continue
        texts = all(isinstance(told_[name], str) for name in ("file", "name", "sha256"))
        if texts and type(told_["bytes"]) is int and _FILE.fullmatch(told_["file"]):
            yield Attachment(**told_)
