"""`point amend`: a correction of the point file that holds from a time on, kept in the archive's ledger."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.at_meter import Yes, agreed
from readout.cli.moments import moment_ms
from readout.cli.note import IntoArchive, PointFile, tell_entered
from readout.cli.options import AsJson
from readout.cli.output import say
from readout.errors import FellShort, WrongUse

if TYPE_CHECKING:
    from readout.measuring_point.amendment.amend import Amended
#: A correction of the flow beyond this [%] is asked about: pipes of one nominal size differ by less, mostly
#: (at DN 65 by 9 % of the diameter, 18 % of the flow), and a digit or a unit typed wrong by more.
_MOST_PERCENT = 20.0


def point_amend(
    point: PointFile,
    *,
    start: Annotated[
        str,
        typer.Option("--from", metavar="TIME", help="Since when it holds; site time without an offset."),
    ],
    changes: Annotated[
        list[str],
        typer.Option("--set", metavar="KEY=VALUE", help="Such as pipe.inside_diameter=54.5mm; repeatable."),
    ],
    archive: IntoArchive,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="How it was found.")] = "",
    yes: Yes = False,
    as_json: AsJson = False,
) -> int:
    """Correct what the point file said when rows were measured, from a time on.

    A line of the ledger: rows stay as they are, and reviews and exports show raw and corrected side by side.
    A new diameter corrects flows by (new / set in the meter)². The point file is not written: the lines for
    it are shown, for what is recorded from now on. Asks first where flows change by more than 20 %, where the
    time is still to come, and where the ledger says the same already; exit status 1 where the answer is no.
    """
    from readout.clock import SystemClock, iso
    from readout.measuring_point.amendment.amend import amended, change_of
    from readout.measuring_point.amendment.lines import file_lines
    from readout.measuring_point.point import read_point
    from storage.ledger import Kind
    from storage.logbook.entering import enter

    files, about = read_point(point)
    if about is None:
        faults = [str(fault) for report in files.reports for fault in report.faults()]
        raise WrongUse("the point file has faults:\n" + "\n".join(faults))
    wanted = [change_of(text) for text in changes]
    found = amended(files, about, wanted)
    since = moment_ms(start, about.site.time_zone, "--from")
    content: dict[str, Any] = {
        "point": about.name,
        "from": iso(since / 1000),
        "set": {change.name: change.value for change in wanted},
        "was": dict(found.was),
        **_effect(found),
    }
    if why.strip():
        content["why"] = why.strip()
    _refuse_unknown(archive, about.name)
    _say_effect(found)
    doubts = [*_doubts(found, start, since, SystemClock().utc()), *_told_before(archive, content)]
    for doubt in doubts:
        say(doubt)
    if doubts and not yes and not agreed("Write it into the ledger all the same?"):
        return FellShort.status
    status = tell_entered(archive, content, enter(archive, Kind.POINT, content), as_json=as_json)
    say(f"write into {point}, for what is recorded from now on:")
    for line in file_lines(about, found, wanted):
        say(f"  {line}")
    return status


def _refuse_unknown(archive: Path, name: str) -> None:
    """WrongUse for a point of which the archive has nothing: the correction would correct nothing."""
    from storage.archive import ArchiveReader
    from storage.ledger import LEDGER, Kind, lines_of

    there = {point for point, _ in ArchiveReader(archive).streams()}
    for line in lines_of(archive / LEDGER, Kind.STARTED):
        told = line.content.get("points")
        there |= set(told) if isinstance(told, dict) else set()
    if name not in there:
        raise WrongUse(
            f"{archive} has nothing of a point {name}, so there is nothing to correct; it has: "
            f"{', '.join(sorted(there)) or 'no point yet'}. Is it the right archive, the right point file?"
        )


def _doubts(found: "Amended", start: str, since_ms: int, now_s: float) -> list[str]:
    """What looks like a slip of the pen, as sentences."""
    doubts = []
    if found.diameter is not None and abs(found.diameter.percent) > _MOST_PERCENT:
        doubts.append(
            f"every flow would be multiplied by {found.diameter.factor:.4g}: is the diameter typed right?"
        )
    if since_ms > now_s * 1000:
        doubts.append(f"--from {start} is still to come: nothing that is recorded now would be corrected")
    return doubts


def _told_before(archive: Path, content: dict[str, Any]) -> list[str]:
    """That the ledger's last word on these keys is the very same: the command run a second time."""
    from storage.ledger import LEDGER, Kind, lines_of

    last = None
    for line in lines_of(archive / LEDGER, Kind.POINT):
        told = line.content.get("set")
        if line.content.get("point") != content["point"] or not isinstance(told, dict):
            continue
        if set(told) & set(content["set"]):
            last = line
    if last is None or any(last.content.get(key) != content[key] for key in ("from", "set")):
        return []
    return [f"line {last.n} of the ledger says the same already; it counts once, however often it is there"]


def _effect(found: "Amended") -> dict[str, Any]:
    """What a changed diameter does to flows, for the ledger's line."""
    if found.diameter is None:
        return {}
    return {
        "flow_factor": round(found.diameter.factor, 6),
        "flow_percent": round(found.diameter.percent, 2),
        "computed_with_mm": found.diameter.meter_mm,
    }


def _say_effect(found: "Amended") -> None:
    if found.diameter is not None:
        change = found.diameter
        say(
            f"inside diameter {change.before_mm:.2f} mm to {change.now_mm:.2f} mm; the meter computes with "
            f"{change.meter_mm:.2f} mm ({change.said_by}): its flows {change.percent:+.2f} %"
        )
