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
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

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


#: What every line of a kind has in it, and few others have.
_MARKS = {kind: f'"kind":"{kind}"'.encode() for kind in Kind}


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

    lines: tuple[Line, ...]  # or those of them that were asked for
    faults: tuple[str, ...]
    numbered: int  # complete lines, readable or not
    torn: bytes  # what follows them without a line's end
    tail: Tail  # the last line that could be read; 0 and zeros where there is none


class Walk:
    """One walk through a ledger, a line at a time: after years one has more lines than memory should hold.

    `open_stream` gives its bytes; FileNotFoundError means an absent one, which is empty. Iterate once: the
    lines that can be read come in their order, and the fields tell of what has been passed.
    """

    def __init__(self, open_stream: Callable[[], BinaryIO], path: Path | None = None) -> None:
        self._open, self._path = open_stream, path
        #: Lines that cannot be read, or do not follow, as sentences.
        self.faults: list[str] = []
        #: Complete lines, readable or not, and bytes up to the end of the last of them.
        self.numbered = self.size = 0
        #: What follows them without a line's end.
        self.torn = b""
        #: The last line that could be read; 0 and zeros where there is none.
        self.tail = Tail(0, NO_LINE)
        #: Whether the last complete line could be read; true where there is none.
        self.ends_readable = True

    @classmethod
    def through(cls, path: Path) -> "Walk":
        """Through the file at `path`."""
        return cls(lambda: path.open("rb"), path)

    def __iter__(self) -> Iterator[Line]:
        """Read on, and check the chain."""
        with told(self._path or Path(LEDGER)), suppress(FileNotFoundError), self._open() as stream:
            for raw in stream:
                if not raw.endswith(b"\n"):
                    self.torn = raw
                    return
                self.numbered += 1
                self.size += len(raw)
                line = read_line(raw[:-1])
                if isinstance(line, str):
                    self.faults.append(f"line {self.numbered} {line}")
                    self.ends_readable = False
                    continue
                if line.n != self.numbered:
                    self.faults.append(
                        f"line {self.numbered} has the number {line.n}: a line is missing or added before it"
                    )
                elif self.ends_readable and line.previous != self.tail.hash:
                    self.faults.append(
                        f"line {self.numbered} does not follow line {self.numbered - 1}: "
                        "one of them was replaced"
                    )
                self.tail, self.ends_readable = Tail(line.n, line.hash), True
                yield line

    def reading(self, lines: Iterable[Line]) -> Reading:
        """What was found, with these of its lines."""
        kept = tuple(lines)  # walks to the end, where that is what they come from
        return Reading(kept, tuple(self.faults), self.numbered, self.torn, self.tail)


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
    walk = Walk(lambda: BytesIO(data))
    return walk.reading(walk)


def read_file(path: Path, keep: Callable[[Line], bool] = lambda _: True) -> Reading:
    """Read the ledger at `path` and check its chain; an absent one is empty. `lines` are those to `keep`."""
    walk = Walk.through(path)
    return walk.reading(line for line in walk if keep(line))


def lines_of(path: Path, *kinds: Kind) -> Iterator[Line]:
    """The readable lines of these kinds, in order, from the ledger at `path`; an absent one has none.

    The others are not even read: for few lines among the many of years. The chain is not checked.
    """
    with told(path), suppress(FileNotFoundError), path.open("rb") as stream:
        for raw in stream:
            if (line := line_of(raw, *kinds)) is not None:
                yield line


def line_of(raw: bytes, *kinds: Kind) -> Line | None:
    """The line that these bytes, its end included, are; None where it is of another kind, torn or changed."""
    if not raw.endswith(b"\n") or not any(_MARKS[kind] in raw for kind in kinds):
        return None
    line = read_line(raw[:-1])
    return line if isinstance(line, Line) and line.kind in kinds else None


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

    `seen` is shown every readable line that is there at the opening. Threads may share it.
    """

    def __init__(
        self,
        root: Path,
        disk: Disk,
        utc: Callable[[], float] = time.time,
        seen: Callable[[Line], object] = lambda _: None,
    ) -> None:
        self.path = root / LEDGER
        self._tail_path = root / TAIL
        self._disk = disk
        self._utc = utc
        self._lock = threading.Lock()
        walk = Walk.through(self.path)
        for line in walk:
            seen(line)
        if walk.torn:
            walk = self._heal(walk, seen)
        self._size = walk.size
        self.tail = self._start(walk)

    def _start(self, walk: Walk) -> Tail:
        """Where to go on: behind what can be read, or behind what the tail knows where the ledger was cut."""
        try:
            tail = read_tail(self._tail_path)
        except ArchiveDamaged:
            tail = None  # verify names it; the ledger itself still says where it ends
        if tail is not None and tail.n >= walk.numbered:
            return tail  # also where the last line is damaged: its true hash is known
        if not walk.ends_readable:
            raise ArchiveDamaged(
                self.path,
                f"{self.path}: line {walk.numbered} cannot be read and {TAIL} does not know it:"
                " put back the ledger from a copy, or record into a new archive.",
            )
        self._keep_tail(walk.tail)
        return walk.tail

    def _heal(self, walk: Walk, seen: Callable[[Line], object]) -> Walk:
        """A last line that lacks only its end gets it; a part of a line was never promised and goes."""
        line = read_line(walk.torn)
        if isinstance(line, Line):
            self._disk.append(self.path, walk.torn + b"\n", walk.size, "healed ledger line")
            seen(line)
        else:
            self._disk.append(self.path, b"", walk.size, "healed ledger")
        healed = Walk.through(self.path)
        deque(healed, maxlen=0)
        return healed

    def append(self, kind: Kind, content: Mapping[str, Any]) -> Line:
        """Add a line; when this returns it survives a power cut.

        `content` must not hold n, time, kind, previous or hash (ValueError). DiskFull leaves the
        ledger as it was.
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
