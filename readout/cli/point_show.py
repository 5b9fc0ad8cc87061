"""`point show`: every figure of a measuring point, on the terminal, as JSON, or as a sheet to print."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.note import PointFile
from readout.cli.options import AsJson
from readout.cli.output import columns, say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from readout.measuring_point.figures.figures import Figures
    from readout.measuring_point.figures.uncertain import Trust


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
    from readout.cli.files import page_file
    from readout.measuring_point.conditions.gases import Model
    from readout.measuring_point.figures.document import document
    from readout.measuring_point.figures.figures import figures_of
    from readout.measuring_point.figures.place import find_place
    from readout.measuring_point.figures.uncertain import trust_document, trusted
    from readout.measuring_point.sheet.page import sheet_html

    page_file(sheet, "--sheet")
    found = find_place(point)
    if found.place is None:
        raise WrongUse("the point file has faults:\n" + "\n".join(str(fault) for fault in found.faults))
    for fault in found.faults:
        say(str(fault))
    figures = figures_of(found.place, Model.REAL if real_gas else Model.IDEAL)
    trusts = trusted(figures)
    if sheet is not None:
        _write(sheet, sheet_html(figures, trusts, point.name))
    if as_json:
        tell_json({**document(figures), "uncertainty": [trust_document(one) for one in trusts]})
    else:
        _tell(figures, trusts)
    return 0


def _write(sheet: Path, html: str) -> None:
    try:
        sheet.write_text(html, encoding="utf-8")
    except OSError as error:
        raise WrongUse(
            f"--sheet {sheet}: cannot be written ({error.strerror}); is the path right?"
        ) from error
    say(f"{sheet}: written; print it on A4 at 100 %")


def _tell(figures: "Figures", trusts: "Sequence[Trust]") -> None:
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
    _tell_trust(trusts)
    tell("\ncautions")
    if figures.force is not None:
        tell(f"  {figures.force.caution}")
    for caution in cautions_for(place.fluid):
        tell(f"  {caution.when}: {caution.text}")


def _tell_trust(found: "Sequence[Trust]") -> None:
    """The budget of the highest flow as a table with its chart; of the lowest what it comes to."""
    from protocols.units import printed
    from readout.measuring_point.figures.uncertain import SYSTEMATIC, trust_table, trust_words

    if not found:
        return
    tell(f"\nuncertainty of the flow, at {printed(str(found[-1].expected.said))}")
    for line in columns(trust_table(found[-1]), right=frozenset({1, 2, 3, 4})):
        tell(f"  {line}")
    for words in dict.fromkeys(words for one in reversed(found) for words in trust_words(one)):
        tell(f"  {words}")
    tell(f"  {SYSTEMATIC}")


def _section(title: str, rows: "Iterable[tuple[str, ...]]") -> None:
    lines = columns(list(rows))
    if lines:
        tell(f"\n{title}")
    for line in lines:
        tell(f"  {line}")
