"""A silence that others wait behind: asked again for about as long as the meter usually takes."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from readout.bus.exchange import Manners
from readout.bus.outcome import Status
from simulators.faults import parse_plan

PATIENCE_S, BRIEF_S = 1.5, 0.1


@pytest.mark.parametrize(
    ("plan", "status"), [("n", Status.OK), ("s", Status.OK), ("n*9", Status.NO_REPLY), ("x", Status.OK)]
)
def test_a_lost_request_is_mended_and_a_dead_meter_costs_little(
    faulty_hall: Callable[..., Any], all_reads: Any, plan: str, status: Status
) -> None:
    """One request that nobody heard, or one reply that was lost, is asked for again and comes."""
    hall = faulty_hall(parse_plan(plan))
    began = hall.clock.at
    (outcome,) = hall.round([(1, all_reads[0])], Manners(repeat_within=BRIEF_S), idle=0.0)
    assert outcome.status is status
    assert hall.tally.wrong == []
    # Waited for in full, a rest behind it, and for a spacer and the repeat as long as was asked for.
    assert hall.clock.at - began < PATIENCE_S + 0.2 + 2 * BRIEF_S + 0.1


def test_without_it_the_repeat_is_waited_for_as_the_map_says(
    faulty_hall: Callable[..., Any], all_reads: Any
) -> None:
    hall = faulty_hall(parse_plan("n*9"))
    began = hall.clock.at
    hall.round([(1, all_reads[0])], Manners(), idle=0.0)
    assert hall.clock.at - began > 2 * PATIENCE_S


@pytest.mark.parametrize("rest_s", [0.12, 0.3, 0.5, 0.65])
def test_a_reply_to_a_brief_request_is_never_taken_for_one_to_the_next(
    faulty_hall: Callable[..., Any], all_reads: Any, rest_s: float
) -> None:
    """Listened for 0.1 s, answered after 0.7 s: within the map's patience, while the same is asked again."""
    hall = faulty_hall(parse_plan("v700"))
    manners = Manners()
    (first,) = hall.round([(1, all_reads[0])], replace(manners.within(BRIEF_S), repeats=0), idle=0.0)
    hall.clock.at = first.sent + rest_s
    (second,) = hall.round([(1, all_reads[0])], manners, idle=0.0)
    assert first.status is Status.NO_REPLY
    assert second.status is Status.OK
    assert hall.tally.wrong == []
