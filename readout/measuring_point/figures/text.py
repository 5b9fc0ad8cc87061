"""The figures of a place as rows of words, for a terminal and for the sheet: the same words on both."""

from collections.abc import Callable, Iterator
from decimal import Decimal

from protocols.units import printed
from readout.measuring_point.figures.document import INCH_MM
from readout.measuring_point.figures.figures import Expected, Figures
from readout.measuring_point.figures.place import Place
from readout.measuring_point.installation.insertion import Insertion, Position
from readout.measuring_point.installation.runs import Run
from readout.measuring_point.pipe.bore import Bore, other_sizes
from readout.sentence import Sentence, word

#: What it is, its figure with unit, and a remark.
Row = tuple[str, str, str]


def length(millimetres: Decimal | float) -> str:
    """`180.2 mm (7.093 in)`"""
    mm = float(millimetres)
    return Sentence("{mm:.1f} mm ({inch:.3f} in)", mm=mm, inch=mm / float(INCH_MM))


def pipe_rows(bore: Bore) -> Iterator[Row]:
    """The bore, how it is known, and what other pipes go by the same name."""
    inside, inch = bore.inside_mm, float(bore.inside_mm / INCH_MM)
    yield (
        Sentence("inside diameter"),
        Sentence("{mm:.2f} mm ({inch:.4f} in)", mm=inside, inch=inch),
        bore.known,
    )
    yield (
        Sentence("its uncertainty"),
        Sentence("±{mm:.2f} mm (k = 2)", mm=bore.expanded_mm),
        Sentence("{why}; ±{percent:.1f} % of the flow", why=bore.uncertain, percent=bore.flow_percent),
    )
    if bore.outside_mm is not None and bore.wall_mm is not None:
        measures = Sentence("{outside:.2f} mm, {wall:.2f} mm", outside=bore.outside_mm, wall=bore.wall_mm)
        yield Sentence("outside, wall"), measures, ""
    for size, percent in other_sizes(bore):
        name, off = str(size), abs(percent)
        yield (
            Sentence("beware"),
            Sentence("{mm:.2f} mm", mm=size.bore_mm),
            Sentence(
                "if it is {pipe} instead, the flow is told {percent:.1f} % too high", pipe=name, percent=off
            )
            if percent > 0
            else Sentence(
                "if it is {pipe} instead, the flow is told {percent:.1f} % too low", pipe=name, percent=off
            ),
        )


def insertion_rows(insertion: Insertion, place: Place) -> Iterator[Row]:
    """Depth, mark and draw-back, blockage."""
    share = 0.5 if insertion.position is Position.CENTRE else 0.121
    at = Sentence("{share:g} of the bore; {why}", share=share, why=insertion.why)
    yield Sentence("sensor at"), Sentence("{position}", position=insertion.position), at
    depth = Sentence("from the inside of the near wall")
    yield Sentence("depth of the sensor"), length(insertion.depth_mm), depth
    mark = Sentence("mark on the stem")
    if insertion.mark_mm is None:
        yield mark, "–", Sentence("give {keys}", keys=_lacking_for_mark(insertion, place))
    else:
        yield (
            mark,
            length(insertion.mark_mm),
            Sentence(
                "from the tip; level with the top of the fitting: fitting + wall + depth + sensor to tip"
            ),
        )
    if insertion.draw_back_mm is not None:
        touching = Sentence("from the tip touching the far wall")
        yield Sentence("or draw back"), length(insertion.draw_back_mm), touching
    elif insertion.tip_to_far_wall_mm is not None:
        yield Sentence("tip to far wall"), length(insertion.tip_to_far_wall_mm), ""
    if insertion.blocked_to_sensor is not None:
        blocks = Sentence("{percent:.1f} % to the sensor", percent=100 * insertion.blocked_to_sensor)
        if insertion.blocked is not None:
            whole = 100 * insertion.blocked
            blocks = Sentence("{part}, {percent:.1f} % with its tip", part=blocks, percent=whole)
        yield Sentence("stem blocks"), blocks, _blockage_remark(place, insertion)
    for problem in insertion.problems:
        yield Sentence("IT DOES NOT FIT"), "", problem


def _lacking_for_mark(insertion: Insertion, place: Place) -> str:
    """The keys without which there is no mark on the stem."""
    pipe = place.point.pipe
    probe = None if pipe is None else pipe.probe
    told = {
        "probe: fitting_height": probe is not None and probe.fitting_height is not None,
        "probe: sensor_to_tip": insertion.sensor_to_tip_mm is not None,
        "pipe: wall_thickness": place.bore is not None and place.bore.wall_mm is not None,
    }
    return ", ".join(key for key, is_there in told.items() if not is_there)


def _blockage_remark(place: Place, insertion: Insertion) -> str:
    pipe = place.point.pipe
    if pipe is not None and "stem blockage" in pipe.applied_in_meter:
        return Sentence("the meter takes it into account: not corrected again")
    share = insertion.blocked if insertion.blocked is not None else insertion.blocked_to_sensor or 0.0
    high = 100 * share / (1 - share)
    return Sentence(
        "unless the meter's calibration has it, it reads up to {percent:.0f} % high", percent=high
    )


def run_row(name: str, run: Run) -> Row:
    """A straight run against what is asked for."""
    verdict = Sentence("enough")
    if not run.is_enough:
        verdict = Sentence("TOO SHORT by {metres:.2f} m", metres=run.missing_mm / 1000)
    told = Sentence(
        "{asked:g} D asked ({basis}): {verdict}", asked=run.asked, basis=run.basis, verdict=verdict
    )
    if run.after:
        told = Sentence("after {fitting}: {told}", fitting=word(run.after), told=told)
    return name, Sentence("{diameters:.1f} D", diameters=run.diameters), told


def expected_table(figures: Figures) -> list[tuple[str, ...]]:
    """A head and a row for each figure of the expected flows, lowest and highest side by side."""
    ends = figures.expected
    if not ends:
        return []
    reference = "" if figures.stream is None else str(figures.stream.reference)
    line = "" if figures.stream is None else str(figures.stream.line)
    rows: list[tuple[str, ...]] = [
        ("expected flow", *(printed(str(one.said)) for one in ends), f"at {reference}")
    ]
    rows.append(_row("in the pipe, m³/h", ends, lambda e: e.case.line_flow.amount * 3600, f"at {line}"))
    for index, (shown, _) in enumerate(ends[0].volumes):
        row = _row("", ends, lambda e, i=index: e.volumes[i][1].amount * 3600, f"at {shown.state}")  # type: ignore[misc]
        rows.append((f"{shown.name}, m³/h", *row[1:]))
    rows.append(_row("mass, kg/h", ends, lambda e: e.case.mass_flow_kg_per_s * 3600, ""))
    rows.append(_row("velocity, m/s", ends, lambda e: e.case.velocity_m_per_s, "actual, mean"))
    rows.append(_row("", ends, lambda e: e.case.velocity_reference_m_per_s, "as if at reference conditions"))
    rows.append(_row("", ends, lambda e: e.case.velocity_at_sensor_m_per_s, "actual, at the sensor"))
    rows.append(_row("Reynolds number", ends, lambda e: e.case.reynolds, "", digits=3))
    rows.append(
        _row(
            "profile factor", ends, lambda e: e.case.profile_factor, "mean velocity / velocity at the sensor"
        )
    )
    rows.append(_row("to be corrected by", ends, lambda e: e.correction, _correction_remark(figures.place)))
    if all(one.millimetre_percent is not None for one in ends):
        remark = "of the velocity, when the sensor stands 1 mm off"
        rows.append(_row("1 mm of depth, %", ends, lambda e: e.millimetre_percent or 0.0, remark, digits=2))
    return rows


def _row(
    name: str, ends: tuple[Expected, ...], figure: Callable[[Expected], float], remark: str, digits: int = 4
) -> tuple[str, ...]:
    return (name, *(significant(figure(one), digits) for one in ends), remark)


def significant(number: float, digits: int = 4) -> str:
    """A number to so many digits, without an exponent: 79.72, 276900."""
    if number == 0:
        return "0"
    rounded = float(f"{number:.{digits}g}")
    places = max(0, digits - 1 - int(f"{rounded:e}".partition("e")[2]))
    return f"{rounded:.{places}f}"


def _correction_remark(place: Place) -> str:
    pipe, insertion = place.point.pipe, place.insertion
    if insertion is None or pipe is None:
        return "no probe: nothing"
    applied = "velocity profile" in pipe.applied_in_meter
    if applied and not insertion.is_moved:
        return "the meter applies the profile itself: nothing to correct again"
    if applied:
        return f"the meter applies the profile for the {insertion.calibrated_for}, the sensor is elsewhere"
    return "the meter tells the velocity at the sensor: times this is the mean"


def remarks(figures: Figures) -> list[str]:
    """Sentences about the expected flows, each once."""
    found = [f"{printed(str(one.said))}: {one.fit.says}" for one in figures.expected if one.fit is not None]
    found += [
        f"{printed(str(one.said))}: {remark}" for one in figures.expected for remark in one.case.remarks
    ]
    return [*found, *figures.missing]
