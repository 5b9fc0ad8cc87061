"""The figures of a place as rows of words, for a terminal and for the sheet: the same words on both."""

from collections.abc import Callable, Iterator
from decimal import Decimal

from readout.measuring_point.figures.document import INCH_MM
from readout.measuring_point.figures.figures import Expected, Figures
from readout.measuring_point.figures.place import Place
from readout.measuring_point.installation.insertion import Insertion, Position
from readout.measuring_point.installation.runs import Run
from readout.measuring_point.pipe.bore import Bore, other_sizes

#: What it is, its figure with unit, and a remark.
Row = tuple[str, str, str]


def length(millimetres: Decimal | float) -> str:
    """`180.2 mm (7.093 in)`"""
    return f"{float(millimetres):.1f} mm ({float(millimetres) / float(INCH_MM):.3f} in)"


def pipe_rows(bore: Bore) -> Iterator[Row]:
    """The bore, how it is known, and what other pipes go by the same name."""
    yield "inside diameter", f"{bore.inside_mm:.2f} mm ({float(bore.inside_mm / INCH_MM):.4f} in)", bore.known
    yield (
        "its uncertainty",
        f"±{bore.expanded_mm:.2f} mm (k = 2)",
        f"{bore.uncertain}; ±{bore.flow_percent:.1f} % of the flow",
    )
    if bore.outside_mm is not None and bore.wall_mm is not None:
        yield "outside, wall", f"{bore.outside_mm:.2f} mm, {bore.wall_mm:.2f} mm", ""
    for size, percent in other_sizes(bore):
        low_high = "high" if percent > 0 else "low"
        yield (
            "beware",
            f"{size.bore_mm:.2f} mm",
            f"if it is {size} instead, the flow is told {abs(percent):.1f} % too {low_high}",
        )


def insertion_rows(insertion: Insertion, place: Place) -> Iterator[Row]:
    """Depth, mark and draw-back, blockage."""
    share = "0.5" if insertion.position is Position.CENTRE else "0.121"
    yield "sensor at", str(insertion.position), f"{share} of the bore; {insertion.why}"
    yield "depth of the sensor", length(insertion.depth_mm), "from the inside of the near wall"
    if insertion.mark_mm is None:
        yield "mark on the stem", "–", "give fitting_height, sensor_to_tip, and the pipe's wall"
    else:
        yield (
            "mark on the stem",
            length(insertion.mark_mm),
            "from the tip; level with the top of the fitting: fitting + wall + depth + sensor to tip",
        )
    if insertion.draw_back_mm is not None:
        yield "or draw back", length(insertion.draw_back_mm), "from the tip touching the far wall"
    elif insertion.tip_to_far_wall_mm is not None:
        yield "tip to far wall", length(insertion.tip_to_far_wall_mm), ""
    if insertion.blocked_to_sensor is not None:
        whole = "" if insertion.blocked is None else f", {100 * insertion.blocked:.1f} % with its tip"
        yield (
            "stem blocks",
            f"{100 * insertion.blocked_to_sensor:.1f} % to the sensor{whole}",
            _blockage_remark(place, insertion),
        )
    for problem in insertion.problems:
        yield "IT DOES NOT FIT", "", problem


def _blockage_remark(place: Place, insertion: Insertion) -> str:
    pipe = place.point.pipe
    if pipe is not None and "stem blockage" in pipe.applied_in_meter:
        return "the meter takes it into account: not corrected again"
    share = insertion.blocked if insertion.blocked is not None else insertion.blocked_to_sensor or 0.0
    return f"unless the meter's calibration has it, it reads up to {100 * share / (1 - share):.0f} % high"


def run_row(name: str, run: Run) -> Row:
    """A straight run against what is asked for."""
    verdict = "enough" if run.is_enough else f"TOO SHORT by {run.missing_mm / 1000:.2f} m"
    after = f"after {run.after}: " if run.after else ""
    return name, f"{run.diameters:.1f} D", f"{after}{run.asked:g} D asked ({run.basis}): {verdict}"


def expected_table(figures: Figures) -> list[tuple[str, ...]]:
    """A head and a row for each figure of the expected flows, lowest and highest side by side."""
    ends = figures.expected
    if not ends:
        return []
    reference = "" if figures.stream is None else str(figures.stream.reference)
    line = "" if figures.stream is None else str(figures.stream.line)
    rows: list[tuple[str, ...]] = [("expected flow", *(str(one.said) for one in ends), f"at {reference}")]
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
    found = [f"{one.said}: {one.fit.says}" for one in figures.expected if one.fit is not None]
    found += [f"{one.said}: {remark}" for one in figures.expected for remark in one.case.remarks]
    return [*found, *figures.missing]
