"""Which files hold, as the ledger tells it.

A line of kind sealed, merged or redecoded adds its `file`, or several by its list `files`; its `replaces`, a
list of names, takes those away at the same instant. Nothing else decides: a file that the ledger does not
know is not part of the archive.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

from storage.archive.layout import is_file_name
from storage.ledger import Kind, Line, iso

if TYPE_CHECKING:
    import pyarrow as pa

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

    def may_hold(self, since: int | None, until: int | None) -> bool:
        """Whether its rows' moments may meet a span [ms since 1970 UTC], `until` excluded; None is open."""
        if self.first is None or self.last is None:
            return since is None and until is None
        return (since is None or self.last >= iso(since)) and (until is None or self.first < iso(until))

    def as_listed(self) -> dict[str, Any]:
        """As `archive list` shows it."""
        listed = ("file", "point", "source", "rows", "first", "last", "sha256")
        return {name: getattr(self, name) for name in listed}

    def as_told(self) -> dict[str, Any]:
        """As the ledger's line tells it."""
        return asdict(self)


_NAMES = tuple(field.name for field in fields(SealedFile))
_NUMBERS = ("rows", "bytes", "first_sequence", "last_sequence")


def added(line: Line) -> list[Mapping[str, Any]]:
    """What a line says of each file it adds, as it stands there; empty for a line of another kind."""
    if line.kind not in _ADDING:
        return []
    several = line.content.get("files", [line.content])
    return (
        [entry if isinstance(entry, dict) else {} for entry in several] if isinstance(several, list) else [{}]
    )


def sealed_file(entry: Mapping[str, Any]) -> SealedFile | None:
    """The file that an entry tells of; None where it does not tell what it must."""
    if any(name not in entry for name in _NAMES):
        return None
    numbers = all(type(entry[name]) is int for name in _NUMBERS)
    texts = all(isinstance(entry[name], str) for name in ("file", "point", "source", "sha256", "schema"))
    moments = all(entry[name] is None or isinstance(entry[name], str) for name in ("first", "last"))
    if not (numbers and texts and moments and is_file_name(entry["file"])):
        return None
    return SealedFile(**{name: entry[name] for name in _NAMES})


def replaced(line: Line) -> list[str]:
    """The names of the files that a line takes away."""
    names = line.content.get("replaces", ())
    return [name for name in names if isinstance(name, str)] if isinstance(names, list) else []


@dataclass(frozen=True)
class Replacement:
    """Rows that take the place of those in `files`: neighbours by sequence, of one point, source and date.

    `before` are the rows of `files` as `Archive.read` gives them, one table behind the other; `table` and
    `metadata` become the new file.
    """

    files: tuple[SealedFile, ...]
    before: "pa.Table"
    table: "pa.Table"
    metadata: Mapping[str, str]


@dataclass(frozen=True)
class Inventory:
    """What a ledger's lines add up to."""

    live: dict[str, SealedFile]  # by file, in order of the ledger
    superseded: dict[str, SealedFile]  # by file as it was when live
    columns: dict[tuple[str, str], dict[str, dict[str, str]]]  # point, source → schema digest → name → type
    faults: list[str]  # lines that cannot be followed, as sentences about the ledger
    came: dict[str, Line]  # file, live or superseded → the line that added it
    went: dict[str, Line]  # file, superseded → the line that replaced it

    def files(self) -> list[SealedFile]:
        """The live files, by point, source and sequence."""
        return sorted(self.live.values(), key=lambda file: (file.point, file.source, file.first_sequence))

    def of(self, point: str, source: str) -> list[SealedFile]:
        """The live files of one point and source, by sequence."""
        ours = (file for file in self.live.values() if (file.point, file.source) == (point, source))
        return sorted(ours, key=lambda file: file.first_sequence)

    def kept_columns(self, point: str, source: str) -> list[dict[str, str]]:
        """Name → type, once for each set of columns that a live file of the point and source has."""
        told = self.columns.get((point, source), {})
        return [
            told[schema]
            for schema in {file.schema: None for file in self.of(point, source)}
            if schema in told
        ]

    def last_sequences(self) -> dict[tuple[str, str], int]:
        """The highest sequence ever sealed, per point and source."""
        highest: dict[tuple[str, str], int] = {}
        for file in (*self.superseded.values(), *self.live.values()):
            key = (file.point, file.source)
            highest[key] = max(highest.get(key, 0), file.last_sequence)
        return highest

    def compact(self) -> "Inventory":
        """The same without what is of no further use to a writer: replaced files, and lines."""
        return Inventory(self.live, {}, self.columns, [], {}, {})

    def copy(self) -> "Inventory":
        """One that can be changed without changing this one."""
        columns = {stream: dict(told) for stream, told in self.columns.items()}
        return Inventory(
            dict(self.live),
            dict(self.superseded),
            columns,
            list(self.faults),
            dict(self.came),
            dict(self.went),
        )


def inventory(lines: Iterable[Line]) -> Inventory:
    """Follow the ledger from its first line."""
    found = Inventory({}, {}, {}, [], {}, {})
    for line in lines:
        follow(line, found)
    return found


def follow(line: Line, found: Inventory) -> None:
    """Take one further line into account."""
    entries = added(line)
    files = [sealed_file(entry) for entry in entries]
    if not files or None in files:
        if entries:
            found.faults.append(f"line {line.n} adds a file and does not say which")
        return
    for name in replaced(line):
        if name in found.live:
            found.superseded[name] = found.live.pop(name)
            found.went[name] = line
    for entry, file in zip(entries, files, strict=True):
        assert file is not None
        if file.file in found.came:
            found.faults.append(f"line {line.n} adds {file.file}, which was added before")
        found.live[file.file] = file
        found.came[file.file] = line
        if isinstance(told := entry.get("columns"), dict):
            found.columns.setdefault((file.point, file.source), {})[file.schema] = told
