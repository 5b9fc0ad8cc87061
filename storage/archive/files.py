"""Which files hold, as the ledger tells it.

A line of kind sealed, merged or redecoded that has a `file` adds it; its `replaces`, a list of files,
takes those away. Nothing else decides: a file that the ledger does not know is not part of the archive.
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Any

from storage.archive.layout import is_file_name
from storage.ledger import Kind, Line

_ADDING = frozenset({Kind.SEALED, Kind.MERGED, Kind.REDECODED})


@dataclass(frozen=True)
class SealedFile:
    """A sealed file as the ledger tells it."""

    file: str  # relative to the archive, with /
    point: str
    source: str
    rows: int
    bytes: int
    sha256: str  # of the file, 64 hexadecimal digits
    schema: str  # digest of its columns' names and types
    first_sequence: int
    last_sequence: int
    first: str | None  # earliest due (memory: time), ISO 8601 UTC; None where no row has one
    last: str | None  # latest

    def as_listed(self) -> dict[str, Any]:
        """As `archive list` shows it."""
        listed = ("file", "point", "source", "rows", "first", "last", "sha256")
        return {name: getattr(self, name) for name in listed}

    def as_told(self) -> dict[str, Any]:
        """As the ledger's line tells it."""
        return asdict(self)


_NAMES = tuple(field.name for field in fields(SealedFile))
_NUMBERS = ("rows", "bytes", "first_sequence", "last_sequence")


def sealed_file(line: Line) -> SealedFile | None:
    """The file that a line adds; None where it adds none, or not as it must."""
    content = line.content
    if line.kind not in _ADDING or any(name not in content for name in _NAMES):
        return None
    numbers = all(type(content[name]) is int for name in _NUMBERS)
    texts = all(isinstance(content[name], str) for name in ("file", "point", "source", "sha256", "schema"))
    moments = all(content[name] is None or isinstance(content[name], str) for name in ("first", "last"))
    if not (numbers and texts and moments and is_file_name(content["file"])):
        return None
    return SealedFile(**{name: content[name] for name in _NAMES})


@dataclass(frozen=True)
class Inventory:
    """What a ledger's lines add up to."""

    live: dict[str, SealedFile]  # by file, in order of the ledger
    superseded: dict[str, SealedFile]  # by file as it was when live
    columns: dict[tuple[str, str], dict[str, dict[str, str]]]  # point, source → schema digest → name → type
    faults: list[str]  # lines that cannot be followed, as sentences about the ledger

    def of(self, point: str, source: str) -> list[SealedFile]:
        """The live files of one point and source, by sequence."""
        ours = (file for file in self.live.values() if (file.point, file.source) == (point, source))
        return sorted(ours, key=lambda file: file.first_sequence)

    def last_sequences(self) -> dict[tuple[str, str], int]:
        """The highest sequence ever sealed, per point and source."""
        highest: dict[tuple[str, str], int] = {}
        for file in (*self.superseded.values(), *self.live.values()):
            key = (file.point, file.source)
            highest[key] = max(highest.get(key, 0), file.last_sequence)
        return highest


def inventory(lines: Iterable[Line]) -> Inventory:
    """Follow the ledger from its first line."""
    live: dict[str, SealedFile] = {}
    superseded: dict[str, SealedFile] = {}
    columns: dict[tuple[str, str], dict[str, dict[str, str]]] = {}
    faults: list[str] = []
    for line in lines:
        file = sealed_file(line)
        if file is None:
            if line.kind in _ADDING:
                faults.append(f"line {line.n} adds a file and does not say which")
            continue
        if file.file in live or file.file in superseded:
            faults.append(f"line {line.n} adds {file.file}, which was added before")
        replaced = line.content.get("replaces", ())
        for name in replaced if isinstance(replaced, list) else ():
            if name in live:
                superseded[name] = live.pop(name)
        live[file.file] = file
        if isinstance(told := line.content.get("columns"), dict):
            columns.setdefault((file.point, file.source), {})[file.schema] = told
    return Inventory(live, superseded, columns, faults)
