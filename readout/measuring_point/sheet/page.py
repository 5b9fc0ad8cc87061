"""The sheet as one page of HTML that needs nothing else: no script, no font, no picture beside it."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from protocols.units import printed
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.figures import text
from readout.measuring_point.figures.figures import Figures
from readout.measuring_point.figures.place import Place
from readout.measuring_point.figures.uncertain import Trust, trust_words
from readout.measuring_point.installation.cautions import cautions_for
from readout.measuring_point.model import Probe
from readout.measuring_point.sheet.along import runs_along
from readout.measuring_point.sheet.section import section

#: Room on paper for the two drawings [mm].
SECTION_HIGH_MM, SECTION_WIDE_MM, ALONG_WIDE_MM = 108.0, 80.0, 186.0
#: What is filled in by hand at the pipe.
BLANKS = (
    "meter, serial number", "mark set and seen by", "display / Modbus reading", "date, time", "photo numbers",
    "pressure, temperature found", "fitted by (signature)", "permit number", "checked by (signature)",
)  # fmt: skip
#: More lines than this are set in smaller print, so that the page stays one.
MOST_LINES = 27


def sheet_html(figures: Figures, trusts: Sequence[Trust], file: str) -> str:
    """The page; `trusts` as `trusted` gives them, `file` is the point file's name, told in its foot."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    place = figures.place
    template = (Path(__file__).parent / "sheet.html").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    drawn, along = _section(place), _along(place)
    blocks, remarks = list(_blocks(place)), text.remarks(figures)
    flows = text.expected_table(figures)
    cautions = cautions_for(place.fluid)
    return environment.from_string(template).render(
        point=place.point,
        fluid=place.fluid or "fluid not said",
        section=None if drawn is None else Markup(drawn),
        letters=list(_letters(place)),
        blocks=blocks,
        along=None if along is None else Markup(along),
        flows=flows,
        budget=_budget(trusts[-1]) if trusts else [],
        budget_at=printed(str(trusts[-1].expected.said)) if trusts else "",
        budget_words=list(dict.fromkeys(words for one in reversed(trusts) for words in trust_words(one))),
        remarks=remarks,
        force="" if figures.force is None else figures.force.caution,
        cautions=cautions,
        dense=_lines(blocks, remarks, flows) > MOST_LINES,
        blanks=BLANKS,
        file=file,
    )


def _lines(
    blocks: Sequence[tuple[str, Sequence[text.Row]]], remarks: Sequence[str], flows: Sequence[tuple[str, ...]]
) -> int:
    """About how many lines of print the page has besides sketch, cautions and blanks."""
    rows = [row for _, rows in blocks for row in rows]
    wrapped = sum(1 + len(remark) // 120 for remark in remarks)
    return len(flows) + wrapped + sum(1 + -(-len(remark) // 85) for _, _, remark in rows)


def _budget(trust: Trust) -> list[tuple[str, str, str]]:
    """Source, what it contributes to the flow, and the length of its bar: its share of the variance [%]."""
    budget = trust.budget
    return [
        (row.part.name, f"{abs(row.contribution_percent):.2f} %", f"{max(row.share_percent, 0):.0f}")
        for row in (() if budget is None else budget.rows)
    ]


def _probe(place: Place) -> Probe | None:
    return None if place.point.pipe is None else place.point.pipe.probe


def _section(place: Place) -> str | None:
    probe = _probe(place)
    if probe is None or place.bore is None or place.insertion is None:
        return None
    stem, fitting = probe.stem_diameter, probe.fitting_height
    return section(
        place.bore, place.insertion,
        stem_mm=None if stem is None else float(millimetres(stem)),
        fitting_mm=None if fitting is None else float(millimetres(fitting)),
        highest_mm=SECTION_HIGH_MM, widest_mm=SECTION_WIDE_MM,
    ).drawing.svg()  # fmt: skip


def _along(place: Place) -> str | None:
    if place.bore is None:
        return None
    bore = float(place.bore.inside_mm)
    found = runs_along(place.inlet, place.outlet, bore, widest_mm=ALONG_WIDE_MM)
    return None if found is None else found.svg()


def _letters(place: Place) -> Iterator[tuple[str, str, str]]:
    """What the letters of the sketch stand for."""
    probe, bore, insertion = _probe(place), place.bore, place.insertion
    if probe is None or bore is None or insertion is None:
        return
    if probe.fitting_height is not None:
        yield "A", "fitting, above the pipe", text.length(millimetres(probe.fitting_height))
    if bore.wall_mm is not None:
        yield "B", "wall", text.length(bore.wall_mm)
    yield "C", "depth of the sensor", text.length(insertion.depth_mm)
    if insertion.sensor_to_tip_mm is not None:
        yield "D", "sensor to tip", text.length(insertion.sensor_to_tip_mm)
    if insertion.mark_mm is not None:
        yield "E", "MARK, from the tip", text.length(insertion.mark_mm)
    yield "F", "inside diameter", text.length(bore.inside_mm)


def _blocks(place: Place) -> Iterator[tuple[str, list[text.Row]]]:
    if place.bore is not None:
        yield "Pipe", list(text.pipe_rows(place.bore))
    if place.insertion is not None:
        told = {"depth of the sensor", "mark on the stem"} if place.insertion.mark_mm is not None else set()
        rows = [row for row in text.insertion_rows(place.insertion, place) if row[0] not in told]
        yield "Probe", rows
    runs = (("inlet run", place.inlet), ("outlet run", place.outlet))
    rows = [text.run_row(name, run) for name, run in runs if run is not None]
    if rows:
        yield "Straight runs", rows
