"""A review as plain data for `--json`: dictionaries, lists, numbers, texts; moments are ISO 8601 in UTC."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from readout.clock import iso
from readout.review.about.installation import LIVE, MEMORY, Installation
from readout.review.about.logbook import LogBook
from readout.review.about.maps import mixed_maps
from readout.review.about.told_units import mixed_units
from readout.review.air.demand import Cost, Demand
from readout.review.air.pressure import AgainstRequired
from readout.review.air.step import METHOD, Step
from readout.review.figures.corrections import Correction
from readout.review.figures.coverage import Coverage
from readout.review.figures.periods import Period
from readout.review.figures.statistics import Statistics
from readout.review.figures.totaliser import Totals
from readout.review.figures.uncertainty import Uncertainty, flow_uncertainty
from readout.review.marks.comparison import Compared, compared
from readout.review.marks.results import Inputs, MarkResult, mark_results
from readout.review.review import ReadingReview, Review, duration_curve
from readout.review.several import agreement, together
from readout.sentence import Sentence

#: Gaps that a document lists; the causes are summed over all of them.
_MOST_GAPS = 1000


def moment(ms: int | None) -> str | None:
    """ms since 1970 as `2026-05-04T06:00:00.000Z`."""
    return None if ms is None else iso(ms / 1000)


def document(found: Review, inputs: Inputs | None = None) -> dict[str, Any]:
    """All figures of one point and source. `inputs` are what leak tests need besides rows."""
    measured, flow = found.measured, found.corrected or found.flow
    mean = None if flow is None else flow.statistics.mean
    unit = None if flow is None else flow.shown.unit
    return {
        "point": found.installation.point,
        "source": found.installation.source,
        "installation": _installation(found.installation),
        "interval_s": measured.interval_ms / 1000,
        "holds": measured.holds,
        "marked_at": measured.marked_at,
        "method": found.method,
        "coverage": _coverage(found.coverage),
        "untimed_rows": measured.untimed,
        "mixed_maps": mixed_maps(measured.installations),
        "mixed_units": mixed_units(measured.units),
        "counts": {name: dict(words) for name, words in measured.counts.items()},
        "readings": {name: _reading(one, found, name) for name, one in found.readings.items()},
        "corrections": [_correction(one) for one in found.corrections],
        "corrected_flow": None if found.corrected is None else _reading(found.corrected, found, None),
        "out_of_hours": _demand(found.demand) | {"step": _step(found.step)},
        "cost": _cost(found.cost),
        "pressure": None if found.pressure is None else _pressure(found.pressure),
        "totaliser": None if found.totals is None else _totals(found.totals),
        "uncertainty": _uncertainty(flow_uncertainty(found.installation, mean, unit)),
        "marks": [_mark(one) for one in mark_results(found, inputs or Inputs())],
        "before_and_after": _compared(compared(found)),
        "log_book": _book(found.book),
    }


def several(found: Sequence[Review]) -> dict[str, Any]:
    """What several points, or two sources of one, tell together."""
    live = {one.installation.point: one for one in found if one.installation.source == LIVE}
    memory = [one for one in found if one.installation.source == MEMORY]
    agreed = {
        one.installation.point: agreement(live[one.installation.point], one)
        for one in memory
        if one.installation.point in live
    }
    return {
        "together": _together(list(live.values())),
        "live_and_memory": {
            name: None if one is None else {**asdict(one), "ratio": one.ratio} for name, one in agreed.items()
        },
    }


def mains_first(found: Sequence[Review]) -> list[Review]:
    """The header flow before its branches, else in their order."""
    return sorted(found, key=lambda one: one.installation.role != "header flow")


def relative_uncertainty(found: Review) -> float | None:
    """Expanded uncertainty of the point's flow as a share of it; None where it cannot be told."""
    flow = found.corrected or found.flow
    if flow is None:
        return None
    told = flow_uncertainty(found.installation, flow.statistics.mean, flow.shown.unit)
    return None if isinstance(told, str) else told.percent / 100


def _together(live: Sequence[Review]) -> dict[str, Any] | None:
    flows = mains_first([one for one in live if one.flow is not None])
    if len(flows) < 2:
        return None
    told = together(flows, [relative_uncertainty(one) for one in flows])
    return {"why": told} if isinstance(told, str) else asdict(told)


def _uncertainty(found: Uncertainty | Sentence) -> dict[str, Any]:
    if isinstance(found, str):
        return {"percent": None, "why": found}
    return {"percent": found.percent, "says": found.says, "left_out": list(found.left_out)}


def _mark(one: MarkResult) -> dict[str, Any]:
    return {
        "name": one.mark.name,
        "from": moment(one.mark.begin_ms),
        "until": moment(one.mark.end_ms),
        "measured_s": one.measured_s,
        "mean_flow": one.flow,
        "mean_pressure": one.pressure,
        "leak_tests": [
            {"method": test.method, "flow": test.flow, "unit": test.unit, "share": test.share,
             "why": test.why, "inputs": dict(test.inputs)} for test in one.leak_tests
        ],
    }  # fmt: skip


def _compared(found: Compared | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "unit": found.unit,
        "day_types": [
            {
                "day_type": name,
                "before": None if before is None else _period(before, None),
                "after": None if after is None else _period(after, None),
            }
            for name, before, after in found.rows
        ],
        "not_comparable": list(found.not_comparable),
    }


def _installation(about: Installation) -> dict[str, Any]:
    pipe = about.pipe
    return {
        "site": about.site,
        "time_zone": about.zone.key,
        "meter": about.meter,
        "principle": about.principle,
        "serial_number": about.serial_number,
        "role": about.role,
        "map_sha256": about.map_sha256,
        "inside_diameter": None if pipe is None else _text(pipe.inside_diameter),
        "diameter_set_in_meter": None if pipe is None else _text(pipe.diameter_set_in_meter),
        "settings": dict(about.settings),
    }


def _text(quantity: object) -> str | None:
    return None if quantity is None else str(quantity)


def _coverage(found: Coverage) -> dict[str, Any]:
    return {
        "from": moment(found.begin_ms),
        "until": moment(found.end_ms),
        "elapsed_s": found.elapsed_s,
        "measured_s": found.measured_s,
        "share": found.share,
        "missing_s": dict(found.missing_s),
        "gaps": [
            {"from": moment(gap.begin_ms), "until": moment(gap.end_ms), "missing_s": gap.missing_s,
             "cause": gap.cause} for gap in found.gaps[:_MOST_GAPS]
        ],
        "gaps_in_all": len(found.gaps),
    }  # fmt: skip


def _reading(one: ReadingReview, found: Review, name: str | None) -> dict[str, Any]:
    amount = None if one.amount is None else one.amount.factor
    shares, values = ((), ()) if name is None else duration_curve(found, name)

    def listed(periods: Sequence[Period]) -> list[dict[str, Any]]:
        return [_period(period, amount) for period in periods]

    return {
        "unit": one.shown.unit,
        "unit_of_rows": one.info.unit,
        "reference": one.info.reference,
        "total": one.total,
        "total_unit": None if one.amount is None else one.amount.unit,
        **_statistics(one.statistics),
        "days": listed(one.days),
        "shifts": listed(one.shifts),
        "weekdays": listed(one.weekdays),
        "day_types": listed(one.day_types),
        "hours_of_the_week": listed(one.week),
        "duration": [[float(s), float(v)] for s, v in zip(shares, values, strict=True)],
    }


def _statistics(found: Statistics) -> dict[str, Any]:
    return {
        "measured_s": found.measured_s,
        "mean": found.mean,
        "median": found.median,
        "percentiles": {f"{share * 100:g}": value for share, value in found.percentiles.items()},
        "lowest": {"value": found.lowest, "minute": moment(found.lowest_ms)},
        "highest": {"value": found.highest, "minute": moment(found.highest_ms)},
        "peaks": [
            {"minutes": one.minutes, "value": one.value, "from": moment(one.begin_ms), "why": one.why}
            for one in found.peaks
        ],
    }


def _period(one: Period, amount: float | None) -> dict[str, Any]:
    return {
        "name": one.name,
        "from": moment(one.begin_ms),
        "elapsed_s": one.elapsed_s,
        "measured_s": one.measured_s,
        "total": None if amount is None else one.amount * amount,
        "mean": one.mean,
        "lowest": one.lowest,
        "highest": one.highest,
        "n": one.count,
        "day_type": None if one.day_type is None else one.day_type.value,
    }


def _correction(one: Correction) -> dict[str, Any]:
    return {
        "from": moment(one.from_ms),
        "what": one.what,
        "factor": one.factor,
        "why": one.why,
        "ledger_line": one.line,
    }


def _demand(found: Demand | Sentence) -> dict[str, Any]:
    if isinstance(found, str):
        return {"mean": None, "why": found}
    return {
        "mean": found.mean,
        "unit": found.unit,
        "counted_s": found.counted_s,
        "out_of_band_s": found.out_of_band_s,
        "unmeasured_s": found.unmeasured_s,
        "share_of_time": found.share,
        "pressure_band": None if found.band is None else list(found.band),
        "what": "flow while the site did not produce; dryer purge, drains, machines left open are in it",
    }


def _step(found: Step | Sentence) -> dict[str, Any]:
    if isinstance(found, str):
        return {"size": None, "why": found, "method": METHOD}
    return {
        "size": found.size,
        "unit": found.unit,
        "begins_between": [moment(found.since_ms), moment(found.until_ms)],
        "before": {"median": found.before, "hours": found.hours_before},
        "after": {"median": found.after, "hours": found.hours_after},
        "chance": found.chance,
        "method": METHOD,
    }


def _cost(found: Cost | Sentence) -> dict[str, Any]:
    if isinstance(found, str):
        return {"a_year": None, "why": found}
    return {
        "currency": found.currency,
        "an_hour": found.an_hour,
        "a_year": found.a_year,
        "a_year_out_of_hours": found.a_year_out_of_hours,
        "pressurised_hours_a_year": found.hours,
        "energy_kwh_a_year": found.energy_kwh_a_year,
        "carbon_kg_a_year": found.carbon_kg_a_year,
        "specific_power": found.specific_power,
        "specific_power_reference": found.specific_power_reference,
        "formula": found.formula,
        "warnings": list(found.warnings),
    }


def _pressure(found: AgainstRequired) -> dict[str, Any]:
    return {
        "required": found.required,
        "measured_s": found.measured_s,
        "below_s": found.below_s,
        "share_below": found.share_below,
        "minutes_with_a_dip": found.dips,
        "lowest": found.lowest,
        "lowest_minute": moment(found.lowest_ms),
        "lowest_by_shift": [{"shift": name, "lowest": low} for name, low in found.by_shift],
    }


def _totals(found: Totals) -> dict[str, Any]:
    return {
        "unit": found.unit,
        "counted": found.counted,
        "counted_in_gaps": found.in_gaps,
        "integral": found.integral,
        "difference": found.difference,
        "roll_overs": found.roll_overs,
        "resets": found.resets,
        "from": moment(found.begin_ms),
        "until": moment(found.end_ms),
    }


def _book(book: LogBook) -> dict[str, Any]:
    def attached(entry: Mapping[str, Any] | None) -> dict[str, Any] | None:
        return None if entry is None else dict(entry)

    return {
        "notes": [
            {"at": moment(n.at_ms), "text": n.text, "attached": attached(n.attached)} for n in book.notes
        ],
        "marks": [
            {"name": one.name, "from": moment(one.begin_ms), "until": moment(one.end_ms)}
            for one in book.marks
        ],
        "events": [{"at": moment(at), "what": what} for at, what in book.events],
        "ledger": {"n": book.tail[0], "hash": book.tail[1], "faults": list(book.faults)},
    }
