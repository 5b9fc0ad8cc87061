"""Before and after, side by side by day type; and whether they may be compared at all."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from readout.review.about.installation import Installation
from readout.review.about.logbook import Mark
from readout.review.figures.periods import Period, day_types, days
from readout.review.review import Review
from readout.sentence import Sentence, word

BEFORE, AFTER = "before", "after"


@dataclass(frozen=True, slots=True)
class Compared:
    """`rows`: a day type with its days before and after, None where an interval has none of that type.

    `not_comparable`: why the two may not be compared, in words; empty where nothing speaks against it.
    """

    unit: str | None
    before: Mark
    after: Mark
    rows: Sequence[tuple[str, Period | None, Period | None]]
    not_comparable: Sequence[Sentence]


def compared(review: Review) -> Compared | None:
    """The last marks named before and after; None where one of them is missing, or no flow is measured."""
    marks = {mark.name.strip().lower(): mark for mark in review.book.marks}
    before, after = marks.get(BEFORE), marks.get(AFTER)
    flow = review.corrected or review.flow
    if before is None or after is None or flow is None:
        return None
    sides = []
    for mark in (before, after):
        begin = review.measured.minutes.begin
        rows = (begin >= mark.begin_ms) & (begin < mark.end_ms)
        site = replace(review.site, begin=begin[rows])
        found = day_types(days(flow.values.at(rows), site)) if rows.any() else []
        sides.append({one.name: one for one in found})
    names = list(dict.fromkeys([*sides[0], *sides[1]]))
    told = [(name, sides[0].get(name), sides[1].get(name)) for name in names]
    return Compared(flow.shown.unit, before, after, told, _against(review, before, after))


def _against(review: Review, before: Mark, after: Mark) -> list[Sentence]:
    one, other = _at(review, before), _at(review, after)
    found = [
        Sentence(
            "not comparable: {what} was {was} before and {now} after",
            what=what,
            was=_said(was),
            now=_said(now),
        )
        for what, was, now in zip(_WHAT, _facts(one), _facts(other), strict=True)
        if was != now
    ]
    between = [
        one for one in review.corrections
        if before.begin_ms < one.from_ms < after.end_ms and one.factor is not None
    ]  # fmt: skip
    if between and review.corrected is None:
        found.append(Sentence("not comparable: the diameter was corrected between them"))
    return found


_WHAT = (
    Sentence("the meter"), Sentence("the probe's position"), Sentence("the diameter"),
    Sentence("the diameter set in the meter"), Sentence("the reference of the flow"), Sentence("the damping"),
)  # fmt: skip


def _facts(about: Installation) -> tuple[str | None, ...]:
    pipe, flow = about.pipe, about.flow
    bore = None if pipe is None else pipe.inside_diameter or pipe.outside_diameter or pipe.circumference
    standard = None if pipe is None else pipe.standard
    position = None if pipe is None or pipe.probe is None else pipe.probe.position
    return (
        about.serial_number,
        None if position is None else word(position),
        str(bore) if bore is not None else standard,
        _set(about, "inside_diameter") or (None if pipe is None else _text(pipe.diameter_set_in_meter)),
        None if flow is None else flow.reference,
        _set(about, "damping"),
    )


def _set(about: Installation, name: str) -> str | None:
    told = about.settings.get(name)
    if not isinstance(told, dict) or told.get("value") is None:
        return None
    return f"{told['value']} {told.get('unit') or ''}".strip()


def _text(quantity: object) -> str | None:
    return None if quantity is None else str(quantity)


def _said(fact: str | None) -> str:
    return Sentence("not said") if fact is None else fact


def _at(review: Review, mark: Mark) -> Installation:
    """What was true in an interval: the installation that its last row came from."""
    found = review.measured.installations[0][1]
    for since, about in review.measured.installations:
        if since < mark.end_ms:
            found = about
    return found
