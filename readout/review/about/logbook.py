"""What the ledger says of a point: when a recorder ran, notes, marks, corrections."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from readout.clock import ms_of
from readout.review.about.requests import FAILED_REQUESTS, Requests, requests_of
from readout.sentence import Sentence, word
from storage.archive.files import ADDING
from storage.ledger import LEDGER, Kind, Line, Reading, read_file

#: The event that counts replies after `reply_within`, since the last such event of the point.
LATE_REPLIES = "late replies"
#: Events that only count: the ledger has them with each sealing, and they are no news.
COUNTING = frozenset({LATE_REPLIES, FAILED_REQUESTS})


@dataclass(frozen=True, slots=True)
class Note:
    """An entry of the log book; `at_ms` in ms since 1970 UTC."""

    at_ms: int
    text: str
    attached: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A named interval [begin_ms, end_ms)."""

    name: str
    begin_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class Amendment:
    """A correction that holds from a time on: `set` is key of the point file → value as text.

    `flow_factor`: what a meter's flow is to be multiplied by, None where the correction does not touch it;
    `computed_with_mm` is the diameter that the meter computes with.
    """

    from_ms: int
    set: Mapping[str, str]
    was: Mapping[str, str | None]
    flow_factor: float | None
    computed_with_mm: float | None
    line: int  # of the ledger
    why: str | None = None


@dataclass(frozen=True)
class LogBook:
    """`ran`: spans [ms) from a recorder's start to its orderly stop, those that asked for the point.

    `late_replies`: how many came after the map's `reply_within`, up to the last sealing; their values are
    kept. `requests`: all that were sent, and what failed of them, up to then. What only counts is no event
    here, for the ledger tells of it with each sealing.
    """

    ran: Sequence[tuple[int, int]] = ()
    notes: Sequence[Note] = ()
    marks: Sequence[Mark] = ()
    amendments: Sequence[Amendment] = ()
    events: Sequence[tuple[int, str]] = ()
    late_replies: int = 0
    requests: Requests = field(default_factory=Requests)
    tail: tuple[int, str] = (0, "")
    faults: Sequence[str] = field(default_factory=tuple)


def log_book(root: Path, point: str) -> LogBook:
    """The ledger of an archive, as far as it concerns a point; lines of others are left out."""
    return book_of(read_file(root / LEDGER, lambda line: _concerns(line, point)), point)


def book_of(reading: Reading, point: str) -> LogBook:
    """The same from a ledger that was read already."""
    mine = [line for line in reading.lines if _concerns(line, point)]
    return LogBook(
        ran=_ran(mine, point),
        notes=[_note(line) for line in mine if line.kind == Kind.NOTE],
        marks=[_mark(line) for line in mine if line.kind == Kind.MARK],
        amendments=[found for line in mine if (found := _amendment(line)) is not None],
        events=[
            (ms_of(str(line.content.get("at", line.time))), str(line.content.get("what", "")))
            for line in mine
            if line.kind == Kind.EVENT and line.content.get("what") not in COUNTING
        ],
        late_replies=sum(
            count
            for line in mine
            if line.kind == Kind.EVENT and line.content.get("what") == LATE_REPLIES
            if isinstance(count := line.content.get("count"), int)
        ),
        requests=requests_of(mine, point),
        tail=(reading.tail.n, reading.tail.hash),
        faults=[_fault(one) for one in reading.faults],
    )


def _concerns(line: Line, point: str) -> bool:
    return line.kind not in ADDING and bool(line.content.get("point", point) == point)


def _fault(text: str) -> str:
    """What is wrong with a line, as a sentence; the ledger itself knows of no language."""
    if missing := re.fullmatch(r"line (\d+) has the number (\d+): a line is missing .*", text):
        n, number = map(int, missing.groups())
        return Sentence(
            "line {n} has the number {number}: a line is missing or added before it", n=n, number=number
        )
    if replaced := re.fullmatch(r"line (\d+) does not follow line (\d+): one of them .*", text):
        n, before = map(int, replaced.groups())
        return Sentence(
            "line {n} does not follow line {before}: one of them was replaced", n=n, before=before
        )
    if wrong := re.fullmatch(r"line (\d+) (.*)", text):
        return Sentence("line {n} {fault}", n=int(wrong[1]), fault=word(wrong[2]))
    return text


def _ran(lines: Iterable[Line], point: str) -> list[tuple[int, int]]:
    spans: list[tuple[int, int]] = []
    started: int | None = None
    for line in lines:
        if line.kind == Kind.STARTED:
            started = ms_of(line.time) if point in line.content.get("points", {point: None}) else None
        elif line.kind == Kind.STOPPED and started is not None:
            spans.append((started, ms_of(line.time)))
            started = None
    return spans


def _note(line: Line) -> Note:
    attached = line.content.get("attached")
    return Note(
        ms_of(str(line.content.get("at", line.time))), str(line.content.get("text", "")),
        attached if isinstance(attached, dict) else None,
    )  # fmt: skip


def _mark(line: Line) -> Mark:
    content = line.content
    return Mark(str(content["name"]), ms_of(str(content["from"])), ms_of(str(content["until"])))


def _amendment(line: Line) -> Amendment | None:
    told = line.content.get("set")
    if line.kind != Kind.POINT or not isinstance(told, dict) or "from" not in line.content:
        return None
    why, was = line.content.get("why"), line.content.get("was")
    numbers = (line.content.get(name) for name in ("flow_factor", "computed_with_mm"))
    factor, diameter = (float(one) if isinstance(one, (int, float)) else None for one in numbers)
    return Amendment(
        from_ms=ms_of(str(line.content["from"])),
        set={str(key): str(value) for key, value in told.items()},
        was=was if isinstance(was, dict) else {},
        flow_factor=factor,
        computed_with_mm=diameter,
        line=line.n,
        why=None if why is None else str(why),
    )
