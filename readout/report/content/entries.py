"""Notes and marks of the log book under one numbering: in the pictures, their legend and the tables."""

from collections.abc import Sequence
from dataclasses import dataclass

from readout.report.content.blocks import Table
from readout.report.language.words import Words, plain
from readout.review.review import Review

#: A number in a picture takes this share of its width on a phone; what is nearer goes into another row.
_WIDE = 0.09


@dataclass(frozen=True, slots=True)
class Entry:
    """A note has no `end_ms`; a mark is [begin_ms, end_ms). Numbers count from 1 in the order of time."""

    number: int
    begin_ms: int
    end_ms: int | None
    text: str

    @property
    def last_ms(self) -> int:
        """A note's own time, a mark's end."""
        return self.begin_ms if self.end_ms is None else self.end_ms


def entries(found: Review) -> list[Entry]:
    """All of the log book, whether in the period or not, so that a number means the same throughout."""
    told: list[tuple[int, int | None, str]] = [(one.at_ms, None, one.text) for one in found.book.notes]
    told += [(one.begin_ms, one.end_ms, one.name) for one in found.book.marks]
    told.sort(key=lambda one: one[0])
    return [Entry(n, *one) for n, one in enumerate(told, 1)]


def shown(found: Review) -> list[Entry]:
    """Those that a picture of the period can show."""
    begin, end = found.coverage.begin_ms, found.coverage.end_ms
    return [one for one in entries(found) if one.begin_ms < end and one.last_ms >= begin]


def in_rows(some: Sequence[Entry], begin: int, end: int) -> list[tuple[Entry, int]]:
    """Each with the row, from 0, in which it and its number meet no other."""
    wide = (end - begin) * _WIDE
    free: list[float] = []
    found = []
    for one in some:
        at = max(one.begin_ms, begin)
        row = next((n for n, until in enumerate(free) if until <= at), len(free))
        free[row : row + 1] = [max(one.last_ms, at + wide)]
        found.append((one, row))
    return found


def legend(found: Review, words: Words) -> Table | None:
    """What the numbers in the pictures stand for; None without any."""
    rows = [(str(one.number), when(one, found, words), plain(one.text)) for one in shown(found)]
    if not rows:
        return None
    heads = (words("no."), words("time"), words("note or mark"))
    return Table(words("Log book, by the numbers in the picture"), heads, rows, "words")


def when(one: Entry, found: Review, words: Words) -> str:
    """A moment, or from when until when; what both have in common is told once."""
    zone = found.installation.zone
    begin = words.moment(one.begin_ms, zone)
    if one.end_ms is None:
        return begin
    end = words.moment(one.end_ms, zone)
    day, clock, offset = begin.split(" ")
    if end.endswith(offset):
        begin = f"{day} {clock}"
        end = end.removeprefix(f"{day} ")
    return f"{begin} – {end}"
