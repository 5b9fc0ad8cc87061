"""What `point amend` put right later, taken into what is known of a point: calendar, energy, pipe, the rest.

Rows and files stay as they are. Each amendment is made to the point file that was kept with the rows, and
checked as that file is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from readout.errors import WrongUse
from readout.measuring_point.amendment.amend import Change, amended, said
from readout.measuring_point.model import MeasuringPoint, WorkCalendar
from readout.measuring_point.point import Files
from readout.review.about.installation import Installation
from readout.review.about.logbook import Amendment
from readout.sentence import Sentence, told_by

_NO_FILE = Sentence("the point file that was kept with the rows cannot be understood")


@dataclass(frozen=True, slots=True)
class PutRight:
    """`about` as it is at the end of what is looked at.

    `calendars` are those that came to hold within it, each with its moment [ms since 1970 UTC), ascending.
    `refused`: number of the ledger's line → why it could not be taken in, as a sentence.
    """

    about: Installation
    calendars: Sequence[tuple[int, WorkCalendar | None]]
    refused: Mapping[int, str]


def put_right(about: Installation, amendments: Sequence[Amendment], end_ms: int) -> PutRight:
    """With the amendments that hold from before `end_ms` [ms since 1970 UTC].

    Of two that hold from the same moment the later line of the ledger wins. What the kept file already says
    otherwise than it said when the amendment was written is left as the file has it: it is the newer word.
    """
    files, point = about.kept, about.measuring_point
    refused: dict[int, str] = {}
    calendars: list[tuple[int, WorkCalendar | None]] = []
    if files is None or point is None:  # the factor to a flow stands in the ledger's line itself
        lost = {one.line: _NO_FILE for one in amendments if one.flow_factor is None}
        return PutRight(about, calendars, lost)
    made: list[Change] = []
    for one in sorted(amendments, key=lambda one: (one.from_ms, one.line)):
        if one.from_ms >= end_ms:
            continue
        more = [change for change in _changes(one) if not _newer(files, change, one, amendments)]
        try:
            found = amended(files, about.measuring_point or point, [*made, *more]).point
        except WrongUse as error:
            refused[one.line] = told_by(error)
            continue
        made += more
        if found.calendar != point.calendar:
            calendars.append((one.from_ms, found.calendar))
        point = found
    return PutRight(_with(about, point), calendars, refused)


def _changes(one: Amendment) -> list[Change]:
    return [Change(tuple(name.split(".")), value) for name, value in one.set.items()]


def _newer(files: Files, change: Change, one: Amendment, all_: Sequence[Amendment]) -> bool:
    """Whether the kept file says something that neither stood there before nor came by an amendment."""
    now = said(files, change.path)
    known = {_plain(other.set[change.name]) for other in all_ if change.name in other.set}
    known |= {_plain(was) for was in (one.was.get(change.name),) if was is not None}
    return now is not None and _plain(now) not in known


def _plain(text: str) -> str:
    """Without blanks and quotes: `54.5mm` is `54.5 mm`."""
    return "".join(text.split()).strip("'\"")


def _with(about: Installation, point: MeasuringPoint) -> Installation:
    """With what the point has otherwise than before; what was not amended stays as the archive tells it."""
    before = about.measuring_point
    if before is None or before == point:
        return about
    changed: dict[str, Any] = {
        name: getattr(point, name)
        for name in ("calendar", "energy", "role")
        if getattr(point, name) != getattr(before, name)
    }
    if point.site.name != before.site.name:
        changed["site"] = point.site.name
    return replace(about, measuring_point=point, **changed)
