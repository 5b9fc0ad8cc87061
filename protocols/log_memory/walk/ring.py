"""A ring goes on while it is read: which records of a window were safe from being overwritten meanwhile.

The record a full ring writes next is its oldest, and while it is written it may be half old, half new. So a
window counts only up to a look at the memory after it was read: what is older than the oldest record then is
lost, and the oldest itself, if the meter records, is kept only when a second reading of it, and a look after
that, show the same. A record with its own number and its own check proves all this by itself.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from protocols.log_memory.numbers import extended, memory_modulus
from protocols.log_memory.records import empty, own_numbers
from protocols.log_memory.state import MemoryState
from protocols.log_memory.walk.reading import Problem, Reader, Steps, Window
from protocols.register_map.memory_model import LogMemory


@dataclass
class Ring:
    """`oldest` is the extended number of the oldest record at the last look."""

    memory: LogMemory
    reader: Reader
    look: Callable[[], Steps[MemoryState | Problem]]
    oldest: int = 0

    def confirm(self, window: Window) -> Steps[Window | Problem]:
        """The window with what was lost meanwhile marked as not held."""
        record = self.memory.record
        if not self.memory.is_ring or (record.number is not None and record.check is not None):
            return window
        if self.memory.sessions is None and self.memory.next is None:
            return (yield from self._confirm_by_number(window))
        state = yield from self.look()
        if isinstance(state, Problem):
            return state
        self.learn(state)
        held = window.held & (window.first + np.arange(len(window.words)) >= self.oldest)
        at = self.oldest - window.first
        if 0 <= at < len(held) and held[at] and self._at_risk(state):
            held[at] = yield from self._same_again(window, at)
        return Window(window.first, window.words, held)

    def learn(self, state: MemoryState) -> None:
        """The oldest record of a look at the memory; it only ever moves on."""
        sessions = state.all_sessions(self.memory)
        if not sessions:
            return
        told = state.oldest if state.oldest is not None else sessions[0].first
        modulus = memory_modulus(self.memory)
        self.oldest = told if modulus is None else extended(told, modulus, self.oldest)

    def _at_risk(self, state: MemoryState) -> bool:
        return state.recording is not False and state.full(self.memory) and self.memory.record.check is None

    def _same_again(self, window: Window, at: int) -> Steps[bool]:
        """Whether the oldest record reads the same once more, and is the oldest still after that."""
        oldest = self.oldest
        again = yield from self.reader.fetch(oldest, 1)
        if isinstance(again, Problem) or not again.held[0]:
            return False
        state = yield from self.look()
        if isinstance(state, Problem):
            return False
        self.learn(state)
        return self.oldest == oldest and bool((again.words[0] == window.words[at]).all())

    def _confirm_by_number(self, window: Window) -> Steps[Window]:
        """Without a register for the oldest: while the record before a window still tells its own number,
        the writer has not come to the window."""
        held = window.held.copy()
        first = int(np.argmax(held))
        if held[first]:
            before = window.first + first - 1
            told = yield from self._number_at(self.reader.reach.place(before))
            turned = (before + self.memory.capacity) % (memory_modulus(self.memory) or 1 << 64)
            if isinstance(told, Problem) or told == turned:  # the writer stands right before it, or on it
                again = yield from self.reader.fetch(window.first + first, 1)
                held[first] = (
                    isinstance(again, Window)
                    and bool(again.held[0])
                    and bool((again.words[0] == window.words[first]).all())
                )
        return Window(window.first, window.words, held)

    def probe(self) -> Steps[range | Problem]:
        """The extent of a ring whose records tell their numbers and nothing else does: by halving."""
        capacity = self.memory.capacity
        start = yield from self._number_at(0)
        if start is None or isinstance(start, Problem):
            return range(0) if start is None else start
        low, high = 0, capacity
        modulus = memory_modulus(self.memory) or 1 << 64
        while high - low > 1:
            middle = (low + high) // 2
            told = yield from self._number_at(middle)
            if isinstance(told, Problem):
                return told
            follows = told is not None and told == (start + middle) % modulus
            low, high = (middle, high) if follows else (low, middle)
        following = start + low + 1
        if low + 1 == capacity:
            return range(start, following)
        older = yield from self._number_at(low + 1)
        if isinstance(older, Problem):
            return older
        turned = older is not None and older == (following - capacity) % modulus
        return range(following - capacity if turned else start, following)

    def _number_at(self, place: int) -> Steps[int | Problem | None]:
        """The number told at a place of the memory; None where it is empty."""
        words = yield from self.reader.peek(place)
        if isinstance(words, Problem):
            return words
        numbers = own_numbers(self.memory.record, words)
        assert numbers is not None
        return int(numbers[0]) if numbers[0] >= 0 and not empty(self.memory.record, words)[0] else None
