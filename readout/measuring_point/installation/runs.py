"""Straight pipe before and behind a meter, in inside diameters, against what is asked for.

No figure here is a standard's. Those for insertion probes were recalled from ISO 7145:1982, Table 1, without
a copy to check them against, so they are told as common practice; those of ISO 5167 are for orifice plates,
those of US EPA Method 1 for traverses of stacks, and neither is for a probe at one point. ISO 14511 showed no
number in what could be read of it. The meter's manual rules over all of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.installation.insertion import Position
from readout.measuring_point.model import StraightRun


class Basis(StrEnum):
    """Where an asked length comes from."""

    MANUAL = "the meter's manual"
    COMMON_PRACTICE = "common practice, no standard"


@dataclass(frozen=True, slots=True)
class Run:
    """A straight run: its length and what is asked for, both in inside diameters."""

    diameters: float
    asked: float
    basis: Basis
    after: str  # the fitting at its beginning; of an outlet run nothing
    missing_mm: float  # of straight pipe, 0 where there is enough

    @property
    def is_enough(self) -> bool:
        """Whether the run is as long as is asked for."""
        return self.missing_mm <= 0


#: Fitting → inside diameters asked for before a probe: at the point of mean velocity, at the centre.
#: Elbows, reducer (convergent), expander (divergent), open valve (the butterfly's, the larger): recalled as
#: said above, never less than the habit for insertion meters, 15, which also stands for none. Tee as an
#: elbow, an unknown fitting as the worst one.
_INLET: Mapping[str, tuple[int, int]] = {
    "none": (15, 15),
    "single elbow": (50, 25),
    "two elbows in plane": (50, 25),
    "two elbows out of plane": (80, 50),
    "reducer": (30, 15),
    "expander": (55, 25),
    "open valve": (45, 25),
    "tee": (50, 25),
    "unknown": (80, 50),
}
#: Behind a probe: recalled from the same table, and the habit for insertion meters.
_OUTLET = 5
#: A meter that is no insertion probe, whose manual is not known: the habit, before and behind.
_IN_LINE = 15


def inlet_run(run: StraightRun, bore_mm: Decimal, position: Position | None) -> Run:
    """The run before a meter; `position` of an insertion probe's sensor, None for another meter."""
    after = run.after or "unknown"
    column = 0 if position is Position.MEAN_VELOCITY else 1
    asked = _IN_LINE if position is None else _INLET[after][column]
    return _run(run, bore_mm, asked, after)


def outlet_run(run: StraightRun, bore_mm: Decimal) -> Run:
    """The run behind a meter."""
    return _run(run, bore_mm, _OUTLET, "")


def _run(run: StraightRun, bore_mm: Decimal, practice: int, after: str) -> Run:
    length = millimetres(run.length)
    if run.asked_by_manual is None:
        asked, basis = Decimal(practice), Basis.COMMON_PRACTICE
    else:
        asked, basis = run.asked_by_manual, Basis.MANUAL
    missing = max(Decimal(0), asked * bore_mm - length)
    return Run(float(length / bore_mm), float(asked), basis, after, float(missing))
