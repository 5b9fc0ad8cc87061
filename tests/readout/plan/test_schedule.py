"""Due times: on the wall clock's grid, each once, never in a burst, whatever the clocks do."""

from dataclasses import dataclass, field

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from readout.errors import WrongUse
from readout.plan.schedule import SHORTEST_MS, STEP_S, WAITED_OUT_MS, Due, Grid, Instant, look, start

NOON = 1_777_896_000.0  # 2026-05-04T12:00:00Z


@dataclass
class Computer:
    """Two clocks that a test moves: `pass_` lets time go by, `step` puts the wall clock elsewhere."""

    utc: float = NOON
    monotonic: float = 0.0

    def pass_(self, seconds: float) -> None:
        self.monotonic += seconds

    def step(self, seconds: float) -> None:
        self.utc += seconds

    def now(self) -> Instant:
        return Instant(self.utc + self.monotonic, self.monotonic)


@dataclass
class Log:
    """What a recorder would have written."""

    run: list[int] = field(default_factory=list)
    started: list[float] = field(default_factory=list)
    skipped: list[int] = field(default_factory=list)
    jumped: list[range] = field(default_factory=list)
    steps: list[float] = field(default_factory=list)


def record(computer: Computer, every_ms: int, rounds: list[tuple[float, float]]) -> Log:
    """Rounds one after the other; each takes so many seconds, then the wall clock steps by so many."""
    log = Log()
    schedule = start(Grid(every_ms), computer.now())
    for takes, step in rounds:
        due: Due = schedule.next(computer.now())
        log.skipped += due.skipped
        log.jumped.append(due.jumped)
        if due.step_s:
            log.steps.append(due.step_s)
        computer.pass_(max(0.0, due.deadline_s - computer.monotonic))
        log.run.append(due.due_ms)
        log.started.append(computer.monotonic)
        schedule = due.then
        computer.pass_(takes)
        computer.step(step)
    return log


def test_rounds_are_due_at_whole_multiples_whenever_the_recorder_starts() -> None:
    computer = Computer(utc=NOON + 3.2)
    assert record(computer, 10_000, [(0.1, 0), (0.1, 0)]).run == [
        (int(NOON) + 10) * 1000,
        (int(NOON) + 20) * 1000,
    ]


def test_work_of_four_tenths_of_the_interval_does_not_drift_in_an_hour() -> None:
    """The k-th round starts k seconds after the first, to the clock's own resolution."""
    log = record(Computer(), 1000, [(0.4, 0)] * 3600)
    assert log.started[-1] - log.started[0] == pytest.approx(3599, abs=1e-6)
    assert len(log.run) == 3600
    assert not log.skipped


def test_after_thirty_blocked_seconds_one_round_follows_and_29_are_told_as_skipped() -> None:
    log = record(Computer(), 1000, [(30.0, 0), (0.1, 0)])
    assert log.run == [int(NOON) * 1000, (int(NOON) + 30) * 1000]
    assert log.skipped == [(int(NOON) + second) * 1000 for second in range(1, 30)]


def test_a_round_a_little_longer_than_the_interval_does_not_cost_every_second_one() -> None:
    log = record(Computer(), 1000, [(1.05, 0)] * 20)
    assert len(log.skipped) == 1  # lateness grows by 0.05 s a round and is dropped once it reaches 0.5 s


@pytest.mark.parametrize("step", [3600.0, 1_700_000_000.0])
def test_a_clock_put_forward_leaps_over_due_times_without_rows_or_a_burst(step: float) -> None:
    log = record(Computer(), 1000, [(0.1, step), (0.1, 0)])
    assert log.steps == [pytest.approx(step, abs=1e-3)]
    assert not log.skipped
    assert log.run[1] - log.run[0] == pytest.approx(step * 1000 + 1000)
    assert log.started[1] - log.started[0] == pytest.approx(1.0, abs=1e-3)


def test_a_clock_put_back_by_two_seconds_is_waited_for() -> None:
    log = record(Computer(), 1000, [(0.1, -2.0), (0.1, 0)])
    assert log.run[1] - log.run[0] == 1000
    assert log.started[1] - log.started[0] == pytest.approx(3.0, abs=1e-3)


def test_a_clock_put_back_by_an_hour_does_not_stop_the_recorder() -> None:
    """Due times go on ahead of the clock; a clock put right again brings them back without a repeat."""
    log = record(Computer(), 1000, [(0.1, -3600.0), (0.1, 0), (0.1, 3600.0), (0.1, 0), (0.1, 0)])
    assert [due - log.run[0] for due in log.run] == [0, 1000, 2000, 3000, 4000]
    assert log.started[-1] - log.started[0] == pytest.approx(4.0, abs=1e-3)


def test_a_blocked_line_is_told_as_skipped_rounds_while_due_times_run_ahead_of_the_clock_too() -> None:
    log = record(Computer(), 1000, [(0.1, -3600.0), (30.0, 0), (0.1, 0), (0.1, 0)])
    assert [due - log.run[0] for due in log.run] == [0, 1000, 31_000, 32_000]
    assert len(log.skipped) == 29
    assert log.started[-1] - log.started[-2] == pytest.approx(1.0, abs=1e-3)


def test_asking_again_while_waiting_sees_a_clock_that_was_set_meanwhile() -> None:
    """A small computer boots in 1970, waits for its hourly round, and then learns the time."""
    computer = Computer(utc=10.0)
    schedule = start(Grid(3_600_000), computer.now())
    assert schedule.next(computer.now()).due_ms == 3_600_000
    computer.pass_(90)
    computer.step(NOON - 100 + 1800)
    assert schedule.next(computer.now()).due_ms == (int(NOON) + 3600) * 1000


rounds = st.lists(
    st.tuples(
        st.one_of(st.floats(0, 0.9), st.floats(0.9, 40)),
        st.one_of(st.just(0.0), st.floats(-5, 5), st.floats(-10_000, 10_000)),
    ),
    min_size=1,
    max_size=40,
)


@example(250, 0.0, [(0.0, 0.125), (0.0, 0.0), (0.0, 0.0)])
@given(st.sampled_from([100, 250, 1000, 7000, 60_000]), st.floats(0, 120), rounds)
def test_every_due_time_counts_exactly_once_and_no_two_rounds_crowd(
    every_ms: int, offset: float, history: list[tuple[float, float]]
) -> None:
    log = record(Computer(utc=NOON + offset), every_ms, history)
    passed = sorted([*log.run, *log.skipped, *(due for jumped in log.jumped for due in jumped)])
    assert passed == list(range(log.run[0], log.run[-1] + 1, every_ms))
    # A wall clock that moves by less than a step is followed, so a due time may come that much earlier.
    followed = max((abs(step) for _, step in history if abs(step) < STEP_S), default=0.0)
    for earlier, later in zip(log.started, log.started[1:], strict=False):
        assert later - earlier >= every_ms / 2000 - followed - 1e-3


@given(st.sampled_from([100, 1000, 60_000]), rounds)
def test_the_recorder_is_never_silent_for_more_than_two_intervals_and_the_waited_out_minute(
    every_ms: int, history: list[tuple[float, float]]
) -> None:
    log = record(Computer(), every_ms, history)
    for (takes, _), earlier, later in zip(history, log.started, log.started[1:], strict=False):
        assert later - earlier - takes <= (2 * every_ms + WAITED_OUT_MS) / 1000 + 1e-3


@given(
    every_ms=st.sampled_from([100, 250, 1000, 60_000]),
    passed_s=st.floats(0, 300),
    step_s=st.sampled_from([0.0, 0.05, 7.0, -7.0, 3600.0, -3600.0]),
    later_s=st.floats(0, 300),
)
def test_the_deadline_alone_is_that_of_the_next_round(
    every_ms: int, passed_s: float, step_s: float, later_s: float
) -> None:
    """Asked for at every round by every point of a line, so it has a shorter way of its own."""
    first = Instant(1_777_852_800.3, 1000.0)
    schedule = start(Grid(every_ms), first)
    for passed, step in ((0.0, 0.0), (passed_s, 0.0), (later_s, step_s)):
        now = Instant(first.utc_s + passed + step, first.monotonic_s + passed)
        due = schedule.next(now)
        assert schedule.deadline_s(now) == due.deadline_s
        schedule, first = due.then, now


def test_an_interval_below_a_tenth_of_a_second_is_refused_with_the_limit() -> None:
    with pytest.raises(WrongUse, match=f"50 ms is too short; the shortest is {SHORTEST_MS} ms"):
        Grid(50)


def test_a_look_at_the_clocks_that_was_interrupted_is_taken_again() -> None:
    """The process is held up for 2 s between the two clocks: no step must be seen in that."""

    class Interrupted:
        def __init__(self) -> None:
            self.time, self.holds = 0.0, [2.0]

        def monotonic(self) -> float:
            return self.time

        def utc(self) -> float:
            seen = NOON + self.time
            self.time += self.holds.pop() if self.holds else 0.0
            return seen

        def sleep_until(self, deadline: float) -> None:
            raise AssertionError("a look does not wait")

    assert look(Interrupted()).step_since(Instant(NOON, 0.0)) == pytest.approx(0.0, abs=1e-6)
