"""Answers in words: peak or pressure, out of hours and its cost, the meter's display; and the evidence."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from protocols.units import printed
from readout.report.content.blocks import Item, Section, Table, Text
from readout.report.language.words import Words, plain
from readout.review.air.demand import Demand
from readout.review.air.step import METHOD
from readout.review.review import ReadingReview, Review
from readout.sentence import Sentence

#: Flow above that of this share of the minutes counts as its peak.
PEAK_SHARE = 0.9
#: A pressure that is at its lowest for more than this share of the minutes does not move.
FLAT_SHARE = 0.1
#: Minutes with flow and pressure below which neither is blamed (common practice, no source).
FEWEST_MINUTES = 60
#: Without a required pressure the lowest minutes are looked at: this share of them.
LOWEST_SHARE = 0.01


def peak_or_pressure(found: Review, words: Words) -> list[Text]:
    """Whether the pressure was low when the flow was high, and what that points to.

    In and out of hours apart, where the calendar says which is which: a receiver that runs empty on a Sunday
    is another matter than a line that takes too much on a Monday.
    """
    flow, about = found.flow, found.installation.pressure
    pressure = None if about is None else found.readings.get(about.name)
    if flow is None or pressure is None:
        return [Text(words("Peak or pressure: cannot be told without both a flow and a pressure."), "strong")]
    both = (flow.values.seconds > 0) & (pressure.values.seconds > 0)
    within = found.site.in_hours()
    parts = [("", both)]
    if within is not None:
        parts = [(words("In hours"), both & within), (words("Out of hours"), both & ~within)]
    parts = [(name, rows) for name, rows in parts if rows.any()]
    if not parts:
        text = "Peak or pressure: flow and pressure were never measured together."
        return [Text(words(text), "strong")]
    told = [(name, _peak_or_pressure(found, flow, pressure, rows, words)) for name, rows in parts]
    return [Text(f"{name}: {text}" if name else text, "strong") for name, text in told]


def _peak_or_pressure(
    found: Review, flow: ReadingReview, pressure: ReadingReview, rows: NDArray[np.bool_], words: Words
) -> str:
    bars, flows = pressure.values.means[rows], flow.values.means[rows]
    if len(bars) < FEWEST_MINUTES:
        return words("Peak or pressure: {count} minutes are too few to tell.", count=len(bars))
    unit = words.unit(pressure.shown.unit, "")
    if found.pressure is not None:
        low = bars < found.pressure.required
        limit = found.pressure.required
        if not low.any():
            text = (
                "Neither: the pressure never fell below the required {limit} {unit}, not even at peak flow."
            )
            return words(text, limit=words.number(limit), unit=unit)
    else:
        limit = float(np.quantile(bars, LOWEST_SHARE))
        low = bars <= limit
        if low.mean() > FLAT_SHARE:
            return words("Peak or pressure: the pressure hardly moved; neither shows a problem.")
    then = float(np.median(flows[low]))
    rank = float(np.mean(flows < then))
    fields = {
        "share": words.percent(float(low.mean())),
        "limit": words.number(limit),
        "unit": unit,
        "flow": f"{words.number(then)} {words.unit(flow.shown.unit, '')}".strip(),
        "rank": words.percent(rank, 0),
    }
    lead = words("Pressure was no higher than {limit} {unit} in {share} of the minutes; ", **fields)
    if rank >= PEAK_SHARE:
        text = (
            "the flow then, {flow}, was above that of {rank} of these minutes: the peak pulls the pressure"
            " down."
        )
    else:
        text = (
            "the flow then, {flow}, was above that of only {rank} of these minutes: pressure is lost without"
            " a peak."
        )
    tail = "" if found.pressure else words(" No required pressure was given: these are the lowest minutes.")
    return lead + words(text, **fields) + tail


def out_of_hours(found: Review, words: Words) -> Section:
    """What flows while nothing is made, what an hour of it costs, with the formula."""
    about = found.installation.pressure
    pressure = None if about is None else found.readings.get(about.name)
    unit = "" if pressure is None else words.unit(pressure.shown.unit, "")
    items: list[Item] = [*_demand(found.demand, unit, words), *_step(found, words)]
    cost = found.cost
    if isinstance(cost, str):
        items.append(Text(words("What it costs is not told: {why}.", why=words(cost)), "strong"))
    else:
        text = "An hour of it costs {hour} {currency}; a year of {hours} h under pressure {year} {currency}."
        items.append(
            Text(
                words(
                    text, hour=words.fixed(cost.an_hour, 2), year=words.fixed(cost.a_year, 0),
                    hours=words.fixed(cost.hours, 0), currency=plain(cost.currency),
                ),
                "strong",
            )
        )  # fmt: skip
        items.append(Text(words("Formula: {formula}", formula=printed(words(cost.formula)))))
        reference = f"{words(cost.specific_power)}: {words(cost.specific_power_reference)}"
        items.append(Text(words("Specific power {reference}.", reference=reference), "small"))
        items.append(Text(words("This is what that flow costs. It is no saving.")))
        items += [Text(words(warning), "strong") for warning in cost.warnings]
    return Section(words("Out of hours"), items)


def _demand(told: Demand | Sentence, unit: str, words: Words) -> Iterator[Item]:
    """`unit` is the pressure's, whose band counts."""
    if isinstance(told, str):
        yield Text(words("Out-of-hours demand is not told: {why}.", why=words(told)), "strong")
        return
    if told.mean is None:
        yield Text(words("Nothing was measured out of hours with the pressure in its band."), "strong")
        return
    yield Text(
        words(
            "While the site did not produce, {mean} {unit} flowed on average, over {counted}.",
            mean=words.number(told.mean),
            unit=words.unit(told.unit, ""),
            counted=words.span(told.counted_s),
        ),
        "strong",
    )
    yield Text(words("It is demand, not leakage: dryer purge, drains and machines left open are in it."))
    if told.band is not None:
        yield Text(
            words(
                "Counted only with the pressure between {low} and {high} {unit}; {out} out of that band"
                " are left out.",
                low=words.number(told.band[0]),
                high=words.number(told.band[1]),
                unit=unit,
                out=words.span(told.out_of_band_s),
            )
        )


def _step(found: Review, words: Words) -> Iterator[Item]:
    """Since when the demand is another; nothing where it stayed at one level."""
    step, zone = found.step, found.installation.zone
    if isinstance(step, str):
        return
    text = (
        "This demand stepped up by {size} {unit}, from {before} to {after} {unit}, between {begin} and {end}."
        if step.size > 0
        else "This demand stepped down by {size} {unit}, from {before} to {after} {unit}, between {begin}"
        " and {end}."
    )
    yield Text(
        words(
            text, size=words.number(abs(step.size), 3), unit=words.unit(step.unit, ""),
            before=words.number(step.before), after=words.number(step.after),
            begin=words.moment(step.since_ms, zone),
            end=words.moment(step.until_ms, zone),
        ),
        "strong",
    )  # fmt: skip
    method = "Medians of {before} and {after} hours; {method}."
    fields = {"before": step.hours_before, "after": step.hours_after, "method": words(METHOD)}
    yield Text(words(method, **fields), "small")


def display(found: Review, words: Words) -> Section:
    """The totaliser against the integral, and why the meter's own display may show another number."""
    items: list[Item] = []
    told = found.totals
    if told is None:
        items.append(Text(words("No totaliser was recorded.")))
    elif told.difference is None:
        if told.integral is None:
            text = (
                "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in gaps; no"
                " flow of that kind was summed up to hold against it."
            )
        else:
            text = (
                "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in gaps:"
                " too little, for its steps, to be held against the integral of the flow ({integral} {unit})."
            )
        numbers = {"counted": told.counted, "gaps": told.in_gaps, "integral": told.integral}
        fields = {name: words.number(number) for name, number in numbers.items()}
        items.append(Text(words(text, unit=words.unit(told.unit), **fields), "strong"))
    else:
        items.append(
            Text(
                words(
                    "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in"
                    " gaps; the integral of the flow is {integral} {unit}, {difference} away.",
                    counted=words.number(told.counted, 6), gaps=words.number(told.in_gaps),
                    integral=words.number(told.integral, 6), unit=words.unit(told.unit),
                    difference=words.percent(told.difference, 2),
                ),
                "strong",
            )
        )  # fmt: skip
    items.append(
        Text(
            words(
                "Why the meter's display may differ: it shows one instant after its own damping, perhaps in"
                " another unit or at other reference conditions; its total runs on through gaps, while the"
                " integral here covers measured time only; and it knows nothing of corrections made later."
            )
        )
    )
    return Section(words("The meter's own total and display"), items)


def corrections(found: Review, words: Words) -> Section | None:
    """Raw beside corrected; None where nothing was amended."""
    if not found.corrections:
        return None
    zone = found.installation.zone
    rows = [
        (words.moment(one.from_ms, zone), words(one.what), plain(one.why or "–"), str(one.line))
        for one in found.corrections
    ]
    heads = (words("from"), words("what"), words("why"), words("ledger line"))
    items: list[Item] = [Table(words("Amendments from the ledger"), heads, rows, "words")]
    raw, put_right = found.flow, found.corrected
    if raw is not None and put_right is not None:
        beside = [
            (words(name), words.number(a, 6), words.number(b, 6))
            for name, a, b in (
                ("mean", raw.statistics.mean, put_right.statistics.mean),
                ("highest", raw.statistics.highest, put_right.statistics.highest),
                ("total", raw.total, put_right.total),
            )
        ]
        caption = words("Raw beside corrected; rows stay as the meter told them")
        items.append(Table(caption, ("", words("raw"), words("corrected")), beside))
    return Section(words("Corrections"), items)
