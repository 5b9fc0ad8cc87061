"""Conditions of a fault plan: which exchanges it is for, and how much rest a meter wants."""

from collections.abc import Callable

import pytest

Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
Q4 = bytes.fromhex("01 03 00 00 00 04 44 09")
#: A read of unit 2, whom nobody here answers for.
OTHER = bytes.fromhex("02 03 00 00 00 02 C4 38")


def test_a_plan_for_one_unit_leaves_the_others_alone(rig: Callable):
    line = rig("unit=2: s")
    assert line.ask(Q0) != []
    assert line.player.played == {".": 1}
    line.ask(OTHER)
    assert line.player.played == {".": 1, "s": 1}


@pytest.mark.parametrize(("pause", "answered"), [(0.099, False), (0.1, True)])
def test_a_meter_that_wants_rest_does_not_hear_a_request_that_comes_sooner(
    rig: Callable, pause: float, answered: bool
):
    line = rig("rest=100:")
    assert line.ask(wait=0.02) != []  # its last byte came 20 ms after the request
    line.clock.advance(pause)
    assert (line.ask() != []) is answered
    assert line.player.too_soon == (not answered)
    assert len(line.meter.asked) == 1 + answered


def test_a_request_that_was_not_heard_uses_up_no_letter(rig: Callable):
    line = rig("rest=100: .x")
    line.ask(wait=0.02)
    assert line.ask() == []
    assert line.player.played == {".": 1}
    line.ask()
    assert line.player.played == {".": 1, "x": 1}


@pytest.mark.parametrize(("second", "answered"), [(Q4, True), (OTHER, False)])
def test_rest_may_be_wanted_only_where_the_frame_before_was_another_units(
    rig: Callable, second: bytes, answered: bool
):
    line = rig("change=30:")
    line.ask(Q0, wait=0.02)
    line.port.write(second)
    assert (second in line.meter.asked) is answered


def test_what_was_played_is_counted_by_letter(rig: Callable):
    line = rig("..x[zy]s")
    for _ in range(6):
        line.ask()
    assert line.player.played == {".": 3, "x": 1, "z": 1, "y": 1, "s": 1}
