"""Threads on one simulated clock: in the order of their instants, whatever the operating system does."""

import threading
from collections.abc import Callable

import pytest

from simulators.shared_clock import SharedClock


def run(*acts: Callable[[], object]) -> None:
    """Each in a thread of its own, to the end."""
    threads = [threading.Thread(target=act) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
        assert not thread.is_alive()


def test_threads_go_on_in_the_order_of_their_instants() -> None:
    clock, seen = SharedClock(3, utc=0.0, monotonic=0.0), list[tuple[float, str]]()

    def every(seconds: float, name: str) -> Callable[[], None]:
        def act() -> None:
            for n in range(1, 5):
                clock.sleep_until(n * seconds)
                seen.append((clock.utc(), name))

        return act

    run(every(2.0, "a"), every(3.0, "b"), every(0.5, "c"))
    assert sorted(seen) == sorted(
        [(n * s, x) for s, x in ((2, "a"), (3, "b"), (0.5, "c")) for n in range(1, 5)]
    )
    assert [moment for moment, _ in seen] == sorted(moment for moment, _ in seen)


def test_whoever_waits_for_an_event_goes_on_at_the_instant_it_is_set() -> None:
    clock, event, found = SharedClock(2, monotonic=0.0), threading.Event(), list[tuple[bool, float]]()

    def waiting() -> None:
        found.append((clock.wait(event, 5.0), clock.monotonic()))
        found.append((clock.wait(event, 100.0), clock.monotonic()))

    def setting() -> None:
        clock.sleep_until(42.0)
        event.set()
        clock.sleep_until(43.0)

    run(waiting, setting)
    assert found == [(False, 5.0), (True, 42.0)]


def test_a_thread_that_has_ended_is_not_waited_for() -> None:
    clock, ends = SharedClock(2, monotonic=0.0), list[float]()

    def short() -> None:
        clock.sleep_until(1.0)

    def long() -> None:
        clock.sleep_until(1000.0)
        ends.append(clock.monotonic())

    run(short, long)
    clock.gather(1)
    run(lambda: clock.sleep_until(2000.0))
    assert (ends, clock.monotonic()) == ([1000.0], 2000.0)


def test_acts_come_at_their_moment_and_the_wall_clock_can_be_stepped() -> None:
    clock, seen = SharedClock(1, utc=100.0, monotonic=0.0), list[tuple[float, float]]()
    clock.at(7.0, lambda: clock.step_utc(-3.0))
    clock.at(5.0, lambda: seen.append((clock.monotonic(), clock.utc())))
    run(lambda: clock.sleep_until(10.0))
    assert seen == [(5.0, 105.0)]
    assert (clock.monotonic(), clock.utc()) == (10.0, 107.0)


def test_waiting_for_ever_is_told() -> None:
    clock = SharedClock(1)
    with pytest.raises(RuntimeError, match="never"):
        clock.wait(threading.Event(), float("inf"))
