"""`note`: an entry in the log book of a point, kept in the archive's ledger."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.moments import moment_ms
from readout.cli.options import AsJson
from readout.cli.output import say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.measuring_point.model import MeasuringPoint
    from storage.logbook.entering import Entered

#: Characters of a note's text; a ledger line is read whole.
_LONGEST = 4000

PointFile = Annotated[Path, typer.Argument(metavar="POINT", help="The point file (YAML).")]
IntoArchive = Annotated[Path, typer.Option("--archive", metavar="DIR", help="The archive's folder.")]


def note(
    point: PointFile,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What there is to say.")],
    *,
    archive: IntoArchive,
    at: Annotated[
        str | None,
        typer.Option(
            "--at", metavar="TIME", help="When it was; now if not given. Site time without an offset."
        ),
    ] = None,
    attachment: Annotated[
        Path | None,
        typer.Option("--attach", metavar="FILE", help="A photograph or document, copied into the archive."),
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Write a note about a point into the archive's ledger, also while a recorder runs.

    The note is kept with its time, and an attached file with its SHA-256. Exit status 1 where the recorder
    did not take it in within 10 s: it is kept, and is taken in later.
    """
    from readout.cli.entry_doubts import doubts
    from readout.clock import SystemClock, iso
    from storage.archive import is_archive
    from storage.ledger import Kind
    from storage.logbook.attachments import attach
    from storage.logbook.entering import enter

    about = read_point_file(point)
    words = text.strip()
    if not words or len(words) > _LONGEST:
        raise WrongUse(f"a note has 1 to {_LONGEST} characters; this one has {len(words)}")
    if attachment is not None and not attachment.is_file():
        raise WrongUse(f"--attach {attachment}: there is no such file; is the path right?")
    when = SystemClock().utc() if at is None else moment_ms(at, about.site.time_zone, "--at") / 1000
    content: dict[str, Any] = {"point": about.name, "text": words, "at": iso(when)}
    if attachment is not None and is_archive(archive):
        content["attached"] = attach(archive, attachment).as_told()
    doubtful = doubts(archive, about.name, round(when * 1000), round(SystemClock().utc() * 1000))
    entered = enter(archive, Kind.NOTE, content)
    return tell_entered(archive, content, entered, doubtful, as_json=as_json)


def read_point_file(path: Path) -> "MeasuringPoint":
    """The point in a file, whose map and port need not be there; WrongUse with all its faults."""
    from readout.measuring_point.point import read_point

    files, found = read_point(path)
    if found is None:
        faults = [str(fault) for report in files.reports for fault in report.faults()]
        raise WrongUse("the point file has faults:\n" + "\n".join(faults))
    return found


def tell_entered(
    archive: Path, content: dict[str, Any], entered: "Entered", doubtful: Iterable[str] = (), *, as_json: bool
) -> int:
    """Say where an entry stands now, and what is `doubtful` about it; give the exit status."""
    line = entered.line
    if as_json:
        told = None if line is None else {"n": line.n, "hash": line.hash, "time": line.time}
        tell_json({**content, "id": entered.id, "ledger": told})
    elif line is not None:
        tell(f"{archive}: line {line.n} of the ledger")
    for sentence in doubtful:
        say(f"is this right? {sentence}")
    if line is None:
        say(f"{archive}: the recorder has not taken the entry in yet; it is kept, and will be taken in")
        return 1
    return 0
