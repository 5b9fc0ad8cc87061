"""What rows of any length of archive were reduced to: minutes, holes, curves, counts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from readout.review.about.installation import Installation
from readout.review.rows.curves import Curve
from readout.review.rows.holes import Counter, Hole
from readout.review.rows.minutes import Minutes


@dataclass(frozen=True, slots=True)
class Lost:
    """Rows without a value of the flow: [first_ms, last_ms) holds `missing_s` seconds of this cause."""

    first_ms: int
    last_ms: int
    missing_s: float
    cause: str


@dataclass(frozen=True)
class Measured:
    """All that is taken from the rows of one point and source, as of one instant."""

    installations: Sequence[tuple[int, Installation]]  # (valid from [ms], what was true), ascending
    minutes: Minutes
    holes: Sequence[Hole]  # within minutes
    lost: Sequence[Lost]
    curves: Mapping[str, Curve]
    counts: Mapping[str, Mapping[str, int]]  # column (status, clock, …_flag) → word → rows
    counter: Counter
    interval_ms: int
    holds: str  # sample | mean | minimum | maximum | total
    marked_at: str  # start | end
    untimed: int = 0
    units: Mapping[str, Sequence[str]] = field(default_factory=dict)  # told by the meter, row by row

    @property
    def installation(self) -> Installation:
        """The latest."""
        return self.installations[-1][1]
