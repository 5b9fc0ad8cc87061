"""A pipe that cannot be: walls without a bore, a stem wider than it, an unknown standard."""

import math
from decimal import Decimal

from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries
from readout.measuring_point import grammar as k
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.pipe.standards import wrong_standard
from readout.sentence import Sentence

_PI = Decimal(math.pi)


def check_pipe(pipe: Entries | None, report: Report) -> None:
    """Every fault of the pipe that its own keys show."""
    if pipe is None:
        return
    outside = _outside_mm(pipe)
    wall = pipe.get(k.WALL_THICKNESS)
    if outside is not None and not pipe.has(k.WALL_THICKNESS):
        report.fault(
            pipe.node,
            Sentence("from the outside the bore is known only with wall_thickness; write such as 3.6 mm"),
        )
    if outside is not None and wall is not None and 2 * millimetres(wall) >= outside:
        report.fault(
            pipe.at(k.WALL_THICKNESS),
            Sentence(
                "two walls of {wall} leave no bore in a pipe of {pipe}; a wall here is less than {most} mm",
                wall=wall,
                pipe=_said(pipe),
                most=_short(outside / 2),
            ),
        )
    standard = pipe.get(k.STANDARD)
    if standard is not None and not pipe.has(k.TABLE):
        wrong = wrong_standard(standard)
        if wrong:
            report.fault(pipe.at(k.STANDARD), wrong)
    if pipe.has(k.TABLE) and not pipe.has(k.STANDARD):
        report.fault(
            pipe.at(k.TABLE),
            Sentence("a table needs the size to look up: standard, such as works list DN 50"),
        )
    _check_probe(pipe, report)


def _check_probe(pipe: Entries, report: Report) -> None:
    probe, bore = pipe.get(k.PROBE), _bore_mm(pipe)
    stem = None if probe is None else probe.get(k.STEM)
    if probe is not None and stem is not None and bore is not None and millimetres(stem) >= bore:
        wrong = Sentence(
            "a stem of {stem} does not go into a bore of {bore} mm", stem=stem, bore=_short(bore)
        )
        report.fault(probe.at(k.STEM), wrong)


def _outside_mm(pipe: Entries) -> Decimal | None:
    across, around = pipe.get(k.OUTSIDE_DIAMETER), pipe.get(k.CIRCUMFERENCE)
    if across is not None:
        return millimetres(across)
    return None if around is None else millimetres(around) / _PI


def _bore_mm(pipe: Entries) -> Decimal | None:
    inside, outside, wall = pipe.get(k.INSIDE_DIAMETER), _outside_mm(pipe), pipe.get(k.WALL_THICKNESS)
    if inside is not None:
        return millimetres(inside)
    if outside is None or wall is None or 2 * millimetres(wall) >= outside:
        return None
    return outside - 2 * millimetres(wall)


def _said(pipe: Entries) -> Sentence:
    across, round_it = pipe.get(k.OUTSIDE_DIAMETER), pipe.get(k.CIRCUMFERENCE)
    if across is None:
        return Sentence("{length} circumference", length=round_it)
    return Sentence("{length}", length=across)


def _short(number: Decimal) -> Decimal:
    """To a thousandth, without zeros at its end."""
    return Decimal(f"{number:.3f}".rstrip("0").rstrip("."))
