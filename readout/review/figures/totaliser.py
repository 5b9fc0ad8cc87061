"""The meter's own total against the integral of its flow."""

from dataclasses import dataclass

import numpy as np

from readout.review.rows.measure import Counter

#: A fall from above this share of where the counter rolls over, to below the rest, is the roll-over.
_NEAR_TOP = 0.9


@dataclass(frozen=True, slots=True)
class Totals:
    """In the totaliser's unit. `counted` while rows came, `in_gaps` between rows further apart than that.

    `resets` are falls that are no roll-over: what was counted there is not known.
    """

    unit: str | None
    counted: float
    in_gaps: float
    roll_overs: int
    resets: int
    integral: float | None
    begin_ms: int
    end_ms: int

    @property
    def difference(self) -> float | None:
        """Integral less what the meter counted while rows came, as a share of the latter."""
        if self.integral is None or not self.counted:
            return None
        return self.integral / self.counted - 1


def totals(
    counter: Counter, unit: str | None, rolls_over_at: float | None, interval_ms: int, integral: float | None
) -> Totals | None:
    """`integral` is the flow's over the measured time, in the totaliser's unit."""
    if len(counter.values) < 2:
        return None
    steps, apart = np.diff(counter.values), np.diff(counter.moments)
    falls = np.flatnonzero(steps < 0)
    top = rolls_over_at or np.inf
    over = [i for i in falls if counter.values[i] > _NEAR_TOP * top and counter.values[i + 1] < 0.1 * top]
    steps[over] += top if np.isfinite(top) else 0.0
    resets = [i for i in falls if i not in set(over)]
    steps[resets] = 0.0
    # First and last row of a minute lie apart by up to a minute without any gap between them.
    gap = np.arange(len(steps)) % 2 == 1
    gap &= apart > 1.5 * interval_ms
    return Totals(
        unit, float(steps[~gap].sum()), float(steps[gap].sum()), len(over), len(resets), integral,
        int(counter.moments[0]), int(counter.moments[-1]),
    )  # fmt: skip
