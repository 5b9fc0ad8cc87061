"""A counter between two readings: rolled over, reset, gone back (M08). Sums worked out by hand."""

from types import ModuleType

import numpy as np
import pytest

from readout.review.about.installation import from_record
from readout.review.figures.totaliser import totals
from readout.review.rows.holes import Counter


def counted(readings: list[float], rolls_over_at: float | None) -> tuple[float, int, int]:
    """What was counted, roll-overs, resets; two readings a minute, none missing."""
    moments = np.arange(len(readings), dtype=np.int64) * 30_000
    none = np.zeros(len(readings) - 1, np.bool_)
    found = totals(Counter(moments, np.array(readings, np.float64), none), "kg", rolls_over_at, None)
    assert found is not None
    assert found.counted + found.in_gaps >= 0, "a consumption is never negative"
    return found.counted + found.in_gaps, found.roll_overs, found.resets


@pytest.mark.parametrize(
    ("readings", "rolls_over_at", "wanted"),
    [
        # 2^32: 15 to FFFFFFFF, 16 more to 0000000F
        ([0xFFFFFFF0, 0xFFFFFFFF, 0x0000000F], 2.0**32, (31.0, 1, 0)),
        ([99_999_990, 5], 1e8, (15.0, 1, 0)),
        # a service visit: what was counted there is not known
        ([500_000, 12], 1e8, (0.0, 0, 1)),
        ([70, 60, 64], 1e8, (4.0, 0, 1)),
        # a meter that does not say where it rolls over: never guessed
        ([0xFFFFFFF0, 5], None, (0.0, 0, 1)),
        ([5, 7, 7, 10], None, (5.0, 0, 0)),
    ],
)
def test_a_fall_is_a_roll_over_near_the_top_and_a_reset_elsewhere(
    readings: list[float], rolls_over_at: float | None, wanted: tuple[float, int, int]
) -> None:
    assert counted(readings, rolls_over_at) == wanted


@pytest.mark.parametrize(
    ("readings", "gaps", "wanted"),
    [
        ([100.0, 100.1, 100.6], 0, None),  # 0.6 in steps of 0.1: known to 17 %
        ([100.0, 100.1, 110.0], 0, 0.0),  # 10.0: known to 1 %
        ([100.0, 100.1, 110.1], 2, None),  # nothing but gaps
        ([100.0, 100.0, 100.0], 0, None),
    ],
)
def test_a_total_known_too_coarsely_is_not_compared(
    readings: list[float], gaps: int, wanted: float | None
) -> None:
    """Both ends of a stretch are known to one step of the counter."""
    values, holes = np.array(readings), np.arange(2) < gaps
    found = totals(Counter(np.arange(3) * 1000, values, holes), "m3", None, values[-1] - values[0])
    assert found is not None
    assert found.difference == (None if wanted is None else pytest.approx(wanted))


@pytest.mark.parametrize(
    ("form", "wanted"),
    [
        ("uint32, scale: 0.1", 429_496_729.6),  # 2³² tenths: long before a display's 10⁹ would be reached
        ("uint64, scale: 0.1", 1e9),
        ("float32", 1e9),  # a float has no end that a counter would come to
    ],
)
def test_a_total_begins_again_where_its_registers_end_if_that_comes_first(
    hall: ModuleType, form: str, wanted: float
) -> None:
    text = hall.MAP.replace("uint32, scale: 0.1", form).replace("1000}", "1000000000}")
    (total,) = [one for one in from_record(hall.record(map_text=text)).readings.values() if one.totaliser]
    assert total.rolls_over_at == wanted
