"""The ledger followed as it grows: notes, marks and events of the points, the newest of each.

Only what was added since the last look is read, so that a ledger of years costs a running recorder nothing.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from readout.clock import ms_of
from readout.review.about.logbook import COUNTING
from storage.ledger import LEDGER, Kind, Line, line_of

#: Entries of each kind that are kept for the page; the whole log book is in the report.
MOST = 100


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the log book, of all points where `point` is None. Times in ms since 1970 UTC."""

    n: int
    kind: str  # note | mark | event
    point: str | None
    begin_ms: int
    end_ms: int | None  # of a mark
    text: str

    def as_json(self) -> dict[str, Any]:
        """For the page."""
        return {
            "n": self.n, "kind": self.kind, "point": self.point, "begin_ms": self.begin_ms,
            "end_ms": self.end_ms, "text": self.text,
        }  # fmt: skip


class Book:
    """Call `look` now and then, always from the same thread."""

    def __init__(self, root: Path) -> None:
        self._path = root / LEDGER
        self._read = 0
        self._kept: dict[str, deque[Entry]] = {}

    def look(self) -> bool:
        """Read what was added; whether that has changed the entries. What cannot be read is passed over."""
        changed = False
        with suppress(OSError), self._path.open("rb") as ledger:  # of a disk in trouble the recorder tells
            ledger.seek(self._read)
            for raw in ledger:
                if not raw.endswith(b"\n"):
                    break
                self._read += len(raw)
                line = line_of(raw, Kind.NOTE, Kind.MARK, Kind.EVENT, Kind.LOST)
                if line is not None and (entry := _entry(line)) is not None:
                    self._kept.setdefault(entry.kind, deque(maxlen=MOST)).append(entry)
                    changed = True
        return changed

    def entries(self) -> Sequence[Entry]:
        """All that is kept, by their lines in the ledger."""
        return sorted((entry for kept in list(self._kept.values()) for entry in kept), key=lambda one: one.n)


def _entry(line: Line) -> Entry | None:
    content = line.content
    point = content.get("point")
    told = None if point is None else str(point)
    try:
        match line.kind:
            case Kind.NOTE:
                at = _ms(content.get("at", line.time))
                return Entry(line.n, "note", told, at, None, str(content.get("text", "")))
            case Kind.MARK:
                begin, end = _ms(content["from"]), _ms(content["until"])
                return Entry(line.n, "mark", told, begin, end, str(content["name"]))
            case Kind.EVENT if content.get("what") not in COUNTING:
                at = _ms(content.get("at", line.time))
                return Entry(line.n, "event", told, at, None, _event(content))
            case Kind.LOST:
                at = _ms(content.get("at", line.time))
                return Entry(line.n, "event", told, at, None, _loss(content))
    except (KeyError, TypeError, ValueError):  # written by some other program: not for the page to judge
        return None
    return None


def _event(content: Mapping[str, Any]) -> str:
    """What happened, with the sentence that goes with it: which port, which meter, by how much."""
    what, seconds = str(content.get("what", "")), content.get("seconds")
    if isinstance(seconds, int | float):
        return f"{what}: {seconds:+.3f} s"
    if "expected" in content and "found" in content:
        return f"{what}: {content['found']} answers, not {content['expected']}"
    text = str(content.get("text", ""))
    return f"{what}: {text}" if text else what


def _loss(content: Mapping[str, Any]) -> str:
    if "text" in content:
        return f"lost: {content['text']}"
    first, last = int(content["first_sequence"]), int(content["last_sequence"])
    return f"lost: rows {first} to {last} never reached the disk"


def _ms(text: object) -> int:
    return ms_of(str(text))
