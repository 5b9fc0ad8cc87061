"""`point amend`: a correction of the point file that holds from a time on, kept in the archive's ledger."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.moments import moment_ms
from readout.cli.note import IntoArchive, PointFile, tell_entered
from readout.cli.options import AsJson
from readout.cli.output import say
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.measuring_point.amendment.amend import Amended


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
    as_json: AsJson = False,
) -> int:
    """Correct what the point file said when rows were measured, from a time on.

    A line of the ledger: rows stay as they are, and reviews and exports show raw and corrected side by side.
    A new diameter corrects flows by (new / set in the meter)². The point file is not written: put it right
    there too, for what is recorded from now on.
    """
    from readout.clock import iso
    from readout.measuring_point.amendment.amend import amended, change_of
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
    _say_effect(found)
    return tell_entered(archive, content, enter(archive, Kind.POINT, content), as_json=as_json)


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
