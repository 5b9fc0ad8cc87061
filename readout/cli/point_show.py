"""`point show`: every figure of a measuring point, on the terminal, as JSON, or as a sheet to print."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.note import PointFile
from readout.cli.options import AsJson
from readout.cli.output import columns, say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterable

    from readout.measuring_point.figures.figures import Figures


def point_show(
    point: PointFile,
    *,
    real_gas: Annotated[
        bool, typer.Option("--real-gas", help="Densities of the real gas, not of the ideal one.")
    ] = False,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="FILE.html", help="Write a page to print on A4.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Show every figure of a measuring point: bore, depth, mark, runs, velocities, force, cautions.

    Sends nothing. With --sheet FILE.html also one A4 page with a sketch to scale, for the pipe. What cannot
    be worked out is said, with what to give. Flows of a gas are those of the ideal gas, as most meters count,
    unless --real-gas. Exit status 2 where the point file has a fault.
    """
    from readout.measuring_point.conditions.gases import Model
    from readout.measuring_point.figures.document import document
    from readout.measuring_point.figures.figures import figures_of
    from readout.measuring_point.figures.place import find_place

    found = find_place(point)
    if found.place is None:
        raise WrongUse("the point file has faults:\n" + "\n".join(str(fault) for fault in found.faults))
    for fault in found.faults:
        say(str(fault))
    figures = figures_of(found.place, Model.REAL if real_gas else Model.IDEAL)
    if sheet is not None:
        _write(sheet, figures, point.name)
    if as_json:
        tell_json(document(figures))
    else:
        _tell(figures)
    return 0


def _write(sheet: Path, figures: "Figures", file: str) -> None:
    from readout.measuring_point.sheet.page import sheet_html

    try:
        sheet.write_text(sheet_html(figures, file), encoding="utf-8")
    except OSError as error:
        raise WrongUse(
            f"--sheet {sheet}: cannot be written ({error.strerror}); is the path right?"
        ) from error
    say(f"{sheet}: written; print it on A4 at 100 %")


def _tell(figures: "Figures") -> None:
    from readout.measuring_point.figures import text
    from readout.measuring_point.installation.cautions import cautions_for

    place = figures.place
    tell(f"{place.point.name}, {place.point.site.name}: {place.fluid or 'fluid not said'}")
    if place.bore is not None:
        _section("pipe", text.pipe_rows(place.bore))
    if place.insertion is not None:
        _section("probe", text.insertion_rows(place.insertion, place))
    runs = [
        text.run_row(name, run)
        for name, run in (("inlet run", place.inlet), ("outlet run", place.outlet))
        if run
    ]
    _section("straight runs", runs)
    if figures.expected:
        tell("\nexpected flow")
        ends = frozenset(range(1, 1 + len(figures.expected)))
        for line in columns(text.expected_table(figures), right=ends):
            tell(f"  {line}")
    for remark in text.remarks(figures):
        tell(f"  {remark}")
    tell("\ncautions")
    if figures.force is not None:
        tell(f"  {figures.force.caution}")
    for caution in cautions_for(place.fluid):
        tell(f"  {caution.when}: {caution.text}")


def _section(title: str, rows: "Iterable[tuple[str, ...]]") -> None:
    lines = columns(list(rows))
    if lines:
        tell(f"\n{title}")
    for line in lines:
        tell(f"  {line}")
