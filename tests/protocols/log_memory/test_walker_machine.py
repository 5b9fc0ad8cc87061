"""A meter that records on while it is read, over a line that loses replies, by someone who is interrupted.

Hypothesis plays all three against the walk. Whatever it does: exactly the meter's records, once each, in
order, with their own words; and what was overwritten before it was read is stated record for record.
"""

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from protocols.log_memory.numbers import merged
from protocols.log_memory.walk.account import Known
from protocols.log_memory.walk.walker import Walker
from protocols.modbus.replies import Registers
from protocols.modbus.requests import ReadRequest

RINGS = (
    "window", "window by function 23", "window that moves on", "window, pointer read back", "registers",
    "banks", "files", "queue",
)  # fmt: skip


KINDS = [(way, "plain") for way in RINGS] + [
    ("window", "numbered"),
    ("files", "checked"),
    ("queue", "numbered"),
]


class Visits(RuleBasedStateMachine):
    """One meter, one archive (`kept`: number to words), as many visits as it takes."""

    def __init__(self, model: SimpleNamespace, way: str, fields: str, ring: bool) -> None:
        super().__init__()
        self.model, self.fields = model, fields
        #: A pointer read back apart from the window cannot show that the window lags behind it.
        self.can_lag = way != "window, pointer read back"
        self.map = model.map_of(model.map_text(way, fields, ring=ring))
        self.meter = model.Meter(self.map, fields)
        self.kept: dict[int, tuple[int, ...]] = {}
        self.lost: set[int] = set()
        self.lost_replies = 0
        self.before: Any = None
        self.visit()

    def visit(self) -> None:
        numbers = [range(n, n + 1) for n in (*self.kept, *self.lost)]
        known = (Known(None, tuple(merged(numbers))),)
        self.walker = Walker(self.map.log_memory, self.map.wire, known)  # type: ignore[arg-type]
        self.lost_replies = 0

    def take(self, reply: Any) -> None:
        for batch in self.walker.take(reply).batches:
            for number, words in zip(batch.numbers.tolist(), batch.words.tolist(), strict=True):
                assert number not in self.kept, "handed out twice"
                assert number > max(self.kept, default=-1), "out of order"
                self.kept[number] = tuple(words)
        for gap in self.walker.statement().gaps:
            assert gap.last < self.meter.oldest, "stated as lost, and still there"
            self.lost |= set(range(gap.first, gap.last + 1))

    @rule(count=st.integers(1, 4))
    def record(self, count: int) -> None:
        for _ in range(count):
            # told numbers turn at 24: who does not look for a whole turn cannot know which one it is
            if self.meter.written - max([-1, *self.kept, *self.lost]) < 23:
                self.meter.record()

    @rule(steps=st.integers(1, 6))
    def answer(self, steps: int) -> None:
        for _ in range(steps):
            step = self.walker.next()
            if step is None:
                self.visit()
                return
            reply = self.meter.answer(step.request)
            if isinstance(step.request, ReadRequest) and step.request.start == 100:
                self.before = (step.request, reply)
            self.take(reply)

    @rule()
    def lose(self) -> None:
        """The meter acts, and nobody hears of it; twice in a row at most."""
        step = self.walker.next()
        if step is not None and self.lost_replies < 2:
            self.lost_replies += 1
            self.meter.answer(step.request)
            self.take(None)

    @rule()
    def repeat_window(self) -> None:
        """A window shown before comes once more, by a meter that did not turn the page."""
        step = self.walker.next()
        if step is not None and self.can_lag and self.before is not None and step.request == self.before[0]:
            reply, self.before = self.before[1], None
            assert isinstance(reply, Registers)
            self.take(reply)

    @rule(reads=st.integers(1, 2))
    def slow_pointer(self, reads: int) -> None:
        self.meter.slow = reads if self.can_lag else 0

    @rule()
    def interrupt(self) -> None:
        self.visit()

    @invariant()
    def every_word_is_the_records_own(self) -> None:
        for number, words in self.kept.items():
            assert words == self.model.record_words(number, self.fields)

    def teardown(self) -> None:
        """Recording stops, one last visit to the end: everything is here or stated as lost."""
        self.meter.slow = 0
        self.visit()
        for _ in range(400):
            step = self.walker.next()
            if step is None:
                break
            self.take(self.meter.answer(step.request))
        assert self.walker.next() is None
        assert self.walker.statement().ended is None
        assert set(self.kept) | self.lost >= set(range(self.meter.oldest, self.meter.written))
        assert not set(self.kept) & self.lost
        told = sorted((*self.kept, *self.lost))
        assert told == list(range(told[0], self.meter.written) if told else [])
        account = self.walker.statement()
        assert account.expected == account.known + account.read + account.dummies + account.missing
        if not self.meter.memory.is_ring:
            assert list(self.kept) == list(range(self.meter.written))


@pytest.mark.parametrize(("way", "fields"), KINDS)
def test_a_memory_that_stops_when_full(model: SimpleNamespace, way: str, fields: str) -> None:
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        lambda: Visits(model, way, fields, ring=False),
        settings=settings(max_examples=60, stateful_step_count=30, deadline=None),
    )


@pytest.mark.parametrize(("way", "fields"), KINDS)
def test_a_ring_that_turns_while_it_is_read(model: SimpleNamespace, way: str, fields: str) -> None:
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        lambda: Visits(model, way, fields, ring=True),
        settings=settings(max_examples=60, stateful_step_count=30, deadline=None),
    )
