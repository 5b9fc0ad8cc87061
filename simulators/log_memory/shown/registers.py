"""What the memory tells and takes in registers of its own: extent, recording, lock, sessions, pointer."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from protocols.errors import RequestError
from protocols.log_memory.records import whole
from protocols.log_memory.state import UNIT_MS
from protocols.log_memory.ways import number_words
from protocols.register_map.memory_model import SessionTable
from protocols.register_map.model import Column, Number, Value
from protocols.values.encode import encode
from simulators.log_memory.kept.store import Session
from simulators.log_memory.shown.ways import Span

#: Entries in a table of sessions of which the map does not say how many there can be.
USUAL_SESSIONS = 40
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Head(NamedTuple):
    """One register run: what it tells now, and what becomes of a number written to it (None: fixed)."""

    number: Number
    tell: Callable[[], int]
    take: Callable[[int], None] | None = None


class Heads:
    """Numbers in registers: told when they are read, passed on when they are written."""

    def __init__(self, heads: Sequence[Head]) -> None:
        self._owners: dict[Column, Head] = {
            column: head for head in heads for column in head.number.columns()
        }

    def __contains__(self, column: Column) -> bool:
        return column in self._owners

    def is_writable(self, column: Column) -> bool:
        """Whether something becomes of a word written there."""
        return column in self._owners and self._owners[column].take is not None

    def columns(self) -> Sequence[Column]:
        """Every register of its own."""
        return tuple(self._owners)

    def read(self, column: Column) -> dict[Column, int]:
        """The words of the run that `column` belongs to."""
        number, tell, _ = self._owners[column]
        return dict(zip(number.columns(), number_words(number, tell()), strict=True))

    def write(self, words: Mapping[Column, int]) -> None:
        """Pass on what is written; a part of a number leaves the rest of it as it was told."""
        touched = {id(head): head for column in words if (head := self._owners[column]).take is not None}
        for number, tell, take in touched.values():
            before = dict(zip(number.columns(), number_words(number, tell()), strict=True))
            told = whole(number, [words.get(column, word) for column, word in before.items()])
            if told is not None and take is not None:
                take(told)


class SessionRegisters:
    """The table of sessions, oldest first; zeros behind its last entry."""

    def __init__(self, table: SessionTable, sessions: Callable[[], Sequence[Session]]) -> None:
        self._table = table
        self._sessions = sessions
        self._known: dict[tuple[int, int, int, float], list[int]] = {}

    def span(self) -> Span:
        """Where it lies."""
        place, entries = self._table.table, self._table.most or USUAL_SESSIONS
        return place.table, place.address, min(place.address + entries * self._table.registers, 65536)

    def read(self, offset: int, count: int, modulus: Callable[[Number], int]) -> list[int]:
        """`count` registers from `offset` on."""
        words: list[int] = []
        size = self._table.registers
        sessions = self._sessions()
        for entry in range(offset // size, (offset + count - 1) // size + 1):
            words += self._entry(sessions[entry], modulus) if entry < len(sessions) else [0] * size
        skip = offset % size
        return words[skip : skip + count]

    def _entry(self, session: Session, modulus: Callable[[Number], int]) -> list[int]:
        key = (session.started_ms, session.first, session.count, session.interval)
        if key not in self._known:
            self._known = {key: self._told(session, modulus)} if len(self._known) > 99 else self._known
            self._known[key] = self._told(session, modulus)
        return self._known[key]

    def _told(self, session: Session, modulus: Callable[[Number], int]) -> list[int]:
        words = [0] * self._table.registers
        for name, field in self._table.fields.items():
            for column, word in _field_words(name, field, session, modulus).items():
                words[column.address] = word
        return words


def _field_words(
    name: str, field: Value, session: Session, modulus: Callable[[Number], int]
) -> Mapping[Column, int]:
    """One field of a session's entry; zeros where its registers cannot hold it."""
    try:
        if name == "started":
            return encode(field, _EPOCH + timedelta(milliseconds=session.started_ms))
        if name == "interval":
            return encode(field, session.interval * 1000 / UNIT_MS[field.unit or "s"])
    except RequestError:
        return dict.fromkeys(field.columns(), 0)
    told = session.first if name == "first" else session.count
    words = number_words(field.number, told % modulus(field.number) if name == "first" else told)
    return dict(zip(field.number.columns(), words, strict=True))


def spans_of(columns: Sequence[Column]) -> list[Span]:
    """Each register as a span of its own."""
    return [(c.table, c.address, c.address + 1) for c in columns if c.table is not None]
