"""The page from reviews: one file of HTML with its style, its chart script and its data inside.

Everything from outside is escaped by the template; the data of charts are JSON in which no tag can begin. A
content security policy in the page forbids every request.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from readout.report.content import answers, evidence, marks, sections, together
from readout.report.content.blocks import Chart, Section, Text
from readout.report.language.words import Words, plain
from readout.review.marks.results import Inputs
from readout.review.review import Review


@dataclass(frozen=True, slots=True)
class Extras:
    """What is known besides the reviews: what leak tests need, and an archive's files by (point, source)."""

    inputs: Inputs = field(default_factory=Inputs)
    files: Mapping[tuple[str, str], Sequence[evidence.SealedRows]] = field(default_factory=dict)

    def files_of(self, found: Review) -> Sequence[evidence.SealedRows]:
        """Those of one review."""
        return self.files.get((found.installation.point, found.installation.source), ())


@dataclass(frozen=True, slots=True)
class Part:
    """What the page says of one point and source; `slug` is its title for names of files.

    `under` stands below the title of a picture by itself: the period, the flow's reference conditions.
    """

    title: str
    slug: str
    lead: str
    under: str
    answers: Sequence[Text]
    sections: Sequence[Section]


def part_of(found: Review, words: Words, extras: Extras) -> Part:
    """Completeness first, then certainty, then figures."""
    about, covered = found.installation, found.coverage
    lead = words(
        "Measured at {site}, point {point}, by {meter}, from {begin} until {end}.",
        site=plain(about.site), point=plain(about.point), meter=plain(about.meter),
        begin=words.moment(covered.begin_ms, about.zone), end=words.moment(covered.end_ms, about.zone),
    )  # fmt: skip
    complete, sure = sections.complete(found, words), sections.sure(found, words)
    out = answers.out_of_hours(found, words)
    strong = [
        item
        for one in (complete, sure)
        for item in one.items
        if isinstance(item, Text) and item.weight == "strong"
    ]
    costs = [item for item in out.items if isinstance(item, Text) and item.weight == "strong"]
    whole = [
        complete, sure, sections.figures(found, words), sections.pictures(found, words), out,
        answers.display(found, words), answers.corrections(found, words),
        marks.marks(found, words, extras.inputs),
        sections.installation(found, words), sections.tables(found, words),
        evidence.appendix(found, words, extras.files_of(found)),
    ]  # fmt: skip
    source = "" if about.source == "live" else f" · {words('from the meter’s memory')}"
    title = f"{plain(about.point)}{source}"
    peak = answers.peak_or_pressure(found, words)
    slug = re.sub(r"[^A-Za-z0-9]+", "-", title).strip("-")
    span = f"{words.moment(covered.begin_ms, about.zone)} – {words.moment(covered.end_ms, about.zone)}"
    under = span if found.flow is None else f"{span} · {sections.reading_name(found.flow, words)}"
    return Part(title, slug, lead, under, [*strong, *peak, *costs], [one for one in whole if one is not None])


def page(
    found: Sequence[Review], words: Words, title: str, findings: str = "",
    progress: Callable[[str], None] = lambda _: None, extras: Extras | None = None,
) -> str:  # fmt: skip
    """The page as text; `findings` are the author's own words, lines of plain text with # and - read."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    parts = []
    for one in found:
        progress(one.installation.point)
        parts.append(part_of(one, words, extras or Extras()))
    here = Path(__file__).parent
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    template = environment.from_string((here / "page.html").read_text(encoding="utf-8"))
    both = together.points_together(found, words)
    items = [*both, *(item for part in parts for one in part.sections for item in one.items)]
    specs = [item.spec for item in items if isinstance(item, Chart)]
    return template.render(
        title=plain(title),
        words=words,
        parts=parts,
        findings=list(_blocks(findings)),
        together=both,
        safe=Markup,
        style=Markup((here / "page.css").read_text(encoding="utf-8")),
        script=Markup(chart_script()) if specs else "",
        own_script=Markup((here / "page.js").read_text(encoding="utf-8")),
        specs=Markup(_json(specs)),
    )


def chart_script() -> str:
    """The script that draws charts, 4.8 MB, put into the page so that it needs no network."""
    from plotly import offline

    return str(offline.get_plotlyjs())  # type: ignore[attr-defined, no-untyped-call]  # plotly has no types


def _json(value: object) -> str:
    """JSON inside a script element: no tag can begin in it."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _blocks(text: str) -> Iterator[tuple[str, list[str]]]:
    """Headings (`#`), lists (`-`) and paragraphs of the author's text."""
    for block in text.replace("\r\n", "\n").split("\n\n"):
        lines = [line.strip() for line in block.splitlines() if line.strip()]
        if not lines:
            continue
        if lines[0].startswith("#"):
            yield "heading", [plain(lines.pop(0).lstrip("# "))]
        if lines and all(line.startswith("- ") for line in lines):
            yield "list", [plain(line[2:]) for line in lines]
        elif lines:
            yield "paragraph", [plain(" ".join(lines))]
