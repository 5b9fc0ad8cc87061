"""A simulated meter's own memory, as its registers show it: what the meter asks when a request comes."""

from collections.abc import Callable, Mapping, Sequence

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.requests import FilePart
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Column, Number
from simulators.log_memory.options import LogOptions
from simulators.log_memory.recorder import Recorder
from simulators.log_memory.registers import Head, Heads, SessionRegisters, spans_of
from simulators.log_memory.store import Session, Store, Truth
from simulators.log_memory.ways import Reached, Span
from simulators.meter_clock import MeterClock
from simulators.plant import Source
from simulators.refused import Refused

#: A lock that nobody uses opens again by itself after this many seconds.
LOCK_HELD = 300.0


class SimulatedLog:
    """The memory of one meter.

    `recorder` starts, stops, erases, and can be without supply; `store` holds the records. All of it is to
    be used by the thread that asks the meter, or while no request is on its way.
    """

    def __init__(
        self, memory: LogMemory, clock: MeterClock, source: Source, options: LogOptions, interval: float
    ) -> None:
        """Record the past and be ready. NotSimulated where it does not fit the memory."""
        self.memory = memory
        self.store = Store(memory, options.first_number)
        self.recorder = Recorder(memory, self.store, clock, source, interval)
        self._reached = Reached(self.store)
        self._opened = False
        self._now = 0.0
        self._heads = Heads(self._all_heads())
        table = memory.sessions
        self._sessions = None if table is None else SessionRegisters(table, self.told_sessions)
        self.recorder.remember(options)

    # ---- what tests and lines ask

    def advance(self, running: float) -> None:
        """Record what is due; every request begins with it."""
        self._now = running
        self.recorder.advance(running)

    def truth(self) -> Truth:
        """What the memory holds now."""
        return self.store.truth()

    def told_sessions(self) -> Sequence[Session]:
        """The sessions that still have a record, or are running; their extent as the meter tells it."""
        store = self.store
        sessions = [s for s in store.sessions if s.end > store.oldest or s is store.sessions[-1]]
        if self.memory.oldest is not None:
            return sessions
        first = [max(session.first, store.oldest) for session in sessions]
        return [
            Session(session.begun, session.interval, start, session.started_ms, session.end - start)
            for session, start in zip(sessions, first, strict=True)
        ]

    # ---- registers

    def spans(self) -> list[Span]:
        """Every register of the memory."""
        found = spans_of(self._heads.columns())
        records = self._reached.span()
        found += [] if records is None else [records]
        found += [] if self._sessions is None else [self._sessions.span()]
        return found

    def is_writable(self, column: Column) -> bool:
        """Whether a word can be written there."""
        return self._heads.is_writable(column)

    def read(self, columns: Sequence[Column]) -> dict[Column, int]:
        """The words of those `columns` that are the memory's."""
        found: dict[Column, int] = {}
        left = []
        for column in columns:
            if column in self._heads:
                if column not in found:
                    found |= self._heads.read(column)
            else:
                left.append(column)
        records = self._reached.span()
        if records is not None:
            inside = _within(left, records)
            if inside:
                self._check_lock()
                words = self._reached.read(inside[0].address - records[1], len(inside))
                found |= dict(zip(inside, words, strict=True))
        if self._sessions is not None:
            span = self._sessions.span()
            inside = [column for column in _within(left, span) if column not in found]
            if inside:
                words = self._sessions.read(inside[0].address - span[1], len(inside), self.memory.modulus)
                found |= dict(zip(inside, words, strict=True))
        return found

    def write(self, words: Mapping[Column, int]) -> None:
        """Take what is written to the memory's registers."""
        self._heads.write(words)

    def files(self, parts: Sequence[FilePart]) -> tuple[tuple[int, ...], ...]:
        """Function 20."""
        self._check_lock()
        return tuple(self._reached.file(part) for part in parts)

    def queue(self, address: int) -> tuple[int, ...]:
        """Function 24."""
        self._check_lock()
        return self._reached.queue(address)

    # ---- its own registers

    def _all_heads(self) -> list[Head]:
        memory, store = self.memory, self.store
        found = [
            self._counted(memory.oldest, lambda: store.oldest),
            self._counted(memory.next, lambda: store.next),
        ]
        if memory.count is not None:
            found.append(Head(memory.count, lambda: store.held))
        if memory.record.told is not None:
            found.append(Head(memory.record.told, lambda: memory.record.registers))
        if memory.sessions is not None:
            found.append(Head(memory.sessions.count, lambda: len(self.told_sessions())))
        if memory.recording is not None:
            take = self._command if memory.recording.writable else None
            found.append(Head(memory.recording.number, self._state, take))
        if memory.lock is not None:
            found.append(Head(memory.lock.register, self._lock_state, self._turn_lock))
        reached = self._reached
        if reached.pointer is not None:
            found.append(Head(reached.pointer, lambda: reached.told, self._point))
        if reached.echo is not None:
            found.append(self._counted(reached.echo, lambda: reached.told))
        return [head for head in found if head is not None]

    def _counted(self, number: Number | None, tell: Callable[[], int]) -> Head | None:
        if number is None:
            return None
        modulus = self.memory.modulus(number)
        return Head(number, lambda: tell() % modulus)

    def _point(self, told: int) -> None:
        self._reached.told = told

    def _state(self) -> int:
        return self._code("recording" if self.recorder.recording else "idle")

    def _code(self, word: str) -> int:
        assert self.memory.recording is not None
        return next(code for code, said in self.memory.recording.codes.items() if said == word)

    def _command(self, told: int) -> None:
        """Start, stop or erase: what the word of a code says. Refused (03) for any other, or no room."""
        assert self.memory.recording is not None
        match self.memory.recording.codes.get(told):
            case "recording":
                if not self.recorder.start(self._now):
                    raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
            case "idle":
                self.recorder.stop()
            case "erase":
                self.recorder.erase()
            case _:
                raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)

    def _check_lock(self) -> None:
        if self.memory.lock is not None and not self._opened:
            raise Refused(ExceptionCode.BUSY)

    def _lock_state(self) -> int:
        assert self.memory.lock is not None
        return self.memory.lock.open if self._opened else self.memory.lock.close

    def _turn_lock(self, told: int) -> None:
        lock = self.memory.lock
        assert lock is not None
        if told not in (lock.open, lock.close):
            raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
        self._opened = told == lock.open


def _within(columns: Sequence[Column], span: Span) -> list[Column]:
    table, start, stop = span
    return [column for column in columns if column.table is table and start <= column.address < stop]
