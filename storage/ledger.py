"""The ledger: an append-only list of what was kept and what happened, each line chained to the one before.

One JSON object a line, UTF-8, keys sorted, no spaces, characters outside ASCII as themselves (so that the
bytes of a line are fixed by its content, in any language). `hash` is the SHA-256 of the line's JSON
without `hash`; `previous` is the hash of the line before, 64 zeros in the first. `n` and `hash` of the
last line are kept in `journal/tail.json` too, against which a cut end is found.

Someone who rewrites the whole ledger and the tail is not found: keep a copy of the last hash elsewhere.
"""

import hashlib
import json
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

from storage.durable import Disk, told
from storage.errors import ArchiveDamaged, DiskFull

#: `previous` of the first line.
NO_LINE = "0" * 64
LEDGER = "ledger.jsonl"
TAIL = "journal/tail.json"
_OWN_KEYS = frozenset({"n", "time", "kind", "previous", "hash"})


class Kind(StrEnum):
    """What a line tells."""

    STARTED = "started"
    STOPPED = "stopped"
    SEALED = "sealed"
    MERGED = "merged"
    REDECODED = "redecoded"
    RETRIEVED = "retrieved"
    SETTING = "setting"
    POINT = "point"
    NOTE = "note"
    MARK = "mark"
    EVENT = "event"
    LOST = "lost"


class Line(NamedTuple):
    """One line as read: `content` holds every key but n, time, kind, previous and hash."""

    n: int
    time: str  # ISO 8601, UTC, milliseconds
    kind: str
    previous: str
    hash: str
    content: Mapping[str, Any]


@dataclass(frozen=True)
class Tail:
    """The last line as the journal folder knows it."""

    n: int
    hash: str


@dataclass(frozen=True)
class Reading:
    """A ledger as found. Lines that cannot be read are absent from `lines` and named in `faults`."""

    lines: tuple[Line, ...]
    faults: tuple[str, ...]
    numbered: int  # complete lines, readable or not
    size: int  # bytes up to the end of the last complete line
    torn: bytes  # what follows it without a line's end
    ends_readable: bool  # the last complete line could be read; true where there is none

    @property
    def tail(self) -> Tail:
        """Number and hash of the last line that could be read; 0 and zeros where there is none."""
        return Tail(self.lines[-1].n, self.lines[-1].hash) if self.lines else Tail(0, NO_LINE)


def iso(milliseconds: int) -> str:
    """ms since 1970 as ISO 8601 in UTC: `2026-05-04T06:00:00.000Z`."""
    moment = datetime.fromtimestamp(milliseconds // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{milliseconds % 1000:03d}Z"


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number in JSON")


_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
_DECODER = json.JSONDecoder(parse_constant=_no_number)


def canonical(fields: Mapping[str, Any]) -> bytes:
    """The one way to write a line's JSON; ValueError for a number JSON has not, or half a character."""
    return _ENCODER.encode(fields).encode()


def read_line(raw: bytes) -> Line | str:
    """A line without its end, or what is wrong with it as a sentence.

    The bytes must be exactly those that `canonical` gives: a changed space or escape is found as well.
    """
    try:
        fields = _DECODER.decode(raw.decode())
    except (ValueError, RecursionError):
        return "is no JSON"
    if not isinstance(fields, dict) or not fields.keys() >= _OWN_KEYS:
        return "lacks one of n, time, kind, previous, hash"
    if not _as_written(raw, fields) and (fault := _fault(raw, fields)):
        return fault
    n, time_, kind, previous = fields.pop("n"), fields.pop("time"), fields.pop("kind"), fields.pop("previous")
    stated = fields.pop("hash")
    if type(n) is not int or not (
        isinstance(time_, str) and isinstance(kind, str) and isinstance(previous, str)
    ):
        return "has no number, or no text where one must be"
    return Line(n, time_, kind, previous, stated, fields)


def _as_written(raw: bytes, fields: Mapping[str, Any]) -> bool:
    """Whether the bytes without `hash` have that hash, as those do that were written.

    True proves a line without writing it anew, as `_fault` does, which proves every other and names what is
    wrong. Escapes are left to it: they may stand for half a character.
    """
    if b"\\u" in raw:
        return False
    cut = f'"hash":"{fields["hash"]}",'.encode()
    return (
        raw.count(cut) == 1
        and hashlib.sha256(raw.replace(cut, b"")).hexdigest() == fields["hash"]
        and list(fields) == sorted(fields)
    )


def _fault(raw: bytes, fields: Mapping[str, Any]) -> str | None:
    """What is wrong with a line's hash or spelling, as a sentence; None where nothing is."""
    try:
        whole = canonical(fields)
        hashed = canonical({key: value for key, value in fields.items() if key != "hash"})
    except ValueError:  # half a surrogate pair is read, but is no JSON in UTF-8
        return "is no JSON"
    if hashlib.sha256(hashed).hexdigest() != fields["hash"]:
        return "does not have the hash that it states"
    return None if whole == raw else "is not written with sorted keys and no spaces"


def read(data: bytes) -> Reading:
    """Read a whole ledger and check its chain."""
    *complete, torn = data.split(b"\n")
    lines: list[Line] = []
    faults: list[str] = []
    previous: str | None = NO_LINE  # None after an unreadable line: the next one's cannot be checked
    for number, raw in enumerate(complete, 1):
        line = read_line(raw)
        if isinstance(line, str):
            faults.append(f"line {number} {line}")
            previous = None
            continue
        if line.n != number:
            faults.append(f"line {number} has the number {line.n}: a line is missing or added before it")
        elif previous is not None and line.previous != previous:
            faults.append(f"line {number} does not follow line {number - 1}: one of them was replaced")
        previous = line.hash
        lines.append(line)
    return Reading(
        lines=tuple(lines),
        faults=tuple(faults),
        numbered=len(complete),
        size=len(data) - len(torn),
        torn=torn,
        ends_readable=not complete or previous is not None,
    )


def read_file(path: Path) -> Reading:
    """Read the ledger at `path`; an absent one is empty."""
    try:
        with told(path):
            return read(path.read_bytes())
    except FileNotFoundError:
        return read(b"")


def read_tail(path: Path) -> Tail | None:
    """The tail kept at `path`, None where there is none; ArchiveDamaged where it cannot be read."""
    try:
        with told(path):
            raw = path.read_bytes()
    except FileNotFoundError:
        return None
    try:
        fields = json.loads(raw)
        tail = Tail(fields["n"], fields["hash"])
        whole = canonical({"n": tail.n, "hash": tail.hash}) + b"\n" == raw and isinstance(tail.n, int)
    except (ValueError, KeyError, TypeError, RecursionError):
        whole = False
    if not whole:
        raise ArchiveDamaged(path, f"{path} is not as it was written: compare the ledger with a copy.")
    return tail


def against_tail(reading: Reading, tail: Tail) -> str | None:
    """What the tail says against the ledger: cut off, or other lines; None where they agree.

    A ledger that goes on behind the tail is whole: the line is flushed first, the tail after it.
    """
    if tail.n > reading.numbered:
        return (
            f"ends at line {reading.numbered}, but line {tail.n} was written:"
            f" the last {tail.n - reading.numbered} were cut off"
        )
    before_any = tail == Tail(0, NO_LINE)
    if not before_any and not any(line.n == tail.n and line.hash == tail.hash for line in reading.lines):
        return f"line {tail.n} is not the one that {TAIL} knows"
    return None


class Ledger:
    """The writer's end. Opening heals what a crash tore, and never drops a line that was flushed.

    Threads may share it.
    """

    def __init__(self, root: Path, disk: Disk, utc: Callable[[], float] = time.time) -> None:
        self.path = root / LEDGER
        self._tail_path = root / TAIL
        self._disk = disk
        self._utc = utc
        self._lock = threading.Lock()
        self.opened_as = read_file(self.path)
        try:
            tail = read_tail(self._tail_path)
        except ArchiveDamaged:
            tail = None  # verify names it; the ledger itself still says where it ends
        self._size = self.opened_as.size
        self.tail = self._start(tail)

    def _start(self, tail: Tail | None) -> Tail:
        """Where to go on: behind the torn piece, or behind what the tail knows where the ledger was cut."""
        reading = self.opened_as
        if reading.torn:
            self._heal(reading)
            reading = self.opened_as
        if tail is not None and tail.n >= reading.numbered:
            return tail  # also where the last line is damaged: its true hash is known
        if not reading.ends_readable:
            raise ArchiveDamaged(
                self.path,
                f"{self.path}: line {reading.numbered} cannot be read and {TAIL} does not know it:"
                " put back the ledger from a copy, or record into a new archive.",
            )
        self._keep_tail(reading.tail)
        return reading.tail

    def _heal(self, reading: Reading) -> None:
        """A last line that lacks only its end gets it; a part of a line was never promised and goes."""
        whole = not isinstance(read_line(reading.torn), str)
        if whole:
            self._disk.append(self.path, reading.torn + b"\n", reading.size, "healed ledger line")
        else:
            self._disk.append(self.path, b"", reading.size, "healed ledger")
        self.opened_as = read_file(self.path)
        self._size = self.opened_as.size

    def forget_opened(self) -> None:
        """Let go of the lines that were there at the opening; after years they are many."""
        self.opened_as = read(b"")

    def append(self, kind: Kind, content: Mapping[str, Any]) -> Line:
        """Add a line; when this returns it survives a power cut.

        `content` must not hold n, time, kind, previous or hash. DiskFull leaves the ledger as it was.
        """
        if taken := _OWN_KEYS & content.keys():
            raise ValueError(f"{sorted(taken)} are the ledger's own keys")
        with self._lock:
            fields = {
                **content,
                "n": self.tail.n + 1,
                "time": iso(round(self._utc() * 1000)),
                "kind": str(kind),
                "previous": self.tail.hash,
            }
            fields["hash"] = hashlib.sha256(canonical(fields)).hexdigest()
            raw = canonical(fields) + b"\n"
            self._disk.append(self.path, raw, self._size, "ledger line")
            self._size += len(raw)
            self.tail = Tail(fields["n"], fields["hash"])
            with suppress(DiskFull):  # the line itself is kept; the next line brings the tail along
                self._keep_tail(self.tail)
        line = read_line(raw[:-1])
        assert isinstance(line, Line)
        return line

    def _keep_tail(self, tail: Tail) -> None:
        data = canonical({"n": tail.n, "hash": tail.hash}) + b"\n"
        self._disk.write_file(self._tail_path, data, "ledger tail")
