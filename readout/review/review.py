"""All figures of a point, as frozen data: what `review --json`, the page and the workbook are made from.

Everything is in the units of the job file where it names one. Moments are ms since 1970 UTC; the site's
clock decides what a day, a shift and an hour are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from protocols.units import Quantity, unit_of
from readout.errors import WrongUse
from readout.review.about.amended import put_right
from readout.review.about.installation import LIVE, MEMORY, Installation, ReadingInfo, plain_unit
from readout.review.about.logbook import LogBook, log_book
from readout.review.about.site_time import SiteTime
from readout.review.about.told_units import changed
from readout.review.about.units import Amount, Shown, amount_of, number_in, shown
from readout.review.air.demand import Cost, Demand, cost, counted, demand
from readout.review.air.pressure import AgainstRequired, against_required
from readout.review.air.step import Step, step
from readout.review.figures import periods
from readout.review.figures.corrections import Correction, corrections, factors
from readout.review.figures.coverage import Coverage, coverage
from readout.review.figures.periods import Period
from readout.review.figures.statistics import Statistics, statistics
from readout.review.figures.totaliser import Totals, totals
from readout.review.rows.measure import Progress, measure
from readout.review.rows.measured import Measured
from readout.review.rows.minutes import Values
from readout.sentence import Sentence, joined
from storage.archive import ArchiveReader
from storage.errors import ArchiveAbsent

#: Without a band the pressure may be this share below or above the point's expected pressure.
_BAND = 0.15

METHODS = {
    "sample": Sentence(
        "a sample stands for the interval that begins with it; where samples are more than a minute"
        " apart, the value runs straight to the next one"
    ),
    "mean": Sentence("a mean stands for its whole interval"),
    "minimum": Sentence("a minimum is taken for its whole interval: sums are too low"),
    "maximum": Sentence("a maximum is taken for its whole interval: sums are too high"),
    "total": Sentence("a total flows evenly in its interval"),
}
_NOTHING_FILLED = Sentence(
    "an interval is never longer than the recording's: gaps are not filled, their time is told"
)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a review is asked: a span [ms since 1970 UTC), the required pressure, its band out of hours."""

    since: int | None = None
    until: int | None = None
    required: Quantity | None = None
    band: tuple[Quantity, Quantity] | None = None


@dataclass(frozen=True)
class ReadingReview:
    """One reading in the unit shown. `total` is in `amount.unit`; None for what is no flow."""

    info: ReadingInfo
    shown: Shown
    amount: Amount | None
    values: Values
    statistics: Statistics
    days: Sequence[Period]
    shifts: Sequence[Period]
    weekdays: Sequence[Period]
    day_types: Sequence[Period]
    week: Sequence[Period]

    @property
    def total(self) -> float | None:
        """What flowed in the measured time."""
        return None if self.amount is None else float(self.values.integral.sum()) * self.amount.factor


@dataclass(frozen=True)
class Review:
    """One point and source. `corrected` is the flow with the ledger's corrections, None without any."""

    measured: Measured
    installation: Installation
    book: LogBook
    site: SiteTime
    coverage: Coverage
    readings: Mapping[str, ReadingReview]
    method: Sentence
    corrections: Sequence[Correction]
    corrected: ReadingReview | None
    demand: Demand | Sentence
    step: Step | Sentence
    cost: Cost | Sentence
    pressure: AgainstRequired | None
    totals: Totals | None

    @property
    def flow(self) -> ReadingReview | None:
        """The flow as the meter told it."""
        info = self.installation.flow
        return None if info is None else self.readings.get(info.name)

    def best(self, name: str) -> ReadingReview:
        """A reading with the ledger's corrections, where there are any of it."""
        own = self.readings[name]
        return self.corrected if self.corrected is not None and own is self.flow else own

    def factor(self, name: str) -> float | None:
        """By what every row of a reading was corrected, 1 by nothing; None where that changes."""
        own, best = self.readings[name], self.best(name)
        if best is own:
            return 1.0
        by = factors(self.corrections, self.measured.minutes.begin)
        return float(by[0]) if by is not None and len(by) and (by == by[0]).all() else None


def points_of(root: Path) -> list[tuple[str, str]]:
    """Every point and source that has rows, live before memory; ArchiveAbsent where none has."""
    found = ArchiveReader(root).streams()
    if not found:
        raise ArchiveAbsent(root, f"{root} holds no rows yet.")
    return sorted(found)


def review(
    root: Path, point: str, source: str = LIVE, asked: Asked | None = None,
    progress: Progress = lambda _share, _word: None,
) -> Review | None:  # fmt: skip
    """All figures of a point and source; None where it has no rows in the span.

    `progress` is told the share that is done, 0 to 1, and what is worked on.

    Raises ArchiveAbsent, ArchiveDamaged; WrongUse for a pressure asked in what is no pressure.
    """
    asked = asked or Asked()
    measured = measure(root, point, source, since=asked.since, until=asked.until, progress=progress)
    if measured is None or not measured.minutes.values:
        return None
    return reviewed(measured, log_book(root, point), asked)


def reviewed(measured: Measured, book: LogBook, asked: Asked) -> Review:
    """The figures from what was measured; reads nothing."""
    end = int(measured.minutes.last[-1]) if asked.until is None else asked.until
    kept = _with_told_units(measured)
    right = put_right(kept, book.amendments, end)
    about = right.about
    site = SiteTime(about.zone, measured.minutes.begin, kept.calendar, right.calendars)
    readings = {
        name: _reading(measured, about, site, about.readings[name], values)
        for name, values in measured.minutes.values.items()
        if not about.readings[name].totaliser and name not in changed(measured.units)
    }
    flow = None if about.flow is None else readings.get(about.flow.name)
    pressure = None if about.pressure is None else readings.get(about.pressure.name)
    primary = flow or next(iter(readings.values()), None)
    name = next(iter(measured.minutes.values)) if primary is None else primary.info.name
    ran = None if about.source == MEMORY else book.ran
    made = corrections(book.amendments, right.refused)
    corrected = _corrected(measured, flow, site, made)
    out_of_hours = _OutOfHours.of(corrected or flow, pressure, site, about, asked)
    told = out_of_hours if isinstance(out_of_hours, str) else out_of_hours.demand()
    return Review(
        measured=measured,
        installation=about,
        book=book,
        site=site,
        coverage=coverage(measured, name, ran, since=asked.since, until=asked.until),
        readings=readings,
        method=joined("; ", (METHODS[measured.holds], _NOTHING_FILLED)),
        corrections=made,
        corrected=corrected,
        demand=told,
        step=out_of_hours if isinstance(out_of_hours, str) else out_of_hours.step(site),
        cost=_cost(told, about),
        pressure=_against(measured, pressure, asked),
        totals=_totals(measured, flow, about),
    )


def _with_told_units(measured: Measured) -> Installation:
    """Readings whose unit the meter tells get it, where it was the same in all rows."""
    about = measured.installation
    readings = dict(about.readings)
    for name, words in measured.units.items():
        if name in readings:
            readings[name] = replace(readings[name], unit=words[0] if len(words) == 1 else None)
    return replace(about, readings=readings)


def _reading(
    measured: Measured, about: Installation, site: SiteTime, info: ReadingInfo, values: Values
) -> ReadingReview:
    line = shown(about, info)
    quantiles = {share: line.of(one) for share, one in measured.curves[info.name].quantiles.items()}
    scaled = values.scaled(line.factor, line.offset)
    return _figures(measured, site, info, line, scaled, quantiles)


def _figures(
    measured: Measured, site: SiteTime, info: ReadingInfo, line: Shown, values: Values,
    quantiles: Mapping[float, float],
) -> ReadingReview:  # fmt: skip
    daily = periods.days(values, site)
    return ReadingReview(
        info=info,
        shown=line,
        amount=amount_of(line.unit),
        values=values,
        statistics=statistics(measured.minutes, values, quantiles, measured.interval_ms),
        days=daily,
        shifts=periods.shifts(measured.minutes, values, site),
        weekdays=periods.weekdays(daily),
        day_types=periods.day_types(daily),
        week=periods.week(values, site),
    )


def _corrected(
    measured: Measured, flow: ReadingReview | None, site: SiteTime, made: Sequence[Correction]
) -> ReadingReview | None:
    """Percentiles only where one factor holds throughout: else rows would have to be sorted anew."""
    by = None if flow is None else factors(made, measured.minutes.begin)
    if flow is None or by is None:
        return None
    own = flow.values
    values = Values(own.seconds, own.integral * by, own.low * by, own.high * by)
    quantiles: dict[float, float] = {}
    if len(by) and (by == by[0]).all():
        quantiles = {share: one * float(by[0]) for share, one in flow.statistics.percentiles.items()}
    return _figures(measured, site, flow.info, flow.shown, values, quantiles)


@dataclass(frozen=True)
class _OutOfHours:
    """What demand out of hours is worked out from: minutes [n], and the pressure where it has a band."""

    flow: ReadingReview
    pressure: Values | None
    within: NDArray[np.bool_]
    band: tuple[float, float] | None

    @classmethod
    def of(
        cls, flow: ReadingReview | None, pressure: ReadingReview | None, site: SiteTime, about: Installation,
        asked: Asked,
    ) -> "_OutOfHours | Sentence":  # fmt: skip
        """Or what is missing, as a sentence."""
        if flow is None:
            return Sentence("no flow is measured")
        within = site.in_hours()
        if within is None:
            return Sentence(
                "neither the point nor the job file says when the site produces (calendar: production)"
            )
        band = None if pressure is None else _band(pressure, about, asked)
        return cls(flow, None if pressure is None or band is None else pressure.values, within, band)

    def demand(self) -> Demand:
        """Its mean."""
        return demand(self.flow.values, self.pressure, self.within, self.band, self.flow.shown.unit)

    def step(self, site: SiteTime) -> Step | Sentence:
        """Since when it is another."""
        kept = counted(self.flow.values, self.pressure, self.within, self.band)
        return step(site.begin, site.hour_begin, self.flow.values, kept, self.flow.shown.unit)


def _band(pressure: ReadingReview, about: Installation, asked: Asked) -> tuple[float, float] | None:
    if asked.band is not None:
        low, high = (_pressure(one, pressure) for one in asked.band)
        return low, high
    expected = None if about.conditions is None else about.conditions.pressure
    if expected is None:
        return None
    value = _pressure(expected, pressure)
    return value * (1 - _BAND), value * (1 + _BAND)


def _pressure(asked: Quantity, reading: ReadingReview) -> float:
    """A pressure in the unit shown; gauge and absolute are not taken for each other."""
    unit = reading.shown.unit or ""
    if asked.gauge is not None and unit.endswith(("(g)", "(a)")) and asked.gauge is not unit.endswith("(g)"):
        raise WrongUse(f"{asked} is not {unit}: write the pressure as the meter measures it")
    if unit_of(plain_unit(unit)) is None:
        raise WrongUse(f"{reading.info.name} has no unit that {asked} could be compared with")
    return number_in(asked, unit)


def _cost(told: Demand | Sentence, about: Installation) -> Cost | Sentence:
    if isinstance(told, str):
        return told
    if told.mean is None or told.unit is None:
        return Sentence("nothing was measured out of hours with the pressure in its band")
    return cost(told.mean, told.unit, told.share, about.energy, about.calendar)


def _against(measured: Measured, pressure: ReadingReview | None, asked: Asked) -> AgainstRequired | None:
    if pressure is None or asked.required is None:
        return None
    required = _pressure(asked.required, pressure)
    return against_required(measured.minutes, pressure.values, required, pressure.shifts)


def _totals(measured: Measured, flow: ReadingReview | None, about: Installation) -> Totals | None:
    total = about.totaliser
    if total is None or total.unit is None:
        return None
    integral = None
    if flow is not None and flow.total is not None and flow.amount is not None:
        one, other = unit_of(flow.amount.unit), unit_of(total.unit)
        if one is not None and other is not None and one.dimension is other.dimension:
            same = one.expression == other.expression
            integral = flow.total * (1.0 if same else _volume(one.word, other.word))
    return totals(measured.counter, total.unit, total.rolls_over_at, integral)


def _volume(one: str, other: str) -> float:
    from decimal import Decimal

    unit = unit_of(one)
    assert unit is not None
    return number_in(Quantity(Decimal(1), unit), other)


def hours_of(found: Review, name: str) -> list[Period]:
    """Each hour of the site's clock of a reading; a year has 8,760 or a few more."""
    return periods.hours(found.measured.minutes, found.readings[name].values, found.site)


def duration_curve(found: Review, name: str, points: int = 101) -> "tuple[np.ndarray, np.ndarray]":
    """(share of measured time 0 to 1 [n], value exceeded for that share [n]), from the longest down."""
    curve, line = found.measured.curves[name], found.readings[name].shown
    if not len(curve.values):
        return np.zeros(0), np.zeros(0)
    order = np.argsort(curve.values)[::-1]
    reached = np.cumsum(curve.seconds[order]) / curve.seconds.sum()
    share = np.linspace(0, 1, points)
    at = np.minimum(np.searchsorted(reached, share), len(order) - 1)
    return share, curve.values[order][at] * line.factor + line.offset
