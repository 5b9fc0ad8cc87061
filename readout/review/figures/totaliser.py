"""The meter's own total against the integral of its flow."""

from dataclasses import dataclass

import numpy as np

from readout.review.rows.holes import Counter

#: A fall from above this share of where the counter rolls over, to below the rest, is the roll-over.
_NEAR_TOP = 0.9
#: A total that is known no better than this, as a share of itself, shows nothing about the flow's integral.
_TOO_COARSE = 0.01


@dataclass(frozen=True, slots=True)
class Totals:
    """In the totaliser's unit. `counted` while rows came, `in_gaps` between rows further apart than that.

    `resets` are falls that are no roll-over: what was counted there is not known. `step` is the smallest rise
    seen, `runs` the number of stretches without a gap: the ends of each are known to a step.
    """

    unit: str | None
    counted: float
    in_gaps: float
    roll_overs: int
    resets: int
    integral: float | None
    begin_ms: int
    end_ms: int
    step: float
    runs: int

    @property
    def difference(self) -> float | None:
        """Integral less what the meter counted while rows came, as a share of the latter.

        None where that is not known to a hundredth, for steps too coarse or a total too small.
        """
        known_to = self.step * self.runs**0.5
        if self.integral is None or not self.counted or known_to > _TOO_COARSE * self.counted:
            return None
        return self.integral / self.counted - 1


def totals(
    counter: Counter, unit: str | None, rolls_over_at: float | None, integral: float | None
) -> Totals | None:
    """`integral` is the flow's over the measured time, in the totaliser's unit."""
    if len(counter.values) < 2:
        return None
    steps, gap = np.diff(counter.values), counter.gaps
    falls = np.flatnonzero(steps < 0)
    top = rolls_over_at or np.inf
    over = [i for i in falls if counter.values[i] > _NEAR_TOP * top and counter.values[i + 1] < 0.1 * top]
    steps[over] += top if np.isfinite(top) else 0.0
    resets = [i for i in falls if i not in set(over)]
    steps[resets] = 0.0
    return Totals(
        unit, float(steps[~gap].sum()), float(steps[gap].sum()), len(over), len(resets), integral,
        int(counter.moments[0]), int(counter.moments[-1]),
        float(steps[steps > 0].min()) if (steps > 0).any() else 0.0, int(gap.sum()) + 1,
    )  # fmt: skip
