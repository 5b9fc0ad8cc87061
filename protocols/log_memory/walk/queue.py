"""A queue that moves on with every read: what a lost reply held is gone, so its loss is worked out."""

from dataclasses import dataclass

import numpy as np

from protocols.log_memory.numbers import extended
from protocols.log_memory.records import empty, own_numbers, split
from protocols.log_memory.state import MemoryState
from protocols.log_memory.walk.account import Target
from protocols.log_memory.walk.reading import (
    BUSY_TRIES,
    TRIES,
    Cause,
    Problem,
    Purpose,
    Step,
    Steps,
    Window,
    cut_short,
    refused,
    words_of,
)
from protocols.log_memory.walk.sweep import Sweep
from protocols.values.words import WordTable


@dataclass
class Drain:
    """Empties the queue once. `expected` is the number of the next record, as far as anything tells it."""

    sweep: Sweep
    targets: list[Target]
    expected: int

    def run(self) -> Steps[None]:
        """Read until the queue is empty; every record's number from itself, from `oldest`, or by counting."""
        silent = busy = taken = 0
        lost = False
        before: tuple[int, ...] | None = None
        reach, account = self.sweep.reader.reach, self.sweep.account
        while taken <= self.sweep.memory.capacity:
            fetch = reach.fetch(self.expected, reach.most)
            step = Step(Purpose.RECORDS, fetch.data, self.expected, reach.most, repeatable=False)
            reply = yield step
            problem = refused(reply)
            if problem is not None:
                self.sweep.reader.problems.append(problem)
                busy += problem.cause is Cause.BUSY
                silent += problem.cause is not Cause.BUSY
                lost = lost or problem.cause is Cause.NO_REPLY
                if silent >= TRIES or busy >= BUSY_TRIES:
                    account.ended = Problem(problem.cause, problem.text, ended=True)
                    return
                continue
            silent = busy = 0
            words = words_of(reply)
            if len(words) % reach.registers:
                problem = cut_short(len(words), reach.registers)
                account.ended = Problem(problem.cause, problem.text, ended=True)
                return
            repeated, before = lost and words == before, words
            count = len(words) // reach.registers
            if not repeated:
                yield from self._take(split(words, 0, reach.registers, count), lost=lost)
                taken += count
            if count == 0:
                return
            lost = False

    def _take(self, table: WordTable, *, lost: bool) -> Steps[None]:
        """Records that came, after what was lost before them is stated."""
        memory = self.sweep.memory
        numbers = own_numbers(memory.record, table)
        none = empty(memory.record, table)
        told: int | None = None
        if numbers is not None and memory.record.number is not None and not none.all():
            at = int(np.argmin(none))
            modulus = memory.modulus(memory.record.number.number)
            told = int(numbers[at]) - at
            had = (self.expected - told) % modulus
            if 0 < had <= len(table):  # it repeats records that are here already
                table, told = table[had:], told + had
        elif lost and memory.oldest is not None:
            state = yield from self.sweep.ring.look()
            if isinstance(state, MemoryState) and state.oldest is not None:
                told, modulus = state.oldest - len(table), memory.modulus(memory.oldest)
        elif lost:
            most = self.sweep.reader.reach.most
            text = f"A reply was lost before this record; up to {most} records may have gone with it."
            self.sweep.reader.problems.append(Problem(Cause.LOST, text))
        if told is not None:
            first = extended(told % modulus, modulus, self.expected)
            self.sweep.account.gap(self._target(self.expected).index, range(self.expected, first), Cause.LOST)
            self.expected = first
        if len(table):
            target = self._target(self.expected)
            self._expect(target, range(self.expected, self.expected + len(table)))
            held = np.ones(len(table), np.bool_)
            self.sweep.accept(target, Window(self.expected, table, held))
            self.expected += len(table)

    def _expect(self, target: Target, numbers: range) -> None:
        if not set(numbers) <= set(target.numbers):
            self.sweep.account.expect(Target(target.index, target.session, numbers, target.known))

    def _target(self, number: int) -> Target:
        return next((one for one in self.targets if number in one.numbers), self.targets[-1])
