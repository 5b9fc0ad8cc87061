"""A counter between two readings: rolled over, reset, gone back (M08). Sums worked out by hand."""

import numpy as np
import pytest

from readout.review.figures.totaliser import totals
from readout.review.rows.measure import Counter


def counted(readings: list[float], rolls_over_at: float | None) -> tuple[float, int, int]:
    """What was counted, roll-overs, resets; two readings a minute, none missing."""
    moments = np.arange(len(readings), dtype=np.int64) * 30_000
    found = totals(Counter(moments, np.array(readings, np.float64)), "kg", rolls_over_at, 60_000, None)
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
