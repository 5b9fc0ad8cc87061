"""Several points side by side: sum and difference with their uncertainty; and two sources of one point.

Only minutes in which every point was measured are added or subtracted, so that no gap of one becomes a
difference. Live rows and records of a meter's memory tell of the same flow: they are compared, never added.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from readout.errors import WrongUse
from readout.review.review import Review
from readout.sentence import Sentence

CANNOT_BE_TOLD = Sentence("cannot be told: the difference is smaller than its uncertainty")


@dataclass(frozen=True, slots=True)
class Together:
    """Means over the `common_s` seconds in which all points were measured, in `unit`.

    Expanded uncertainties (k = 2), those of points taken as independent of each other; None where one of them
    is not known. `verdict` is CANNOT_BE_TOLD, or None where the difference is larger than its uncertainty.
    """

    unit: str | None
    points: Sequence[str]
    common_s: float
    means: Sequence[float]
    sum: float
    sum_uncertainty: float | None
    difference: float
    difference_uncertainty: float | None
    verdict: str | None


def together(reviews: Sequence[Review], relative: Sequence[float | None]) -> Together | Sentence:
    """The first point against the sum of the others (mains against branches), or why not, as a sentence.

    `relative` are the points' expanded uncertainties (k = 2) as shares of their readings, 0.03 for 3 %.

    Raises:
        WrongUse: a single point, or not one uncertainty for each.
    """
    if len(reviews) < 2 or len(reviews) != len(relative):
        raise WrongUse("two or more points can be added, each with its uncertainty or None")
    flows = [one.corrected or one.flow for one in reviews]
    known = [flow for flow in flows if flow is not None]
    if len(known) < len(flows):
        return Sentence("a point without a flow cannot be added")
    if len({(flow.shown.unit, flow.info.reference) for flow in known}) > 1:
        return Sentence("flows in different units or at different reference conditions are not added")
    begins = reviews[0].measured.minutes.begin
    for one in reviews[1:]:
        begins = np.intersect1d(begins, one.measured.minutes.begin, assume_unique=True)
    seconds = np.full(len(begins), np.inf)
    means = []
    for one, flow in zip(reviews, known, strict=True):
        values = flow.values.at(np.searchsorted(one.measured.minutes.begin, begins))
        seconds = np.minimum(seconds, values.seconds)
        means.append(values.means)
    common = seconds > 0
    if not common.any():
        return Sentence("there is no minute in which all points were measured")
    weight = seconds[common]
    each = [float((mean[common] * weight).sum() / weight.sum()) for mean in means]
    widths = [
        None if share is None else abs(mean) * share for mean, share in zip(each, relative, strict=True)
    ]
    told = [width for width in widths if width is not None]
    width = math.hypot(*told) if len(told) == len(widths) else None
    difference = each[0] - sum(each[1:])
    smaller = width is not None and abs(difference) < width
    return Together(
        unit=known[0].shown.unit,
        points=[one.installation.point for one in reviews],
        common_s=float(weight.sum()),
        means=each,
        sum=sum(each),
        sum_uncertainty=width,
        difference=difference,
        difference_uncertainty=width,
        verdict=CANNOT_BE_TOLD if smaller else None,
    )


@dataclass(frozen=True, slots=True)
class Agreement:
    """Live rows against the meter's memory over `common_s` seconds that both have; means in `unit`.

    `ratio` is memory over live; None where the live mean is 0. Live takes precedence: it is polled and proven
    row by row, and its time is the computer's.
    """

    unit: str | None
    common_s: float
    live_mean: float
    memory_mean: float
    precedence: str = "live; the memory's records of the same hours are evidence, and are not added"

    @property
    def ratio(self) -> float | None:
        """Memory over live."""
        return self.memory_mean / self.live_mean if self.live_mean else None


def agreement(live: Review, memory: Review) -> Agreement | None:
    """None where they have no minute in common, or one has no flow in the other's unit."""
    if live.flow is None or memory.flow is None or live.flow.shown.unit != memory.flow.shown.unit:
        return None
    begins = np.intersect1d(live.measured.minutes.begin, memory.measured.minutes.begin, assume_unique=True)
    sides = [
        one.flow.values.at(np.searchsorted(one.measured.minutes.begin, begins))
        for one in (live, memory)
        if one.flow is not None
    ]
    seconds = np.minimum(sides[0].seconds, sides[1].seconds)
    there = seconds > 0
    if not there.any():
        return None
    weight = seconds[there]
    means = [float((side.means[there] * weight).sum() / weight.sum()) for side in sides]
    return Agreement(live.flow.shown.unit, float(weight.sum()), means[0], means[1])
