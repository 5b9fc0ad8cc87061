"""Proof that an archive is as it was written, for anyone who has the folder; it changes nothing.

Full: every byte of every sealed file against the ledger's SHA-256, its columns, row count and order of
sequence, the ledger's chain, its end against `journal/tail.json`, nothing added below `rows/`, the
journal's own structure. Quick: the same without reading the files' rows: sizes, footers, ledger.

A recorder may be at work meanwhile: what is there is listed first, the sealings in hand next, the ledger
last, so that a file that is just being sealed is found in one of the two.
"""

import hashlib
import os
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from enum import Enum
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from storage import ledger, lock
from storage.archive import layout
from storage.archive.columns import clashes, column_types, digest
from storage.archive.files import Inventory, Proofs, SealedFile, follow, proof
from storage.errors import ArchiveAbsent, StorageError
from storage.journal import Intent, read_only
from storage.logbook.attachments import ATTACHMENTS, attachments

if TYPE_CHECKING:
    import pyarrow as pa

#: Times an archive is verified again because a recorder changed it meanwhile.
_TRIES = 3
#: Files looked at side by side: hashing and decoding leave the interpreter free. Each is in memory whole.
_HANDS = min(4, 1 + (os.cpu_count() or 1))
#: So many are handed over at once: of years of files, waiting ones would fill memory.
_AHEAD = 256

_Given = TypeVar("_Given")
_Found = TypeVar("_Found")


class Depth(Enum):
    """How much is read."""

    FULL = "full"
    QUICK = "quick"


@dataclass(frozen=True)
class Fault:
    """`file` relative to the archive, with /; `fault` completes a sentence that begins with it."""

    file: str
    fault: str


@dataclass(frozen=True)
class Verification:
    """What was found. `notes` are no faults: what could not be checked, or is being finished."""

    files: int
    rows: int
    ledger: ledger.Tail
    faults: tuple[Fault, ...]
    notes: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """As `archive verify --json` prints it."""
        return {
            "files": self.files,
            "rows": self.rows,
            "ledger": {"n": self.ledger.n, "hash": self.ledger.hash},
            "faults": [{"file": fault.file, "fault": fault.fault} for fault in self.faults],
        }


@dataclass
class _Findings:
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def fault(self, file: str, text: str) -> None:
        self.faults.append(Fault(file, text))


def verify_archive(root: Path, depth: Depth = Depth.FULL) -> Verification:
    """Check an archive. Faults are found, not raised; only where there is no archive ArchiveAbsent is."""
    if not layout.is_archive(root) and not (root / layout.ROWS).is_dir():
        raise ArchiveAbsent(
            root, f"{root} holds no archive: there is no {ledger.LEDGER} and no {layout.ROWS}/."
        )
    for _ in range(_TRIES):
        result = _verified(root, depth)
        if not result.faults or ledger.read_file(root / ledger.LEDGER, lambda _: False).tail == result.ledger:
            break  # nothing was replaced meanwhile that would explain a file missing or added
    return result


def _verified(root: Path, depth: Depth) -> Verification:
    findings = _Findings()
    held = lock.is_held(root / layout.LOCK)
    there = layout.files_below(root / layout.ROWS)
    intents = _journal(root, depth, findings)
    tail = _tail(root, findings)
    replaced = Proofs()
    found = Inventory(history=replaced)
    walk = ledger.Walk.through(root / ledger.LEDGER)
    reading = walk.reading(
        line for line in walk if not follow(line, found) or (tail is not None and line.n == tail.n)
    )
    _ledger(reading, tail, held, findings)
    for text in found.faults:
        findings.fault(ledger.LEDGER, text)
    _added(root, there, found, replaced.kept, [*intents, *_intents(root)], findings)
    _live(root, found, depth, findings)
    _ranges(found, reading.lines, findings)
    _superseded(root, replaced.kept, depth, findings)
    _attachments(root, reading.lines, depth, findings)
    return Verification(
        files=len(found.live),
        rows=sum(file.rows for file in found.live.values()),
        ledger=reading.tail,
        faults=tuple(findings.faults),
        notes=tuple(findings.notes),
    )


def verify_file(path: Path, sha256: str | None = None) -> list[str]:
    """Faults of one sealed file that can be found from it alone, and against a SHA-256 if one is given."""
    try:
        data = path.read_bytes()
    except OSError as error:
        return [f"cannot be read ({error.strerror})"]
    other = sha256 is not None and hashlib.sha256(data).hexdigest() != sha256
    return [*(["has other bytes than its SHA-256 says"] if other else []), *_look(data, None).faults]


def _tail(root: Path, findings: _Findings) -> ledger.Tail | None:
    try:
        tail = ledger.read_tail(root / ledger.TAIL)
    except StorageError:
        findings.fault(ledger.TAIL, "is not as it was written")
        return None
    if tail is None:
        findings.notes.append(f"{ledger.TAIL} is not there: lines cut off the ledger's end cannot be found")
    return tail


def _ledger(
    reading: ledger.Reading,
    tail: ledger.Tail | None,
    held: bool,  # noqa: FBT001  (an observation handed on)
    findings: _Findings,
) -> None:
    for fault in reading.faults:
        findings.fault(ledger.LEDGER, fault)
    against = None if tail is None else ledger.against_tail(reading, tail)
    if against is not None:
        findings.fault(ledger.LEDGER, against)
    if reading.torn and not held:
        findings.notes.append(
            f"{ledger.LEDGER} ends in a part of a line, as a crash leaves it; the next recording heals it"
        )


def _journal(root: Path, depth: Depth, findings: _Findings) -> list[Intent]:
    path = root / layout.JOURNAL_FILE
    try:
        journal = read_only(path)
        if journal is None:
            findings.notes.append(f"{layout.JOURNAL_FILE} is not there: rows not sealed are not in this copy")
            return []
        with closing(journal):
            if depth is Depth.FULL:
                for fault in journal.check():
                    findings.fault(layout.JOURNAL_FILE, f"is damaged: {fault}")
            return journal.intents()
    except StorageError as error:
        findings.fault(layout.JOURNAL_FILE, f"cannot be read: {error}")
        return []


def _intents(root: Path) -> list[Intent]:
    """What is in hand now; nothing where the journal cannot be read, which was told before."""
    try:
        journal = read_only(root / layout.JOURNAL_FILE)
    except StorageError:
        return []
    if journal is None:
        return []
    with closing(journal):
        return journal.intents()


def _added(
    root: Path,
    there: Sequence[Path],
    found: Inventory,
    superseded: Container[str],
    intents: Sequence[Intent],
    findings: _Findings,
) -> None:
    """Files below rows/ that are not live; one that comes or goes at this moment is a note."""
    coming = {file: sha256 for intent in intents for file, sha256 in intent.new_files().items()}
    going = {file for intent in intents for file in intent.replaced_files()}
    for path in there:
        name = path.relative_to(root).as_posix()
        if name in found.live or (name in superseded and not path.exists()):
            continue
        try:
            if name in coming and _hash(path) == coming[name]:
                findings.notes.append(
                    f"{name} is being sealed; a crash there is finished at the next opening"
                )
                continue
            if name in superseded and name in going:
                findings.notes.append(
                    f"{name} is on its way to {layout.SUPERSEDED}/; the next opening finishes it"
                )
                continue
        except OSError:
            pass
        was = "was replaced" if name in superseded else "is unknown to the ledger"
        findings.fault(name, f"is below {layout.ROWS}/ but {was}")


@dataclass(frozen=True)
class _Look:
    """What one file showed of itself."""

    faults: list[str]
    columns: dict[str, str] = field(default_factory=dict)  # name → type


def _live(root: Path, found: Inventory, depth: Depth, findings: _Findings) -> None:
    """Every live file by itself, then its columns' types against those of the files before it."""
    files = list(found.live.values())
    known: dict[tuple[str, str], dict[str, str]] = {}
    for file, look in zip(files, _each(lambda file: _checked(root, file, depth), files), strict=True):
        for text in look.faults:
            findings.fault(file.file, text)
        kept = known.setdefault((file.point, file.source), {})
        for clash in clashes([kept], look.columns):
            findings.fault(
                file.file, f"has column {clash.name} as {clash.wanted}, files before it as {clash.kept}"
            )
        known[file.point, file.source] = look.columns | kept


def _each(question: Callable[[_Given], _Found], of: Iterable[_Given]) -> Iterator[_Found]:
    """The answers in order, several worked out at a time."""
    import pyarrow.parquet  # noqa: F401  (threads that import it at once wait for each other)

    coming = iter(of)
    with ThreadPoolExecutor(_HANDS) as hands:
        while several := list(islice(coming, _AHEAD)):
            yield from hands.map(question, several)


def _checked(root: Path, file: SealedFile, depth: Depth) -> _Look:
    """A live file. Full depth reads it once: the bytes that were hashed are those that are looked into."""
    path = root / file.file
    try:
        size = path.stat().st_size
        if size != file.bytes:
            return _Look([f"has {size} bytes, {file.bytes} were written"])
        if depth is Depth.QUICK:
            return _look(path, file)
        data = path.read_bytes()
    except FileNotFoundError:
        return _Look(["is missing"])
    except OSError as error:
        return _Look([f"cannot be read ({error.strerror})"])
    if hashlib.sha256(data).hexdigest() != file.sha256:
        return _Look(["has other bytes than were written"])  # damaged bytes are not given to a decoder
    return _look(data, file)


def _look(what: Path | bytes, file: SealedFile | None) -> _Look:
    """A file's footer and columns, and where its bytes are given, the order of its rows.

    Bytes whose hash is right need only their sequence read; of others (`file` None) everything is.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        source = pa.BufferReader(what) if isinstance(what, bytes) else what
        with pq.ParquetFile(source, pre_buffer=False, page_checksum_verification=file is None) as opened:
            rows = opened.metadata.num_rows
            columns = column_types(opened.schema_arrow)
            wanted = None if file is None else ["sequence"]
            table = opened.read(columns=wanted, use_threads=False) if isinstance(what, bytes) else None
    except (pa.ArrowException, OSError, ValueError, KeyError) as error:
        return _Look([f"cannot be opened as Parquet ({str(error).splitlines()[0]})"])
    faults = [] if table is None else _order(table, file)
    if file is not None and rows != file.rows:
        faults.append(f"has {rows} rows, {file.rows} were written")
    if file is not None and digest(columns) != file.schema:
        faults.append("has other columns than were written")
    return _Look(faults, columns)


def _order(table: "pa.Table", file: SealedFile | None) -> list[str]:
    """Faults of the column sequence: that it does not grow, or has other ends than the ledger knows."""
    from storage.archive import parquet

    if not table.num_rows or not parquet.ascending(table):
        return ["has rows that are not in order of sequence"]
    ends = (table["sequence"][0].as_py(), table["sequence"][-1].as_py())
    if file is not None and ends != (file.first_sequence, file.last_sequence):
        return [f"goes from sequence {ends[0]} to {ends[1]}, the ledger knows another span"]
    return []


def _ranges(found: Inventory, lines: Sequence[ledger.Line], findings: _Findings) -> None:
    """No row twice: the sequence spans of a point's live files must not meet; holes are told as notes."""
    for (point, source), files in found.streams().items():
        last = absent = 0
        for file in files:
            if file.first_sequence <= last:
                findings.fault(
                    file.file, f"holds sequence {file.first_sequence}, which another file holds too"
                )
            absent += max(0, file.last_sequence - max(last, file.first_sequence - 1) - file.rows)
            absent += max(0, file.first_sequence - last - 1)
            last = max(last, file.last_sequence)
        if absent:
            untold = absent - sum(_lost(line, point, source, last) for line in lines)
            why = (
                f"no line of the ledger says why {untold} of them are"
                if untold > 0
                else "the ledger says why"
            )
            findings.notes.append(
                f"{point}, {source}: {absent} of the numbers 1 to {last} are in no file; {why}"
            )


def _lost(line: ledger.Line, point: str, source: str, last: int) -> int:
    """How many rows of a point and source, up to number `last`, a line says were lost."""
    told = line.content
    if line.kind != ledger.Kind.LOST or (told.get("point"), told.get("source")) != (point, source):
        return 0
    first, end = told.get("first_sequence"), told.get("last_sequence")
    if not isinstance(first, int) or not isinstance(end, int):
        return 0
    return max(0, min(end, last) - first + 1)


def _superseded(root: Path, replaced: Mapping[str, bytes], depth: Depth, findings: _Findings) -> None:
    """Replaced files that were kept must be unchanged; that some were deleted, or put there, is told."""

    def same(name: str) -> bool | None:
        """None where it was deleted, or has not been moved yet."""
        path = root / layout.superseded_name(name)
        return _same(path, *proof(replaced[name]), depth) if path.exists() else None

    absent = 0
    for name, whole in zip(replaced, _each(same, replaced), strict=True):
        if whole is None:
            absent += not (root / name).exists()
        elif not whole:
            findings.fault(layout.superseded_name(name), "has other bytes than were written")
    if absent:
        findings.notes.append(f"{absent} replaced files are no longer in {layout.SUPERSEDED}/")
    below = (path.relative_to(root).as_posix() for path in layout.each_below(root / layout.SUPERSEDED))
    strange = sorted(name for name in below if layout.live_name(name) not in replaced)
    findings.notes += [f"{name} was never part of the archive" for name in strange]


def _attachments(root: Path, lines: Sequence[ledger.Line], depth: Depth, findings: _Findings) -> None:
    """What notes say is attached must be there unchanged; one that no line tells of is being attached."""
    known = {attached.file: attached for attached in attachments(lines)}
    for file, attached in known.items():
        path = root / file
        if not path.is_file():
            findings.fault(file, "is missing; a note in the ledger has it attached")
        elif not _same(path, attached.bytes, attached.sha256, depth):
            findings.fault(file, "has other bytes than were attached")
    for path in layout.files_below(root / ATTACHMENTS):
        if (name := path.relative_to(root).as_posix()) not in known:
            findings.notes.append(f"{name} is attached to no note")


def _same(path: Path, size: int, sha256: str, depth: Depth) -> bool:
    """Whether a file has this many bytes and, in full depth, these; one that cannot be read has not."""
    try:
        return path.stat().st_size == size and (depth is Depth.QUICK or _hash(path) == sha256)
    except OSError:
        return False


def _hash(path: Path) -> str:
    """SHA-256 of a file, read in pieces."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
