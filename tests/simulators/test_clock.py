"""A clock that tests move by hand, and one that ends a wait on time."""

import time

import pytest

from simulators.clock import FakeClock, WireClock


def test_a_wait_on_the_fake_clock_takes_no_time_and_moves_both_clocks():
    clock = FakeClock(utc=1000.0, monotonic=5.0)
    before = time.monotonic()
    clock.sleep_until(5.0 + 7 * 86_400)
    assert time.monotonic() - before < 1.0
    assert clock.monotonic() == 5.0 + 7 * 86_400
    assert clock.utc() == 1000.0 + 7 * 86_400
    assert clock.slept == [5.0 + 7 * 86_400]


def test_a_deadline_that_has_passed_does_not_turn_the_clock_back():
    clock = FakeClock(utc=1000.0, monotonic=5.0)
    clock.sleep_until(4.0)
    assert (clock.monotonic(), clock.utc(), clock.slept) == (5.0, 1000.0, [])


def test_setting_the_wall_clock_back_leaves_the_monotonic_clock_alone():
    clock = FakeClock(utc=1000.0, monotonic=5.0)
    clock.step_utc(-3600)
    assert (clock.utc(), clock.monotonic()) == (-2600.0, 5.0)
    clock.advance(2.5)
    assert (clock.utc(), clock.monotonic()) == (-2597.5, 7.5)


def test_the_monotonic_clock_cannot_be_advanced_backwards():
    with pytest.raises(ValueError, match="cannot go back"):
        FakeClock().advance(-1)


def test_the_wire_clock_never_ends_a_wait_early():
    clock = WireClock()
    deadline = clock.monotonic() + 0.003
    clock.sleep_until(deadline)
    assert clock.monotonic() >= deadline
