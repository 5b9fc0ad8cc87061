"""Which files hold, as the ledger tells it.

A line of kind sealed, merged or redecoded adds its `file`, or several by its list `files`; its `replaces`, a
list of names, takes those away at the same instant. Nothing else decides: a file that the ledger does not
know is not part of the archive.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from storage.archive.layout import is_file_name
from storage.ledger import Kind, Line, iso

if TYPE_CHECKING:
    import pyarrow as pa

#: Kinds of lines that add files: most of a long ledger.
ADDING = frozenset({Kind.SEALED, Kind.MERGED, Kind.REDECODED})


class SealedFile(NamedTuple):
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
        return self._asdict()


_NUMBERS = ("rows", "bytes", "first_sequence", "last_sequence")


def added(line: Line) -> list[Mapping[str, Any]]:
    """What a line says of each file it adds, as it stands there; empty for a line of another kind."""
    if line.kind not in ADDING:
        return []
    several = line.content.get("files", [line.content])
    return (
        [entry if isinstance(entry, dict) else {} for entry in several] if isinstance(several, list) else [{}]
    )


def sealed_file(entry: Mapping[str, Any]) -> SealedFile | None:
    """The file that an entry tells of; None where it does not tell what it must."""
    try:
        file = SealedFile._make(map(entry.__getitem__, SealedFile._fields))
    except KeyError:
        return None
    numbers = all(type(entry[name]) is int for name in _NUMBERS)
    texts = all(isinstance(entry[name], str) for name in ("file", "point", "source", "sha256", "schema"))
    moments = all(entry[name] is None or isinstance(entry[name], str) for name in ("first", "last"))
    return file if numbers and texts and moments and is_file_name(file.file) else None


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


class Came(NamedTuple):
    """How a file came to be there: what its line of the ledger tells."""

    n: int
    time: str  # ISO 8601, UTC
    kind: str
    map_sha256: str | None  # of a redecoded one


class Past(Protocol):
    """What a question wants to keep of files that are no longer live: after years they are many."""

    def knows(self, name: str) -> bool:
        """Whether a file of this name is kept here."""

    def come(self, file: SealedFile, came: Came) -> None:
        """A file was added."""

    def go(self, file: SealedFile, line: Line) -> None:
        """A live file was replaced."""


@dataclass(frozen=True)
class History:
    """A past that keeps all: what became of each file. Takes 1.6 KB a replaced file."""

    superseded: dict[str, SealedFile] = field(default_factory=dict)  # by file as it was when live
    came: dict[str, Came] = field(default_factory=dict)  # by file, live or superseded
    went: dict[str, Line] = field(default_factory=dict)  # file, superseded → the line that replaced it

    def knows(self, name: str) -> bool:
        """Whether it was ever added."""
        return name in self.came

    def come(self, file: SealedFile, came: Came) -> None:
        """Keep what it came as."""
        self.came[file.file] = came

    def go(self, file: SealedFile, line: Line) -> None:
        """Keep it, and what replaced it."""
        self.superseded[file.file], self.went[file.file] = file, line


@dataclass(frozen=True)
class Proofs:
    """A past that keeps of a replaced file what proves its bytes, see `proof`; 0.3 KB each."""

    kept: dict[str, bytes] = field(default_factory=dict)  # by file as it was when live

    def knows(self, name: str) -> bool:
        """Whether it was replaced."""
        return name in self.kept

    def come(self, file: SealedFile, came: Came) -> None:
        """Nothing: it is live, which the inventory knows."""

    def go(self, file: SealedFile, line: Line) -> None:  # noqa: ARG002  (which one does not matter)
        """Keep its proof."""
        self.kept[file.file] = f"{file.bytes} {file.sha256}".encode()


def proof(kept: bytes) -> tuple[int, str]:
    """What `Proofs` keeps of a file: its size in bytes, and its SHA-256."""
    size, sha256 = kept.decode().split()
    return int(size), sha256


@dataclass(frozen=True)
class Inventory:
    """What a ledger's lines add up to."""

    live: dict[str, SealedFile] = field(default_factory=dict)  # by file, in order of the ledger
    # point, source → schema digest → name → type
    columns: dict[tuple[str, str], dict[str, dict[str, str]]] = field(default_factory=dict)
    last_sequences: dict[tuple[str, str], int] = field(default_factory=dict)  # the highest sealed, or lost
    faults: list[str] = field(default_factory=list)  # lines that cannot be followed, as sentences
    history: Past | None = None

    def files(self) -> list[SealedFile]:
        """The live files, by point, source and sequence."""
        return sorted(self.live.values(), key=lambda file: (file.point, file.source, file.first_sequence))

    def streams(self) -> dict[tuple[str, str], list[SealedFile]]:
        """The live files of each point and source, by sequence."""
        found: dict[tuple[str, str], list[SealedFile]] = {}
        for file in self.files():
            found.setdefault((file.point, file.source), []).append(file)
        return found

    def of(self, point: str, source: str) -> list[SealedFile]:
        """The live files of one point and source, by sequence."""
        ours = (file for file in self.live.values() if (file.point, file.source) == (point, source))
        return sorted(ours, key=lambda file: file.first_sequence)

    def columns_of(self, files: Iterable[SealedFile]) -> list[dict[str, str]]:
        """Name → type, once for each set of columns that one of these files has, all of one stream."""
        schemas = {(file.point, file.source, file.schema): None for file in files}
        told = ((self.columns.get((point, source), {}), schema) for point, source, schema in schemas)
        return [columns[schema] for columns, schema in told if schema in columns]

    def copy(self) -> "Inventory":
        """One without a history that can be changed without changing this one."""
        columns = {stream: dict(told) for stream, told in self.columns.items()}
        return Inventory(dict(self.live), columns, dict(self.last_sequences), list(self.faults))


def inventory(lines: Iterable[Line], history: Past | None = None) -> Inventory:
    """Follow the ledger from its first line; into a `history` goes what is of no use but to tell of it."""
    found = Inventory(history=history)
    for line in lines:
        follow(line, found)
    return found


def follow(line: Line, found: Inventory) -> bool:
    """Take one further line into account; False for one of another kind, which tells of no files."""
    entries = added(line)
    if not entries:
        _heed_loss(line, found)
        return False
    files = [sealed_file(entry) for entry in entries]
    if None in files:
        found.faults.append(f"line {line.n} adds a file and does not say which")
        return True
    history, came = found.history, Came(line.n, line.time, line.kind, line.content.get("map_sha256"))
    for name in replaced(line):
        old = found.live.pop(name, None)
        if old is not None and history is not None:
            history.go(old, line)
    for entry, file in zip(entries, files, strict=True):
        assert file is not None
        if history is not None:
            if file.file in found.live or history.knows(file.file):
                found.faults.append(f"line {line.n} adds {file.file}, which was added before")
            history.come(file, came)
        found.live[file.file] = file
        stream = (file.point, file.source)
        found.last_sequences[stream] = max(found.last_sequences.get(stream, 0), file.last_sequence)
        if isinstance(told := entry.get("columns"), dict):
            found.columns.setdefault(stream, {})[file.schema] = told
    return True


def _heed_loss(line: Line, found: Inventory) -> None:
    """Numbers of rows that were lost are not given again: the hole they leave is what the line tells of."""
    told = line.content
    point, source, last = (told.get(name) for name in ("point", "source", "last_sequence"))
    if line.kind == Kind.LOST and isinstance(point, str) and isinstance(source, str) and type(last) is int:
        found.last_sequences[point, source] = max(found.last_sequences.get((point, source), 0), last)
