"""Reads what a layout is judged by: how far the memory goes, its first, second and last record.

Nothing is written but what the map names for reading: pointer, bank and lock. What was read stays as it was
sent, so that every layout can be tried on it without asking again.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from protocols.log_memory.records import whole
from protocols.log_memory.state import MemoryState, Session, StateReader
from protocols.log_memory.ways import Reach, written
from protocols.modbus.requests import ReadRequest, Request
from protocols.register_map.memory_model import ByQueue, LogMemory
from protocols.register_map.model import Number, Span, Wire
from readout.diagnose.memory.judging import Sample
from readout.diagnose.memory.layouts import UNIX, Layout, Turn
from readout.errors import FellShort, WrongUse

#: Entries of a list of sessions that are read: a count read in the wrong order can be anything.
MOST_SESSIONS = 64
#: What may be turned in the memory's counters, the likely ones first.
_TURNS = (
    frozenset[Turn](),
    frozenset({Turn.WORDS}),
    frozenset({Turn.BYTES}),
    frozenset({Turn.WORDS, Turn.BYTES}),
)

#: Sends a request; the words of its reply (none for a write), or None where nothing came that is one.
Ask = Callable[[Request], Sequence[int] | None]
Readings = Mapping[frozenset[Turn], Mapping[str, float | None]]


@dataclass
class Sampler:
    """Reads one memory. `notes` are sentences about what was odd on the way; `why` tells the last refusal."""

    memory: LogMemory
    wire: Wire
    ask: Ask
    why: Callable[[], str]
    notes: list[str] = field(default_factory=list)
    _read: dict[Request, Sequence[int] | None] = field(default_factory=dict)

    def sample(self, now_ms: int, readings: Readings, ranges: Mapping[str, Span]) -> Sample:
        """First, second and last record as sent.

        Raises:
            WrongUse: reading would take the records out of the meter.
            FellShort: the meter does not tell how far its memory goes in any order, it is empty, locked, or
                does not give its first record.
        """
        way = self.memory.reached_by
        if isinstance(way, ByQueue) and way.advance:
            raise WrongUse(
                "this memory is a queue that moves on with every read (advance: by read): to try it would "
                "take records out of the meter. Fetch it instead; the archive keeps every register as it was "
                "sent."
            )
        turned, state, sessions = self._extent()
        memory = Layout(turned, UNIX, self.memory.record.registers).memory(self.memory)
        if not any(session.records for session in sessions):
            raise FellShort("the memory is empty: let the meter record something first, then try again.")
        held = [session for session in sessions if session.records]
        first, last = held[0].first, held[-1].first + held[-1].records - 1
        if state.oldest is not None and memory.is_ring:
            first = max(first, state.oldest)
        self._open()
        try:
            run, last_words = self._records(memory, first, last)
        finally:
            self._close()
        return Sample(
            first, last, run, last_words, self._entries(memory, sessions, held),
            (first - held[0].first, held[-1].records - 1), held[-1].interval_ms, now_ms, readings, ranges,
        )  # fmt: skip

    # ---- how far the memory goes

    def _extent(self) -> tuple[frozenset[Turn], MemoryState, tuple[Session, ...]]:
        """The first order of the counters in which they make sense."""
        for turned in _TURNS:
            memory = Layout(turned, UNIX, self.memory.record.registers).memory(self.memory)
            if memory.sessions is not None:
                most = min(memory.sessions.most or MOST_SESSIONS, MOST_SESSIONS)
                memory = replace(memory, sessions=replace(memory.sessions, most=most))
            state = self._state(memory)
            sessions = None if state is None else state.all_sessions(memory)
            if state is None or sessions is None or not _sensible(memory, sessions):
                continue
            if turned:
                turns = " and ".join(turn.value for turn in turned)
                self.notes.append(f"how far the memory goes makes sense only in {turns}; it was read so")
            return turned, state, sessions
        raise FellShort(
            f"the meter does not tell how far its memory goes, in whatever order its counters are read. "
            f"{self.why()}"
        )

    def _state(self, memory: LogMemory) -> MemoryState | None:
        reader = StateReader(memory, self.wire)
        while (request := reader.next()) is not None:
            words = self._asked(request)
            if words is None:
                return None
            reader.take(words)
        return reader.state

    def _asked(self, request: ReadRequest) -> Sequence[int] | None:
        """A register of the extent, read once however often it is looked at."""
        if request not in self._read:
            self._read[request] = self.ask(request)
        return self._read[request]

    def _entries(
        self, memory: LogMemory, sessions: Sequence[Session], held: Sequence[Session]
    ) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
        """The table's entries of the first and the last session with records."""
        table = memory.sessions
        if table is None:
            return None
        words: dict[int, int] = {}
        for request, read in self._read.items():
            if isinstance(request, ReadRequest) and request.table is table.table.table and read is not None:
                words |= dict(enumerate(read, request.start))
        found = []
        for session in (held[0], held[-1]):
            start = table.table.address + list(sessions).index(session) * table.registers
            found.append(tuple(words[address] for address in range(start, start + table.registers)))
        return found[0], found[1]

    # ---- records

    def _records(self, memory: LogMemory, first: int, last: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
        reach = Reach(memory, self.wire)
        many = min(4, last - first + 1)
        run = self._fetched(reach, first, reach.together(first, many))
        if run is None:
            raise FellShort(f"the meter does not give record {first}. {self.why()}")
        if last == first:
            return run, run
        newest = self._fetched(reach, last, 1)
        if newest is None:
            self.notes.append(f"the meter does not give its last record, {last}. {self.why()}")
        second = len(run) >= 2 * reach.registers
        if not second:
            more = self._fetched(reach, first + 1, 1)
            run += more or ()
        return run, newest or ()

    def _fetched(self, reach: Reach, first: int, count: int) -> tuple[int, ...] | None:
        fetch = reach.fetch(first, count)
        for request in fetch.point:
            if self.ask(request) is None:
                return None
        words = self.ask(fetch.data)
        if words is None:
            return None
        stands: int | None = fetch.expected
        if fetch.echo is not None:
            at = fetch.echo_at
            stands = whole(fetch.echo, tuple(words[at : at + fetch.echo.addresses]))
        elif fetch.prove is not None and fetch.point:
            stands = self._proof(reach, self.ask(fetch.prove)) or stands
        if stands != fetch.expected:
            self.notes.append(
                f"the meter was asked for record {first} and says that it stands at {stands}: look at the "
                "type and the order of pointer and echo"
            )
        return tuple(words[fetch.skip : fetch.skip + count * reach.registers])

    def _proof(self, reach: Reach, words: Sequence[int] | None) -> int | None:
        way = reach.memory.reached_by
        number: Number | None = getattr(way, "pointer", None) or getattr(way, "bank", None)
        number = number or getattr(way, "next_wanted", None)
        return None if number is None or words is None else whole(number, tuple(words))

    # ---- the lock

    def _open(self) -> None:
        lock = self.memory.lock
        if lock is None:
            return
        for request in written(lock.register, lock.open, self.wire):
            if self.ask(request) is None:
                raise FellShort(f"the memory's lock does not open; another port may hold it. {self.why()}")

    def _close(self) -> None:
        lock = self.memory.lock
        for request in () if lock is None else written(lock.register, lock.close, self.wire):
            self.ask(request)


def _sensible(memory: LogMemory, sessions: Sequence[Session]) -> bool:
    """Whether no more is told of than the memory can hold."""
    total = sum(session.records for session in sessions)
    return total <= memory.capacity and all(session.records >= 0 for session in sessions)
