"""Pressure against what is required."""

from collections.abc import Sequence
from dataclasses import dataclass

from readout.review.figures.periods import Period
from readout.review.rows.minutes import Minutes, Values


@dataclass(frozen=True, slots=True)
class AgainstRequired:
    """`below_s` of `measured_s` seconds the minute's mean was below `required` (the pressure's unit).

    `dips` counts minutes whose lowest row was below it, means or not.
    """

    required: float
    measured_s: float
    below_s: float
    dips: int
    lowest: float | None
    lowest_ms: int | None
    by_shift: Sequence[tuple[str, float | None]]

    @property
    def share_below(self) -> float | None:
        """Of the measured time, 0 to 1."""
        return self.below_s / self.measured_s if self.measured_s else None


def against_required(
    minutes: Minutes, pressure: Values, required: float, shifts: Sequence[Period]
) -> AgainstRequired:
    """`shifts` are those of the pressure."""
    there = pressure.seconds > 0
    below = there & (pressure.means < required)
    low = int(pressure.low[there].argmin()) if there.any() else None
    return AgainstRequired(
        required,
        float(pressure.seconds.sum()),
        float(pressure.seconds[below].sum()),
        int((pressure.low < required).sum()),
        None if low is None else float(pressure.low[there][low]),
        None if low is None else int(minutes.begin[there][low]),
        [(one.name, one.lowest) for one in shifts],
    )
