"""How long a memory lasts: common practice figures, exact (50,000 records every 5 s; nine days)."""

from decimal import Decimal
from fractions import Fraction

import pytest

from readout.errors import WrongUse
from readout.plan.endurance import (
    Endurance,
    in_words,
    offered_interval,
    shortest_interval,
)

DAY = Fraction(86400)


def test_fifty_thousand_records_every_five_seconds() -> None:
    plan = Endurance(50_000, Fraction(5), 9 * DAY)
    assert in_words(plan.lasts_s) == "69 h 26 min 40 s"
    assert not plan.is_enough
    assert in_words(-plan.spare_s) == "146 h 33 min 20 s"
    assert plan.records == 50_000


def test_nine_days_need_an_interval_that_the_meter_offers() -> None:
    shortest = shortest_interval(50_000, 9 * DAY)
    assert shortest == Fraction("15.552")
    assert offered_interval(shortest) == Fraction("15.6")
    steps = [Decimal(step) for step in (1, 2, 5, 10, 20, 60)]
    assert offered_interval(shortest, steps) == 20
    plan = Endurance(50_000, Fraction(20), 9 * DAY)
    assert (plan.is_enough, plan.has_margin, plan.records) == (True, True, 38_880)
    assert not Endurance(50_000, Fraction("15.6"), 9 * DAY).has_margin


def test_an_interval_that_is_offered_exactly_is_taken() -> None:
    assert offered_interval(Fraction(20), [Decimal(10), Decimal(20)]) == 20
    assert offered_interval(Fraction("15.6")) == Fraction("15.6")


def test_a_meter_whose_longest_step_is_too_short_is_told_with_what_to_do() -> None:
    with pytest.raises(WrongUse, match="longest interval of this meter is 10 s"):
        offered_interval(Fraction("15.552"), [Decimal(5), Decimal(10)])


@pytest.mark.parametrize(
    ("records", "interval", "days"),
    [
        (524_288, 1, 6.0681),
        (524_288, 10, 60.6815),
        (209_715, 60, 145.6354),
        (262_144, 60, 182.0444),
        (100_000, 5, 5.7870),
    ],
)
def test_memories_of_common_sizes(records: int, interval: int, days: float) -> None:
    """Logger arithmetic worked out apart from this program: records, seconds between them, days."""
    lasts = Endurance(records, Fraction(interval), DAY).lasts_s
    assert float(lasts / DAY) == pytest.approx(days, abs=5e-5)
