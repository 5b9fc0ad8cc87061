"""Faults, reads, writes, rests and idle time in any order: a value that counts is the meter's own.

A state machine draws what happens; the meters are simulated, time jumps. The invariant: value accepted means
that it was the meter's value for that unit and register since the read began; since the read before, where
the very same was asked again within 50 ms.
"""

from collections import deque

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from simulators.faults import RECOGNISABLE, Conditions, Fault

#: Letters with the numbers that they may carry; times in ms.
ONE = [(Fault(letter),) for letter in RECOGNISABLE] + [
    (Fault(letter, numbers),)
    for letter, numbers in (
        ("e", (0,)), ("e", (30,)), ("z", (1, 40)), ("y", (2, 3)), ("y", (1, 30)), ("l", (490,)),
        ("v", (510,)), ("v", (1450,)), ("c", (1,)), ("c", (8,)), ("h", (2,)), ("h", (3,)), ("p", (45, 1)),
        ("f", (9, 200)), ("f", (9, 20)), ("r", (1,)), ("r", (9,)), ("u", (9,)), ("!", (5,)), ("!", (4,)),
        ("!", (11,)), ("d", (2,)), ("d", (20,)), ("d", (45,)),
    )
]  # fmt: skip
#: Letters that leave the reply whole, so that two may meet.
TWO = [(Fault(one), Fault(other)) for one in "zyepfk" for other in "zylvek" if one != other]


class Drawn:
    """A plan that is made while it is played."""

    def __init__(self) -> None:
        self.conditions = Conditions()
        self.waiting: deque[tuple[Fault, ...]] = deque()

    def steps(self):
        while True:
            yield self.waiting.popleft() if self.waiting else ()


def machine_over(hall_of) -> type[RuleBasedStateMachine]:
    """The machine, on halls made by `hall_of(plan)`."""

    class AnyOrder(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.plan = Drawn()
            self.hall = hall_of(self.plan)
            self.open: list[tuple[float, Outcome]] = []
            self.last: tuple[int, int] | None = None

        @rule(step=st.sampled_from(ONE + TWO))
        def something_will_go_wrong(self, step: tuple[Fault, ...]) -> None:
            self.plan.waiting.append(step)

        @rule(count=st.integers(1, 3))
        def some_go_well(self, count: int) -> None:
            self.plan.waiting.extend([()] * count)

        @rule(
            unit=st.sampled_from((1, 2)),
            place=st.integers(0, 6),
            repeats=st.integers(0, 1),
            pause=st.sampled_from((0.0, 0.1)),
        )
        def read(self, unit: int, place: int, repeats: int, pause: float) -> None:
            began = since = self.hall.clock.at
            if self.open and self.last == (unit, place) and began < self.open[-1][1].ended + 0.05:
                since = self.open[-1][0]
            self.last = (unit, place)
            manners = Manners(repeats=repeats, pause=pause, busy_within=1.0)
            outcome = self.hall.line.read(unit, self.hall.reads[place], manners)
            assert self.hall.clock.at - began < 20
            self.open.append((since, outcome))

        @precondition(lambda self: self.open)
        @rule(idle=st.sampled_from((0.06, 0.2)))
        def the_round_ends(self, idle: float) -> None:
            final = self.hall.line.settle([outcome for _, outcome in self.open], self.hall.clock.at + idle)
            for (since, _), outcome in zip(self.open, final, strict=True):
                assert self.hall.is_true(outcome, since), outcome
                assert (outcome.words != ()) == (outcome.status is Status.OK)
                assert (outcome.text == "") == (outcome.status is Status.OK)
            self.open.clear()

        @rule(seconds=st.sampled_from((0.01, 0.1, 2.0)))
        def nothing_happens(self, seconds: float) -> None:
            self.hall.clock.at += seconds

        def teardown(self) -> None:
            if self.open:
                self.the_round_ends(0.2)
            self.plan.waiting.clear()
            # And it always recovers: the next round is whole.
            asked = [(unit, request) for request in self.hall.reads for unit in (1, 2)]
            self.hall.round(asked[:2], Manners(busy_within=1.0))
            final = self.hall.round(asked, Manners(busy_within=1.0))
            assert all(outcome.status is Status.OK for outcome in final)
            assert self.hall.tally.wrong == []

    return AnyOrder


@pytest.mark.parametrize(
    "examples", [350, pytest.param(20_000, marks=pytest.mark.long)], ids=["some", "very many"]
)
def test_in_any_order_of_faults_and_reads_a_value_is_the_meters_own(faulty_hall, examples: int) -> None:
    run_state_machine_as_test(
        machine_over(faulty_hall),
        settings=settings(max_examples=examples, stateful_step_count=30, deadline=None),
    )
