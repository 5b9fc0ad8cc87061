"""One window of records after the other: asked for, proven to be the one asked for, asked again if not.

A `Steps` is a generator: it yields what to send, is sent what came (None: no reply that could be trusted),
and returns what it found. Nothing moves on by trust: a window counts only when the echo in the same read,
the record's own number, a time that continues the one before, or the pointer read back says which it is.
"""

from collections.abc import Generator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeVar

import numpy as np

from protocols.log_memory.records import Mask, empty, own_numbers, own_times, split, whole
from protocols.log_memory.ways import Fetch, Reach, after
from protocols.modbus.exceptions import ExceptionCode, describe
from protocols.modbus.replies import Bits, ExceptionReply, FileRecords, Queue, Registers, Reply, Written
from protocols.modbus.requests import Request
from protocols.register_map.memory_model import ByQueue, ByRegisters, ByWindow
from protocols.register_map.model import Number
from protocols.values.words import WordTable

#: How often one window is asked for before it is given up, and how often it is only read again after its
#: pointer was written, since a meter may need time to fill it.
TRIES, POLLS = 5, 3
#: How often a busy meter is asked; whoever sends waits in between.
BUSY_TRIES = 20
_BUSY = (ExceptionCode.BUSY, ExceptionCode.ACKNOWLEDGE)


class Purpose(StrEnum):
    """What a step is for."""

    LOCK = "look at the lock"
    OPEN = "open the memory"
    STATE = "look at the memory"
    POINT = "set the pointer"
    RECORDS = "read records"
    PROVE = "read the pointer back"
    CLOSE = "close the memory"


class Cause(StrEnum):
    """Why records are missing, or why the retrieval ended."""

    NO_REPLY = "no reply"
    EXCEPTION = "exception"
    BUSY = "busy"
    LOCKED = "in use by another port"
    ELSEWHERE = "another window came"
    OVERWRITTEN = "overwritten before it was read"
    LAYOUT = "record layout"
    RESTARTED = "numbers start again"
    NOTHING = "queue is empty"
    LOST = "a reply of a queue that moves on was lost"


@dataclass(frozen=True, slots=True)
class Step:
    """What to send next. `first` and `count` say which records a read asks for, extended.

    Not `repeatable`: sent again after a lost reply it may skip records; leave that to the walker.
    """

    purpose: Purpose
    request: Request
    first: int | None = None
    count: int = 0
    repeatable: bool = True


@dataclass(frozen=True, slots=True)
class Problem:
    """What went wrong, as a sentence; `ended`: nothing more is asked of this meter now."""

    cause: Cause
    text: str
    ended: bool = False


@dataclass(frozen=True, slots=True)
class Window:
    """Records [n, registers] from `first` on; `held` [n]: not overwritten before they were read.

    `fits` [n]: their own checks agree; None where that was not looked at yet.
    """

    first: int
    words: WordTable
    held: Mask
    fits: Mask | None = None


T = TypeVar("T")
Steps = Generator[Step, Reply | None, T]


def refused(reply: Reply | None) -> Problem | None:
    """What is wrong with a reply as such."""
    if reply is None:
        return Problem(Cause.NO_REPLY, "No reply that could be trusted came.")
    if isinstance(reply, ExceptionReply):
        cause = Cause.BUSY if reply.code in _BUSY else Cause.EXCEPTION
        return Problem(cause, f"The meter answered {describe(reply.code)}.")
    return None


def words_of(reply: Reply | Problem | None) -> tuple[int, ...]:
    """The registers of a reply that has some; bits as 0 and 1."""
    if isinstance(reply, Bits):
        return tuple(int(bit) for bit in reply.bits)
    if isinstance(reply, Registers | Queue):
        return reply.words
    if isinstance(reply, FileRecords):
        return tuple(word for part in reply.parts for word in part)
    return ()


def asked(step: Step, busy_tries: int = BUSY_TRIES) -> Steps[Reply | Problem]:
    """One step, asked again while the meter is busy, and a few times while nothing comes."""
    problem = Problem(Cause.NO_REPLY, "No reply that could be trusted came.")
    silent = busy = 0
    while silent < TRIES and busy < busy_tries:
        reply = yield step
        found = refused(reply)
        if found is None and reply is not None:
            return reply
        problem = found or problem
        busy += problem.cause is Cause.BUSY
        silent += problem.cause is not Cause.BUSY
        if problem.cause is Cause.EXCEPTION and silent >= 2:
            break
    return problem


@dataclass
class Reader:
    """Fetches windows by one way. `problems` gathers what went wrong on the way, for whoever drains it.

    `standing`: where pointer or bank is known to stand. `last`: number and time [ms] of the last record
    accepted, `interval_ms` of its session; both serve only to prove the next window by its time.
    """

    reach: Reach
    standing: int | None = None
    last: tuple[int, int] | None = None
    interval_ms: int | None = None
    problems: list[Problem] = field(default_factory=list)

    def fetch(self, first: int, count: int) -> Steps[Window | Problem]:
        """Records from `first` on: `count`, or fewer from a queue; a problem where none can be had."""
        problem = Problem(Cause.NO_REPLY, "")
        tries = busy = 0
        while tries < TRIES and busy < BUSY_TRIES:
            found = yield from self._attempt(first, count)
            if isinstance(found, Window):
                return found
            problem = found
            self.problems.append(found)
            tries += found.cause is not Cause.BUSY
            busy += found.cause is Cause.BUSY
            if found.cause is Cause.EXCEPTION and tries >= 2:
                break  # a hole in the map counts once a second request meets it too
        return problem

    def peek(self, place: int) -> Steps[WordTable | Problem]:
        """The one record at a place of a memory reached by registers or files, whatever its number."""
        fetch = self.reach.fetch(place, 1)
        self.standing = None
        for request in (*fetch.point, fetch.data):
            purpose = Purpose.RECORDS if request is fetch.data else Purpose.POINT
            reply = yield from asked(Step(purpose, request, place, 1))
            if isinstance(reply, Problem):
                return reply
        return split(words_of(reply), fetch.skip, self.reach.registers, 1)

    def _attempt(self, first: int, count: int) -> Steps[Window | Problem]:
        fetch = self.reach.fetch(first, count, self.standing)
        self.standing = None
        for request in fetch.point:
            reply = yield Step(Purpose.POINT, request, first, count)
            problem = refused(reply)
            if problem is not None:
                return problem
            if not isinstance(reply, Written):
                return Problem(Cause.ELSEWHERE, "The meter did not confirm the pointer.")
        problem = Problem(Cause.NO_REPLY, "")
        for _ in range(POLLS if fetch.point else 1):
            found = yield from self._read(fetch)
            if isinstance(found, Window):
                return found
            problem = found
            if found.cause is not Cause.ELSEWHERE:
                break
            self.problems.append(found)
        return problem

    def _read(self, fetch: Fetch) -> Steps[Window | Problem]:
        way = self.reach.memory.reached_by
        reply = yield Step(Purpose.RECORDS, fetch.data, fetch.first, fetch.count)
        problem = refused(reply)
        if problem is not None:
            return problem
        words = words_of(reply)
        count = fetch.count
        if isinstance(way, ByQueue):
            count = min(count, len(words) // self.reach.registers)
            if len(words) % self.reach.registers:
                return cut_short(len(words), self.reach.registers)
            if count == 0:
                return Problem(Cause.NOTHING, f"The queue is empty where record {fetch.first} was wanted.")
        window = self.window(fetch.first, split(words, fetch.skip, self.reach.registers, count))
        if fetch.echo is not None:
            at = fetch.echo_at
            told = whole(fetch.echo, words[at : at + fetch.echo.words])
            if told != fetch.expected:
                return elsewhere(fetch, told)
        if isinstance(window, Problem):
            return window
        if fetch.echo is None and fetch.prove is not None and not self._proven(window):
            problem = yield from self._read_back(fetch)
            if problem is not None:
                return problem
        self.standing = after(self.reach.memory, fetch)
        return window

    def window(self, first: int, words: WordTable) -> Window | Problem:
        """The records, if the numbers they tell are those wanted, or those that overwrote them."""
        memory = self.reach.memory
        numbers = own_numbers(memory.record, words)
        held = np.ones(len(words), np.bool_)
        if numbers is None or memory.record.number is None:
            return Window(first, words, held)
        modulus = memory.modulus(memory.record.number.number)
        wanted = first + np.arange(len(words))
        held = (numbers == wanted % modulus) | empty(memory.record, words)
        newer = memory.is_ring & (numbers == (wanted + memory.capacity) % modulus)
        if not (held | newer).all():
            wrong = int(np.flatnonzero(~(held | newer))[0])
            return Problem(
                Cause.ELSEWHERE,
                f"Record {first + wrong} was wanted; the record that came tells number {numbers[wrong]}.",
            )
        return Window(first, words, held)

    def _proven(self, window: Window) -> bool:
        """Whether the records' own numbers, or times that go on from the last one's, show which they are."""
        record = self.reach.memory.record
        if record.number is not None:
            return not bool(empty(record, window.words).all())
        times = own_times(record, window.words)
        if times is None or self.last is None or not self.interval_ms or self.last[0] != window.first - 1:
            return False
        due = self.last[1] + self.interval_ms * np.arange(1, len(window.words) + 1)
        return bool((times[1] & (np.abs(times[0] - due) * 2 < self.interval_ms)).all())

    def _read_back(self, fetch: Fetch) -> Steps[Problem | None]:
        assert fetch.prove is not None
        reply = yield Step(Purpose.PROVE, fetch.prove, fetch.first, fetch.count)
        problem = refused(reply)
        if problem is not None:
            return problem
        way = self.reach.memory.reached_by
        told = whole(self._pointer(), words_of(reply))
        moved = isinstance(way, ByWindow) and way.advance and fetch.whole
        expected = fetch.expected + (fetch.count if moved else 0)
        if told is not None and told == expected % self.reach.memory.modulus(self._pointer()):
            return None
        return elsewhere(fetch, told)

    def _pointer(self) -> Number:
        way = self.reach.memory.reached_by
        found = None
        if isinstance(way, ByWindow):
            found = way.pointer
        elif isinstance(way, ByQueue):
            found = way.next_wanted
        elif isinstance(way, ByRegisters):
            found = way.bank
        assert found is not None  # a fetch with `prove` has one
        return found


def elsewhere(fetch: Fetch, told: int | None) -> Problem:
    """The pointer or its echo tells another place than the one asked for."""
    return Problem(
        Cause.ELSEWHERE, f"The window stands at {told} where {fetch.expected} was asked for; asking again."
    )


def cut_short(words: int, registers: int) -> Problem:
    """A queue's reply that is no whole number of records: the layout is another."""
    return Problem(
        Cause.LAYOUT, f"The queue sent {words} registers, which is no multiple of a record's {registers}."
    )
