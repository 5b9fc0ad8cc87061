"""A simulated meter's own memory, as its registers show it: what the meter asks when a request comes."""

from collections.abc import Callable, Mapping, Sequence

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.requests import FilePart
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Column, Number, Value
from simulators.log_memory.faults import MemoryFaults, parse_memory_faults
from simulators.log_memory.faults.frames import altered
from simulators.log_memory.faults.kinds import Fault
from simulators.log_memory.kept.store import Session, Store, Truth
from simulators.log_memory.options import LogOptions
from simulators.log_memory.recorder import Recorder
from simulators.log_memory.shown.lock import LockRegister
from simulators.log_memory.shown.registers import Head, Heads, SessionRegisters, spans_of
from simulators.log_memory.shown.ways import Reached, Span
from simulators.meter_clock import MeterClock
from simulators.plant import Source
from simulators.refused import Refused, Silent


class SimulatedLog:
    """The memory of one meter.

    `recorder` starts, stops, erases, and can be without supply; `store` holds the records. All of it is to
    be used by the thread that asks the meter, or while no request is on its way.
    """

    def __init__(
        self, memory: LogMemory, clock: MeterClock, source: Source, options: LogOptions, interval: float
    ) -> None:
        """Record the past and be ready. WrongFaults where the options' faults are none of this memory."""
        self.memory = memory
        self.faults = MemoryFaults(parse_memory_faults(options.faults, memory))
        self.store = Store(memory, options.first_number)
        self.recorder = Recorder(memory, self.store, clock, source, interval, self.faults)
        self._reached = Reached(self.store, self.faults, self._before)
        self._lock = LockRegister(memory.lock)
        self._now = 0.0
        self._heads = Heads(self._all_heads())
        self._where = {column for number in (self._reached.pointer, self._reached.echo) if number is not None
                       for column in number.columns()}  # fmt: skip
        table = memory.sessions
        self._sessions = None if table is None else SessionRegisters(table, self.told_sessions)
        self.recorder.remember(options)

    # ---- what tests and lines ask

    def advance(self, running: float) -> None:
        """Record what is due; every request begins with it. Silent while the meter is without supply."""
        self._now = running
        self.recorder.advance(running)
        if self.recorder.is_off(running):
            raise Silent

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
        left = [column for column in columns if column not in self._heads]
        records = self._reached.span()
        inside = [] if records is None else _within(left, records)
        offset = 0 if records is None or not inside else inside[0].address - records[1]
        if inside:
            self._reached.prepare(offset, len(inside))
        found: dict[Column, int] = {}
        for column in columns:
            if column in self._heads and column not in found:
                found |= self._heads.read(column)
        if inside:
            found |= dict(zip(inside, self._reached.read(offset, len(inside)), strict=True))
        if inside or any(column in self._where for column in columns):
            self._reached.read_ended()
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
        return tuple(self._reached.file(part) for part in parts)

    def queue(self, address: int) -> tuple[int, ...]:
        """Function 24."""
        return self._reached.queue(address)

    def altered(self, frame: bytes) -> bytes:
        """A reply of functions 20 and 24 as the meter's faults make it."""
        return altered(frame, self.faults, self._reached.touched)

    def _before(self, numbers: Sequence[int]) -> None:
        """What happens to records as they are about to be read."""
        due = self.faults.due
        if due(Fault.ERASED, numbers):
            self.recorder.erase_and_go_on(self._now)
        if (fault := due(Fault.LOCKED, numbers)) is not None:
            self._lock.hold_by_other(self._now + fault.number)
        if (fault := due(Fault.LAYOUT, numbers)) is not None:
            self._reached.registers = int(fault.number)
        if (fault := due(Fault.SUPPLY_CUT, numbers)) is not None:
            self.recorder.cut_supply(self._now, fault.number)
            raise Silent
        writing = self.faults.standing(Fault.BUSY_WRITING)
        if writing is not None and self.recorder.is_writing(self._now, writing.number / 1000):
            raise Refused(ExceptionCode.BUSY)
        if due(Fault.BUSY, numbers):
            raise Refused(ExceptionCode.BUSY)
        if (fault := due(Fault.REFUSED, numbers)) is not None:
            raise Refused(ExceptionCode(int(fault.number)))
        self._lock.check(self._now)

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
            found.append(Head(memory.record.told, lambda: self._reached.registers))
        if memory.sessions is not None:
            found.append(Head(memory.sessions.count, lambda: len(self.told_sessions())))
        if memory.recording is not None:
            take = self._taking(memory.recording) if memory.recording.writable else None
            found.append(Head(memory.recording.number, self._state, take))
        if memory.command is not None and memory.command.writable:
            found.append(Head(memory.command.number, lambda: 0, self._taking(memory.command)))
        if memory.lock is not None:
            lock = self._lock
            tell, take = (lambda: lock.tell(self._now)), (lambda told: lock.take(told, self._now))
            found.append(Head(memory.lock.register, tell, take))
        reached = self._reached
        if reached.pointer is not None:
            found.append(Head(reached.pointer, reached.standing, reached.point))
        if reached.echo is not None:
            found.append(self._counted(reached.echo, reached.standing))
        return [head for head in found if head is not None]

    def _counted(self, number: Number | None, tell: Callable[[], int]) -> Head | None:
        if number is None:
            return None
        modulus = self.memory.modulus(number)
        return Head(number, lambda: tell() % modulus)

    def _state(self) -> int:
        return self._code("recording" if self.recorder.recording else "idle")

    def _code(self, word: str) -> int:
        assert self.memory.recording is not None
        return next(code for code, said in self.memory.recording.codes.items() if said == word)

    def _taking(self, register: Value) -> Callable[[int], None]:
        """What becomes of a number written to a register with words."""
        return lambda told: self._command(register.codes.get(told))

    def _command(self, word: str | None) -> None:
        """Start, stop or erase. Refused (03) for any other word, or where there is no room."""
        match word:
            case "recording":
                if not self.recorder.start(self._now):
                    raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
            case "idle":
                self.recorder.stop()
            case "erase":
                self.recorder.erase()
            case _:
                raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)


def _within(columns: Sequence[Column], span: Span) -> list[Column]:
    table, start, stop = span
    return [column for column in columns if column.table is table and start <= column.address < stop]
