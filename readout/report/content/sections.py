"""A point's part of the page: what and where, how complete, how sure, the figures, the pictures."""

from collections.abc import Iterator, Sequence

from readout.errors import WrongUse
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.figures import text as measures
from readout.measuring_point.figures.place import Place, fluid_said
from readout.measuring_point.installation.cautions import cautions_for
from readout.measuring_point.installation.insertion import insertion_of
from readout.measuring_point.installation.runs import inlet_run, outlet_run
from readout.measuring_point.pipe.bore import bore_of
from readout.measuring_point.sheet.section import section
from readout.measuring_point.uncertainty.figures import rounded_by_percent
from readout.report.content.blocks import Drawing, Item, Section, Table, Text, fold
from readout.report.content.entries import legend
from readout.report.content.evidence import conditions
from readout.report.content.pictures import curves, over_time, week
from readout.report.content.settings import disagreements
from readout.report.language.words import Words, plain
from readout.review.about.maps import mixed_maps
from readout.review.about.site_time import DayType
from readout.review.about.told_units import mixed_units
from readout.review.figures.periods import Period
from readout.review.figures.uncertainty import Uncertainty, flow_uncertainty
from readout.review.review import ReadingReview, Review
from readout.sealing.table import map_of
from readout.sentence import Sentence

#: Gaps that are listed, the longest; the causes are summed over all of them.
MOST_GAPS = 40
#: Events of the recorder that are listed, the first.
MOST_EVENTS = 200
#: What is shorter [s] has pictures of so few minutes that this is said.
SHORTEST_S = 600


def reading_name(reading: ReadingReview, words: Words, which: str = "") -> str:
    """`flow, raw (at 20 degC, 1 bar(a))`: a flow never without its reference conditions."""
    name = words.name(reading.info.name) + (f", {words(which)}" if which else "")
    return f"{name} ({at_conditions(reading, words)})" if reading.info.reference else name


def at_conditions(reading: ReadingReview, words: Words) -> str:
    """`at 20 degC, 1 bar(a)`; empty where the map states none."""
    told = conditions(reading.info.reference)
    return (
        words("at {conditions}", conditions=", ".join(words.outside(one.value) for one in told))
        if told
        else ""
    )


def complete(found: Review, words: Words) -> Section:
    """Coverage, gaps with their causes, flags, clock."""
    covered, zone = found.coverage, found.installation.zone
    items: list[Item] = [
        Text(
            words(
                "{share} of the period was measured: {measured} of {elapsed}. Nothing is filled over a gap.",
                share=words.percent(covered.share, 2),
                measured=words.span(covered.measured_s),
                elapsed=words.span(covered.elapsed_s),
            ),
            "strong",
        )
    ]
    if covered.missing_s:
        rows = [(words(cause), words.span(s)) for cause, s in sorted(covered.missing_s.items())]
        items.append(Table(words("Time that is missing, by cause"), (words("cause"), words("time")), rows))
    longest = sorted(covered.gaps, key=lambda gap: -gap.missing_s)[:MOST_GAPS]
    gaps = [
        (
            words.moment(g.begin_ms, zone),
            words.moment(g.end_ms, zone),
            words.span(g.missing_s),
            words(g.cause),
        )
        for g in sorted(longest, key=lambda gap: gap.begin_ms)
    ]
    if gaps:
        caption = words("Gaps: {shown} of {all}, the longest", shown=len(gaps), all=len(covered.gaps))
        heads = (words("from"), words("until"), words("missing"), words("cause"))
        items.append(fold(Table(caption, heads, gaps, "words"), words))
    items += _events(found, words)
    counts = _counts(found, words)
    items += [counts] if counts.rows else []
    if found.measured.untimed:
        items.append(Text(words("{n} rows have no time and are in no figure.", n=found.measured.untimed)))
    return Section(words("How complete it is"), items)


def _events(found: Review, words: Words) -> Iterator[Item]:
    """What the recorder met in the period: ports lost and back, the clock set, the disk full."""
    begin, end, zone = found.coverage.begin_ms, found.coverage.end_ms, found.installation.zone
    met = [(words.moment(at, zone), words(what)) for at, what in found.book.events if begin <= at < end]
    if met:
        caption = words(
            "What the recorder met: {shown} of {all}", shown=min(len(met), MOST_EVENTS), all=len(met)
        )
        yield fold(Table(caption, (words("time"), words("what")), met[:MOST_EVENTS], "words"), words)


def _counts(found: Review, words: Words) -> Table:
    """Rows by status, by the quality of the computer's clock and by flags."""
    rows = [
        (f"{_column(column, words)}: {words(word)}", words.fixed(n, 0))
        for column, counted in found.measured.counts.items()
        for word, n in counted.items()
    ]
    heads = (words("status, clock or flag"), words("rows"))
    return Table(words("Rows by status, clock and flag"), heads, rows)


def _column(name: str, words: Words) -> str:
    """What a column of words tells of: the row, the computer's clock, a record or a value."""
    known = {"time_flag": "record's time", "check_flag": "record's own check"}.get(name, name)
    if known.endswith("_flag"):
        return words("{name}, flag", name=words.name(known.removesuffix("_flag")))
    return words(known)


def sure(found: Review, words: Words) -> Section:
    """The uncertainty with its reference conditions, and the method."""
    flow = found.corrected or found.flow
    items: list[Item] = []
    for caution in (mixed_maps(found.measured.installations), mixed_units(found.measured.units)):
        items += [] if caution is None else [Text(words(caution), "strong")]
    if flow is None:
        items.append(Text(words("No flow was measured."), "strong"))
    else:
        told = flow_uncertainty(found.installation, flow.statistics.mean, flow.shown.unit)
        items += _trust(flow, told, words)
        items += disagreements(found, words)
    items.append(Text(words("Method: {method}.", method=words(found.method)), "small"))
    return Section(words("How sure it is"), items)


def _with_half(mean: float, percent: float, words: Words) -> tuple[str, str]:
    """A mean and half of its interval (k = 2), both ending where the latter's second digit does."""
    if not mean or not percent:
        return words.number(mean), words.number(0.0)
    figure = rounded_by_percent(mean, percent)
    return words.exact(figure.value), words.exact(figure.expanded)


def _trust(flow: ReadingReview, told: Uncertainty | Sentence, words: Words) -> Iterator[Item]:
    if isinstance(told, str):
        yield Text(words("How sure the flow is cannot be said: {why}.", why=words(told)), "strong")
    else:
        unit = words.unit(flow.shown.unit, "")
        mean, half = _with_half(flow.statistics.mean or 0.0, told.percent, words)
        yield Text(
            words(
                "The mean flow is {mean} ± {half} {unit} {conditions}; the total has the same ± {percent} %."
                if flow.info.reference
                else "The mean flow is {mean} ± {half} {unit}; the total has the same ± {percent} %.",
                conditions=at_conditions(flow, words),
                mean=mean,
                half=half,
                unit=unit,
                percent=words.number(told.percent, 2),
            ),
            "strong",
        )
        yield Text(words(told.says))
        if told.left_out:
            left = "; ".join(map(words, told.left_out))
            yield Text(words("Not in it, because nobody said anything of it: {left}.", left=left))
    if flow.info.reference is None:
        yield Text(words("The register map states no reference conditions for this flow."))
    elif isinstance(told, str):
        text = "Volumes are those {conditions}, the meter's reference conditions."
        yield Text(words(text, conditions=at_conditions(flow, words)))


def figures(found: Review, words: Words) -> Section:
    """Totals, percentiles, peaks; days, shifts and weekdays of the flow."""
    zone = found.installation.zone
    named = [("raw" if found.best(name) is not one else "", one) for name, one in found.readings.items()]
    if found.corrected is not None:  # beside what the meter told; everything further is of it
        named.insert(1 + [which for which, _ in named].index("raw"), ("corrected", found.corrected))
    shares = (0.05, 0.5, 0.95)
    heads = [words("reading"), words("unit"), words("mean"), *(words.percent(share, 0) for share in shares)]
    heads[heads.index(words.percent(0.5, 0))] = words("median")
    rows = [
        (
            reading_name(one, words, which), words.unit(one.shown.unit), words.number(one.statistics.mean),
            *(words.number(one.statistics.percentiles.get(share)) for share in shares),
            words.number(one.statistics.lowest), words.number(one.statistics.highest),
            "" if one.amount is None else f"{words.number(one.total, 6)} {words.unit(one.amount.unit)}",
        )
        for which, one in named
    ]  # fmt: skip
    lead = [*heads, words("lowest"), words("highest"), words("total, measured time")]
    items: list[Item] = [Table(words("Readings"), lead, rows)]
    flow = found.corrected or found.flow
    if flow is not None:
        peaks = [
            (
                f"{p.minutes} min", words.number(p.value),
                words.moment(p.begin_ms, zone) if p.why is None else words(p.why),
            )
            for p in flow.statistics.peaks
        ]  # fmt: skip
        heads = [words("mean over"), words.unit(flow.shown.unit), words("begins")]
        items.append(Table(words("Largest means of the flow"), heads, peaks))
        kinds = [one for one in flow.day_types if one.name != DayType.UNKNOWN]
        spans = ((words("Kinds of days"), kinds), (words("Weekdays"), flow.weekdays))
        items += [_periods(name, some, flow, words) for name, some in spans if some]
    return Section(words("The figures"), [*items, *_pressure(found, words)])


def tables(found: Review, words: Words) -> Section | None:
    """Each day and shift, and the hours of the week as a table; None without anything long."""
    flow, pressure = found.corrected or found.flow, _pressure_reading(found)
    lead = flow or next(iter(found.readings.values()), None)
    items: list[Item] = []
    if lead is not None:
        named = ((words("Days"), "days"), (words("Shifts"), "shifts"))
        for name, kind in named:
            some: Sequence[Period] = getattr(lead, kind)
            lowest = None if pressure is None or pressure is lead else (pressure, getattr(pressure, kind))
            items += [fold(_periods(name, some, lead, words, lowest), words)] if some else []
        items.append(fold(week.table(found, lead.info.name, words), words))
    return Section(words("Day by day and shift by shift"), items) if items else None


def _pressure(found: Review, words: Words) -> Iterator[Item]:
    """Share of time below what is required; nothing without either."""
    reading, told = _pressure_reading(found), found.pressure
    if reading is not None and told is not None:
        unit = words.unit(reading.shown.unit)
        rows = [
            (words("required"), f"{words.number(told.required)} {unit}"),
            (words("share of time below"), words.percent(told.share_below, 2)),
            (words("lowest row"), f"{words.number(told.lowest)} {unit}"),
        ]
        yield Table(words("Pressure against what is required"), ("", ""), rows)


def _pressure_reading(found: Review) -> ReadingReview | None:
    about = found.installation.pressure
    return None if about is None else found.readings.get(about.name)


def _periods(
    name: str, some: Sequence[Period], flow: ReadingReview, words: Words,
    lowest: tuple[ReadingReview, Sequence[Period]] | None = None,
) -> Table:  # fmt: skip
    """`lowest`: the pressure and the same periods of it, whose lowest row stands beside."""
    factor = 0.0 if flow.amount is None else flow.amount.factor
    amount = "" if flow.amount is None else f" [{words.unit(flow.amount.unit)}]"
    unit = f" [{words.unit(flow.shown.unit)}]"
    rows: list[tuple[str, ...]] = [
        (
            _period_name(one, words), words.number(one.amount * factor, 5), words.number(one.mean),
            words.number(one.highest), words.percent(one.measured_s / max(one.elapsed_s, 1.0)),
        )
        for one in some
    ]  # fmt: skip
    heads = ["", words("total") + amount, words("mean") + unit, words("highest") + unit, words("measured")]
    if lowest is not None:
        pressure, same = lowest
        lows = {one.name: one.lowest for one in same}
        rows = [(*row, words.number(lows.get(one.name))) for row, one in zip(rows, some, strict=True)]
        heads.append(f"{words('lowest pressure')} [{words.unit(pressure.shown.unit)}]")
    return Table(name, heads, rows)


def _period_name(one: Period, words: Words) -> str:
    """A weekday or a kind of day by its word, a day by its date, a shift by its day and its own name."""
    if one.day is None:
        return words(one.name)
    return f"{words.date(one.day)} {plain(one.name.removeprefix(one.day.isoformat()))}".strip()


def pictures(found: Review, words: Words) -> Section:
    """Flow and pressure over time with the log book, the week, duration, pressure against flow."""
    names = [one.info.name for one in (found.flow, _pressure_reading(found)) if one is not None]
    names = names or list(found.readings)[:1]
    items: list[Item] = []
    if names:
        if found.coverage.elapsed_s < SHORTEST_S:
            text = "Less than ten minutes: pictures are drawn of minutes, and these show next to nothing."
            items.append(Text(words(text)))
        items.append(over_time.over_time(found, names, words))
        told = legend(found, words)
        items += [] if told is None else [fold(told, words)]
        items.append(week.picture(found, names[0], words))
        items.append(curves.duration(found, names[0], words))
    if found.flow is not None and len(names) > 1:
        items.append(curves.against(found, names[0], names[1], words))
    return Section(words("The pictures"), items)


def installation(found: Review, words: Words) -> Section:
    """Meter, map, pipe and sketch, cautions: what was measured where and with what."""
    about = found.installation
    holds, every = words(found.measured.holds), words.span(found.measured.interval_ms / 1000)
    first = (
        (words("meter"), plain(about.meter)),
        (words("principle"), about.principle and words(about.principle)),
        (words("serial number"), about.serial_number and plain(about.serial_number)),
        (words("role of the point"), about.role and words(about.role)),
        (words("register map, SHA-256"), about.map_sha256),
        (words("recording"), words("{holds}s every {every}", holds=holds, every=every)),
    )
    rows = [(name, told) for name, told in first if told]
    items: list[Item] = [Table(words("Meter and recording"), ("", ""), rows, "words")]
    place = _place(found)
    if place is not None and place.bore is not None:
        pipe = [(n, v, r) for n, v, r in measures.pipe_rows(place.bore)]
        if place.insertion is not None:
            pipe += measures.insertion_rows(place.insertion, place)
        named = ((Sentence("inlet run"), place.inlet), (Sentence("outlet run"), place.outlet))
        pipe += [measures.run_row(name, run) for name, run in named if run is not None]
        told = [tuple(words.soft(words(one)) for one in row) for row in pipe]
        items.append(Table(words("Pipe and probe, as the point file says"), ("", "", ""), told, "words"))
        items += _sketch(place, words)
    settings = [(_setting_name(key, words), _setting(value, words)) for key, value in about.settings.items()]
    if settings:
        items.append(Table(words("Settings read from the meter"), ("", ""), settings, "words"))
    fluid = fluid_said(about.conditions, map_of(about.map_text))
    cautions = [(words(one.when), words(one.text)) for one in cautions_for(fluid)]
    items.append(Table(words("Cautions for whoever goes back to the pipe"), ("", ""), cautions, "words"))
    return Section(words("Where and with what"), items)


def _setting_name(key: str, words: Words) -> str:
    """Reference conditions that the meter tells are named with the register that tells them."""
    name, _, register = key.partition(" at ")
    return f"{words.name(name)} ({plain(register)})" if register else words.name(name)


def _setting(told: object, words: Words) -> str:
    if not isinstance(told, dict):
        return plain(told)
    value, unit = told.get("value"), told.get("unit")
    number = words.value(value) if isinstance(value, int | float) else words.outside(value)
    return "–" if value is None else f"{number} {words.unit(unit, '')}".strip()


def _place(found: Review) -> Place | None:
    """From the texts that the archive keeps; None where no pipe can be worked out from them."""
    point = found.installation.measuring_point
    if point is None or point.pipe is None:
        return None
    pipe = point.pipe
    try:
        bore = bore_of(pipe, point.uncertainty.get("inside_diameter"), None)
        insertion = None if pipe.probe is None else insertion_of(pipe.probe, bore)
        position = None if insertion is None else insertion.position
        inlet = None if pipe.inlet_run is None else inlet_run(pipe.inlet_run, bore.inside_mm, position)
        outlet = None if pipe.outlet_run is None else outlet_run(pipe.outlet_run, bore.inside_mm)
    except WrongUse:
        return None
    return Place(point, map_of(found.installation.map_text), bore, insertion, inlet, outlet)


def _sketch(place: Place, words: Words) -> Iterator[Item]:
    probe = None if place.point.pipe is None else place.point.pipe.probe
    if probe is None or place.bore is None or place.insertion is None:
        return
    stem, fitting = (
        None if one is None else float(millimetres(one))
        for one in (probe.stem_diameter, probe.fitting_height)
    )
    drawn = section(
        place.bore, place.insertion, stem_mm=stem, fitting_mm=fitting, highest_mm=108.0, widest_mm=80.0,
        words=words,
    )  # fmt: skip
    letters = (
        "A fitting, B wall, C depth of the sensor, D sensor to tip, E mark from the tip, F inside diameter"
    )
    yield Drawing(drawn.drawing.svg(), words(letters))
