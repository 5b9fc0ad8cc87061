"""`review`: all figures of an archive, as text or as data."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.moments import moment_ms
from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import columns, say, tell, tell_json
from readout.cli.progress import steadily
from readout.errors import WrongUse

if TYPE_CHECKING:
    from protocols.units import Quantity
    from readout.review.marks.results import Inputs
    from readout.review.review import ReadingReview, Review

PointName = Annotated[
    str | None, typer.Option("--point", metavar="NAME", help="One point; all of them if not given.")
]
From = Annotated[
    str | None, typer.Option("--from", metavar="TIME", help="Only from then on; site time without an offset.")
]
Until = Annotated[str | None, typer.Option("--until", metavar="TIME", help="Only what is before then.")]
RequiredPressure = Annotated[
    str | None,
    typer.Option("--required-pressure", metavar="PRESSURE", help="What the plant needs: '6.5 bar(g)'."),
]
PressureBand = Annotated[
    str | None,
    typer.Option("--band", metavar="SPAN", help="Pressure that counts out of hours: '6 bar(g) to 8 bar(g)'."),
]
NetworkVolume = Annotated[
    str | None,
    typer.Option("--volume", metavar="VOLUME", help="Of the network, for leak tests: '12 m3'."),
]
CompressorOutput = Annotated[
    str | None,
    typer.Option("--compressor-output", metavar="FLOW", help="Under load, for leak tests: '35 m3/min'."),
]


def review(
    folder: ArchiveFolder,
    *,
    point: PointName = None,
    start: From = None,
    end: Until = None,
    required: RequiredPressure = None,
    band: PressureBand = None,
    volume: NetworkVolume = None,
    output: CompressorOutput = None,
    as_json: AsJson = False,
) -> int:
    """Tell how complete a measurement is, and every figure that follows from it.

    May run beside a recorder; rows that are not sealed yet count. Exit status 1 where a point has no rows in
    the span.
    """
    from readout.review.document import document, several

    inputs = leak_inputs(volume, output)
    found, missing = [], []
    for name, source in streams_wanted(folder, point):
        one = review_of(folder, name, source, start, end, required, band)
        if one is None:
            missing.append(f"{name} ({source})")
        else:
            found.append(one)
    for name in missing:
        say(f"{name}: no rows with numbers and a time in this span")
    if as_json:
        points = [document(one, inputs) for one in found]
        tell_json({"archive": str(folder), "points": points, **several(found)})
    else:
        for one in found:
            for line in (*_lines(one), *_mark_lines(one, inputs), ""):
                tell(line)
        for line in _together_lines(found):
            tell(line)
    return 1 if missing or not found else 0


def streams_wanted(folder: Path, point: str | None) -> list[tuple[str, str]]:
    """The points and sources that are meant, or WrongUse with those that there are."""
    from readout.review.review import points_of

    streams = points_of(folder)
    mine = [one for one in streams if point in (None, one[0])]
    if not mine:
        names = ", ".join(sorted({name for name, _ in streams}))
        raise WrongUse(f"--point {point}: {folder} has no such point; it has {names}")
    return mine


def review_of(
    folder: Path, name: str, source: str, start: str | None, end: str | None, required: str | None,
    band: str | None,
) -> "Review | None":  # fmt: skip
    """The review that options ask for; None where the point has no rows with numbers in the span."""
    from readout.review.review import Asked
    from readout.review.review import review as reviewed

    since, until = span_of(folder, name, source, start, end)
    low_high = None if band is None else _span(band)
    needed = None if required is None else _pressure(required, "--required-pressure")
    asked: Asked = Asked(since, until, needed, low_high)
    with steadily(f"{name} ({source})") as show:
        return reviewed(folder, name, source, asked, show)


def span_of(
    folder: Path, name: str, source: str, start: str | None, end: str | None
) -> tuple[int | None, int | None]:
    """--from and --until [ms since 1970 UTC] of a point, whose site's clock is meant without an offset."""
    if start is None and end is None:
        return None, None
    from readout.review.rows.streams import installation_of

    about = installation_of(folder, name, source)
    zone = "UTC" if about is None else about.zone.key
    since = None if start is None else moment_ms(start, zone, "--from")
    until = None if end is None else moment_ms(end, zone, "--until")
    if since is not None and until is not None and since >= until:
        raise WrongUse(f"--until {end} is not after --from {start}")
    return since, until


def _pressure(text: str, option: str) -> "Quantity":
    from protocols.units import Dimension, quantity_of

    found = quantity_of(text)
    if isinstance(found, str) or found.unit.dimension is not Dimension.PRESSURE or found.gauge is None:
        why = found if isinstance(found, str) else "write a pressure with (g) or (a)"
        raise WrongUse(f"{option} {text}: {why}, such as 6.5 bar(g)")
    return found


def _span(text: str) -> "tuple[Quantity, Quantity]":
    low, found, high = text.partition(" to ")
    if not found:
        raise WrongUse(f"--band {text}: write two pressures, such as 6 bar(g) to 8 bar(g)")
    return _pressure(low, "--band"), _pressure(high, "--band")


def _of(text: str | None, option: str, dimension: str) -> "Quantity | None":
    from protocols.units import quantity_of

    if text is None:
        return None
    found = quantity_of(text)
    if isinstance(found, str) or found.unit.dimension != dimension:
        raise WrongUse(f"{option} {text}: {found if isinstance(found, str) else f'that is no {dimension}'}")
    return found


# ---- as text


def _mark_lines(one: "Review", inputs: "Inputs") -> list[str]:
    from readout.review.marks.comparison import compared
    from readout.review.marks.results import mark_results

    unit = "" if one.flow is None else _unit(one.flow.shown.unit)
    lines = []
    for found in mark_results(one, inputs):
        mark = found.mark
        lines.append(
            f"  {mark.name}: {_local(one, mark.begin_ms)} to {_local(one, mark.end_ms)},"
            f" mean flow {_shown(found.flow)} {unit}"
        )
        for test in found.leak_tests:
            if test.why is not None:
                lines.append(f"    none by {test.method}: {test.why}")
                continue
            share = "" if test.share is None else f", {test.share:.1%} of the time under load"
            lines.append(f"    {_shown(test.flow)} {_unit(test.unit)} by {test.method}{share}")
    both = compared(one)
    for name, before, after in () if both is None else both.rows:
        pair = [None if side is None else side.mean for side in (before, after)]
        lines.append(f"  {name} days: {_shown(pair[0])} before, {_shown(pair[1])} after {unit}")
    return lines + [f"  {text}" for text in (() if both is None else both.not_comparable)]


def _together_lines(found: "list[Review]") -> list[str]:
    from readout.review.document import several

    if len(found) < 2:
        return []
    told, lines = several(found), []
    both = told["together"]
    if both is not None and "why" in both:
        lines.append(f"several points: {both['why']}")
    elif both is not None:
        width = _shown(both["difference_uncertainty"])
        first, *rest = both["points"]
        lines.append(f"sum of all points: {_shown(both['sum'])} ± {width} {_unit(both['unit'])}")
        lines.append(
            f"{first} less {', '.join(rest)}: {_shown(both['difference'])} ± {width} {_unit(both['unit'])}"
        )
        lines += [both["verdict"]] if both["verdict"] else []
    for name, one in told["live_and_memory"].items():
        if one is not None:
            ratio = f"memory over live {_shown(one['ratio'])} in {one['common_s']:.12g} s"
            lines.append(f"{name}: {ratio}; {one['precedence']}")
    return lines


def _lines(one: "Review") -> list[str]:
    from readout.review.about.maps import mixed_maps
    from readout.review.about.told_units import mixed_units

    about, covered = one.installation, one.coverage
    lines = [
        f"{about.point} ({about.source}), {about.site}, times of {about.zone.key}",
        f"  {_local(one, covered.begin_ms)} to {_local(one, covered.end_ms)}",
        f"  measured {covered.share:.3%} of {covered.elapsed_s:.12g} s",
    ]
    lines += [f"    {cause}: {seconds:.12g} s" for cause, seconds in sorted(covered.missing_s.items())]
    for caution in (mixed_maps(one.measured.installations), mixed_units(one.measured.units)):
        lines += [] if caution is None else [f"  CAUTION: {caution}"]
    lines.append("")
    lines += columns(
        [("  reading", "unit", "mean", "median", "lowest", "highest", "total")]
        + [row for name in one.readings for row in _rows(one, name)],
        right=frozenset({2, 3, 4, 5}),
    )
    lines += ["", *_reference_lines(one), *_flow_lines(one), *_demand_lines(one)]
    lines += [f"  method: {one.method}"]
    return lines


def _rows(one: "Review", name: str) -> list[tuple[str, ...]]:
    """A reading's row; of a flow that the ledger corrects the raw one, then the corrected one."""
    raw, best = one.readings[name], one.best(name)
    if best is raw:
        return [_row(name, raw)]
    return [_row(f"{name}, raw", raw), _row(f"{name}, corrected", best)]


def _reference_lines(one: "Review") -> list[str]:
    """What m³ are m³ of: the reference conditions of each reading that has some; of a flow also that none."""
    by_reference: dict[str, list[str]] = {}
    for name, reading in one.readings.items():
        if reading.info.reference is not None:
            by_reference.setdefault(_unit(reading.info.reference), []).append(name)
    lines = [f"  {', '.join(names)}: m³ at {reference}" for reference, names in by_reference.items()]
    if one.flow is not None and one.flow.info.reference is None:
        lines.append(f"  {one.flow.info.name}: the register map states no reference conditions")
    return lines


def _row(name: str, one: "ReadingReview") -> tuple[str, ...]:
    found = one.statistics
    total = "" if one.total is None or one.amount is None else f"{one.total:.6g} {_unit(one.amount.unit)}"
    numbers = (_shown(value) for value in (found.mean, found.median, found.lowest, found.highest))
    return (f"  {name}", _unit(one.shown.unit) or "-", *numbers, total)


def _flow_lines(one: "Review") -> list[str]:
    lines = []
    best = one.corrected or one.flow
    if one.flow is not None and best is not None:
        which = ", corrected," if best is not one.flow else ""
        for peak in best.statistics.peaks:
            told = f"none: {peak.why}"
            if peak.begin_ms is not None:
                told = f"{_shown(peak.value)} {_unit(best.shown.unit)}{which}"
                told += f" from {_local(one, peak.begin_ms)}"
            lines.append(f"  largest {peak.minutes} min mean: {told}")
        if best is not one.flow and best.amount is not None:
            lines.append(
                f"  corrected: {_shown(best.total)} {_unit(best.amount.unit)} instead of"
                f" {_shown(one.flow.total)} as the meter told it; what follows is of the corrected flow, the"
                " totaliser's line is not"
            )
    if one.totals is not None:
        found, share = one.totals, one.totals.difference
        apart = "" if share is None else f"; the flow's integral is {share:+.2%} of that away"
        if share is None and found.integral is not None:
            steps = f" in steps of {_shown(found.step)} {_unit(found.unit)}" if found.step else ""
            apart = (
                f"; the flow's integral is {_shown(found.integral)} {_unit(found.unit)}: too little was"
                f" counted{steps} to compare them"
            )
        lines.append(
            f"  the meter's totaliser counted {_shown(found.counted)} {_unit(found.unit)} while rows came,"
            f" {_shown(found.in_gaps)} in gaps{apart}"
        )
    return lines


def _demand_lines(one: "Review") -> list[str]:
    if isinstance(one.demand, str):
        return [f"  out-of-hours demand: not told; {one.demand}"]
    mean = one.demand.mean
    told = "none was measured" if mean is None else f"{_shown(mean)} {_unit(one.demand.unit)}"
    lines = [
        f"  out-of-hours demand: {told} over"
        f" {one.demand.counted_s:.12g} s"
        f" ({one.demand.out_of_band_s:.12g} s with the pressure out of its band left out)"
    ]
    lines += _step_lines(one)
    if isinstance(one.cost, str):
        return [*lines, f"  its cost: not told; {one.cost}"]
    return [
        *lines,
        f"  it costs {one.cost.an_hour:.2f} {one.cost.currency} an hour, {one.cost.a_year:.0f} a year"
        f" = {_unit(one.cost.formula)}",
        f"    {_unit(str(one.cost.specific_power))}: {one.cost.specific_power_reference}",
        *(f"    {warning}" for warning in one.cost.warnings),
    ]


def _step_lines(one: "Review") -> list[str]:
    """Since when the demand is another; nothing where it stayed at one level."""
    from readout.review.air.step import METHOD

    step = one.step
    if isinstance(step, str):
        return []
    way = "up" if step.size > 0 else "down"
    return [
        f"  it stepped {way} from {_shown(step.before)} to {_shown(step.after)} {_unit(step.unit)} between"
        f" {_local(one, step.since_ms)} and {_local(one, step.until_ms)}",
        f"    {METHOD}; medians of {step.hours_before} and {step.hours_after} hours",
    ]


def _unit(word: str | None) -> str:
    """As people write it; nothing for none."""
    from protocols.units import printed

    return "" if word is None else printed(word)


def _shown(value: Any) -> str:
    return "-" if value is None else f"{value:.6g}"


def _local(one: "Review", ms: int) -> str:
    from datetime import UTC, datetime

    when = datetime.fromtimestamp(ms / 1000, UTC).astimezone(one.installation.zone)
    return when.strftime("%Y-%m-%d %H:%M:%S %z")


def leak_inputs(volume: str | None, output: str | None) -> "Inputs":
    """What leak tests need besides rows; WrongUse for what is no volume or no flow."""
    from readout.review.marks.results import Inputs

    return Inputs(_of(volume, "--volume", "volume"), _of(output, "--compressor-output", "volume flow"))
