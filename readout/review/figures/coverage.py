"""How complete a measurement is: seconds measured, seconds missing by cause, and every gap."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from readout.review.rows.measured import Lost, Measured
from readout.sentence import Sentence

NOT_RUNNING = Sentence("recorder not running")
NO_ROW = Sentence("no row although the recorder ran")
NO_RECORD = Sentence("no record in the meter's memory")


@dataclass(frozen=True, slots=True)
class Gap:
    """From `begin_ms` to `end_ms` [ms since 1970 UTC]; `missing_s` seconds of it are not measured."""

    begin_ms: int
    end_ms: int
    missing_s: float
    cause: str


@dataclass(frozen=True, slots=True)
class Coverage:
    """Of one point over [begin_ms, end_ms). `share` is measured over elapsed time, 0 to 1."""

    begin_ms: int
    end_ms: int
    measured_s: float
    missing_s: Mapping[str, float]
    gaps: Sequence[Gap]

    @property
    def elapsed_s(self) -> float:
        """The whole period [s]."""
        return (self.end_ms - self.begin_ms) / 1000

    @property
    def share(self) -> float:
        """Measured share of the period."""
        return self.measured_s / self.elapsed_s if self.elapsed_s > 0 else 0.0


def coverage(
    measured: Measured,
    reading: str,
    ran: Sequence[tuple[int, int]] | None,
    *,
    since: int | None = None,
    until: int | None = None,
) -> Coverage:
    """Coverage of the period asked for, or from the first row to the end of the last.

    `ran` are spans [ms) in which a recorder ran from start to stop; None for a meter's memory.
    """
    minutes = measured.minutes
    begin = int(minutes.first[0]) if since is None else since
    end = int(minutes.last[-1]) if until is None else until
    holes = [_named(first, last, missing, ran) for first, last, missing in _holes(measured, begin, end)]
    gaps = sorted([*holes, *map(_gap, measured.lost)], key=lambda gap: gap.begin_ms)
    missing: dict[str, float] = defaultdict(float)
    for gap in gaps:
        missing[gap.cause] += gap.missing_s
    seconds = float(minutes.values[reading].seconds.sum())
    return Coverage(begin, end, seconds, dict(missing), gaps)


def _gap(lost: Lost) -> Gap:
    return Gap(lost.first_ms, lost.last_ms, lost.missing_s, lost.cause)


def _holes(measured: Measured, begin: int, end: int) -> list[tuple[int, int, float]]:
    """Stretches without any row: (first, last, seconds missing)."""
    minutes = measured.minutes
    edges = np.concatenate([[begin], minutes.last])
    nexts = np.concatenate([minutes.first, [end]])
    found = [
        (int(edges[i]), int(nexts[i]), (int(nexts[i]) - int(edges[i])) / 1000)
        for i in np.flatnonzero(nexts - edges > 0)
    ]
    found += [(hole.begin_ms, hole.end_ms, hole.missing_s) for hole in measured.holes]
    return sorted(found)


def _named(first: int, last: int, missing: float, ran: Sequence[tuple[int, int]] | None) -> Gap:
    if ran is None:
        return Gap(first, last, missing, NO_RECORD)
    within = any(start <= first and last <= stop for start, stop in ran)
    return Gap(first, last, missing, NO_ROW if within else NOT_RUNNING)
