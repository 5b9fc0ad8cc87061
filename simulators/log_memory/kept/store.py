"""The memory itself: a place for each record, used again in a ring; and the truth about what it holds."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protocols.log_memory.numbers import memory_modulus
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Order
from protocols.values.words import WordTable
from simulators.log_memory.kept.fields import Told
from simulators.log_memory.kept.records import Milliseconds, Written, seal

Numbers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Truth:
    """Every record the memory holds, oldest first, worked out without the registers that tell of it.

    Places with an empty record are left out.

    All arrays are [n]. `number` is extended (goes on where the meter starts again at 0), `session` counts
    from 0 those the meter ever began; `started_ms[i]` is the start of session i as the meter told it, by its
    own clock. `time_ms`: the moment the record is marked at, true UTC. `meter_ms`: the same as the meter
    tells it: the figures of the record's own `time`, else session start + n × interval; where `has_time`.
    `values`: by field name, what a reader must find, in the map's unit.
    """

    number: Numbers
    session: Numbers
    time_ms: Milliseconds
    meter_ms: Milliseconds
    has_time: NDArray[np.bool_]
    values: Mapping[str, Told]
    started_ms: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.number)

    def rows(self) -> list[tuple[Any, ...]]:
        """Tuples (number, time_ms, value, …), values in the map's order, None where there is no reading."""
        columns = [
            [one if there else None for one, there in zip(told.data.tolist(), told.available, strict=True)]
            for told in self.values.values()
        ]
        return list(zip(self.number.tolist(), self.time_ms.tolist(), *columns, strict=True))


@dataclass(slots=True)
class Session:
    """One recording. `first` is the extended number of its first record, `count` how many it ever had.

    `begun` [running s]: when its first interval began; `interval` [s] by the meter's crystal. `started_ms`:
    its start as the meter tells it.
    """

    begun: float
    interval: float
    first: int
    started_ms: int
    count: int = 0

    @property
    def end(self) -> int:
        """The extended number behind its last record."""
        return self.first + self.count


class Store:
    """Places of one memory; what is written to a place stays until the next record for that place."""

    def __init__(self, memory: LogMemory, first_number: int = 0) -> None:
        self.memory = memory
        self.modulus = memory_modulus(memory)
        self.next = first_number
        self.oldest = first_number
        self.sessions: list[Session] = []
        self._begun_with = first_number
        self._started_ms: list[int] = []  # of every session ever, in their order
        capacity, registers = memory.capacity, memory.record.registers
        self.words = np.zeros((capacity, registers), np.uint16)
        self._number = np.full(capacity, -1, np.int64)
        self._session = np.zeros(capacity, np.int64)
        self._time = np.zeros(capacity, np.int64)
        self._meter = np.zeros(capacity, np.int64)
        self._told: dict[str, Told] = {}
        self._empty_word = memory.record.empty[0].word if memory.record.empty else 0
        self.words[:] = self._empty_word
        self._dummy = np.zeros(capacity, np.bool_)
        self._has_time = np.zeros(capacity, np.bool_)

    @property
    def held(self) -> int:
        """How many records it holds."""
        return self.next - self.oldest

    @property
    def room(self) -> int | None:
        """How many more fit before it stops; None for a ring."""
        return None if self.memory.is_ring else self.memory.capacity - self.held

    def places(self, numbers: Numbers) -> Numbers:
        """Where records with extended `numbers` lie."""
        told = numbers if self.modulus is None else numbers % self.modulus
        return np.asarray(told % self.memory.capacity)

    def begin(self, session: Session) -> None:
        """The records that come from now on are of `session`."""
        self.sessions.append(session)
        self._started_ms.append(session.started_ms)

    def append(self, written: Written, time_ms: Milliseconds, meter_ms: Milliseconds) -> None:
        """Records of the last session, behind the newest; the caller has seen to it that they fit."""
        count = len(written.words)
        numbers = np.arange(self.next, self.next + count)
        kept = slice(max(0, count - self.memory.capacity), count)
        at = self.places(numbers[kept])
        self.words[at] = written.words[kept]
        self._dummy[at] = written.dummy[kept]
        self._has_time[at] = written.has_time[kept]
        self._number[at] = numbers[kept]
        self._session[at] = len(self._started_ms) - 1
        self._time[at], self._meter[at] = time_ms[kept], meter_ms[kept]
        for name, told in written.told.items():
            if name not in self._told:
                data = np.zeros(self.memory.capacity, told.data.dtype)
                self._told[name] = Told(data, np.zeros(self.memory.capacity, np.bool_))
            self._told[name].data[at] = told.data[kept]
            self._told[name].available[at] = told.available[kept]
        self.sessions[-1].count += count
        self.next += count
        self.oldest = max(self.oldest, self.next - self.memory.capacity)

    def read(self, first: int, count: int) -> WordTable:
        """The words [count, registers] that lie where records from the extended number `first` on belong.

        In a ring that may be a newer record, as in a meter that finds a place by its number; a memory that
        stops has no places behind its last.
        """
        numbers = np.arange(first, first + count)
        words = self.words[self.places(numbers)]
        if not self.memory.is_ring:
            words[numbers >= self._begun_with + self.memory.capacity] = self._empty_word
        return words

    def drop_newest(self) -> None:
        """Take back the newest record, which is about to be written anew."""
        self._number[self.places(np.array([self.next - 1]))] = -1
        self.sessions[-1].count -= 1
        self.next -= 1

    def begin_record(self, words: WordTable) -> None:
        """Half of the next record lies in its place, over half of the one there; words are [1, registers]."""
        half = words.shape[1] // 2
        self.words[self.places(np.array([self.next])), :half] = words[:, :half]

    def spoil_value(self, words: WordTable, row: int) -> None:
        """Turn over the lowest bit of a record's first value, with a check that fits."""
        first = self.memory.record.values[0].number
        last = first.address + (first.words - 1 if first.word_order is Order.HIGH_FIRST else 0)
        words[row, last] ^= 0x0100 if first.byte_order is Order.LOW_FIRST else 1
        seal(self.memory.record, words[row : row + 1])

    def number_at(self, place: int) -> int:
        """The extended number of the record at a place; -1 where there is none."""
        return int(self._number[place])

    def erase(self) -> None:
        """Forget everything; numbers start again at 0."""
        self.sessions.clear()
        self._number[:] = -1
        self.words[:] = self._empty_word
        self.next = self.oldest = self._begun_with = 0

    def take(self, count: int) -> None:
        """Let the oldest records go, as a queue does that moves on; their places are free then."""
        self.oldest = min(self.oldest + count, self.next)

    def truth(self) -> Truth:
        """What its places hold now; records that a queue has let go too, until their places are used."""
        numbers = np.arange(max(self._begun_with, self.next - self.memory.capacity), self.next)
        at = self.places(numbers)
        real = ~self._dummy[at]
        numbers, at = numbers[real], at[real]
        record = self.memory.record
        told = {
            value.name: replace(found, data=found.data[at], available=found.available[at])
            for value in record.values
            if (found := self._told.get(value.name)) is not None
        }
        return Truth(
            numbers, self._session[at], self._time[at], self._meter[at], self._has_time[at], told,
            tuple(self._started_ms),
        )  # fmt: skip
