"""`mark`: a named interval of a point, kept in the archive's ledger."""

from typing import Annotated

import typer

from readout.cli.moments import moment_ms
from readout.cli.note import IntoArchive, PointFile, read_point_file, tell_entered
from readout.cli.options import AsJson
from readout.errors import WrongUse

_LONGEST = 80


def mark(
    point: PointFile,
    name: Annotated[str, typer.Argument(metavar="NAME", help="Such as leak test, zone shut, before, after.")],
    *,
    start: Annotated[
        str, typer.Option("--from", metavar="TIME", help="Its start; site time without an offset.")
    ],
    end: Annotated[str, typer.Option("--until", metavar="TIME", help="Its end, which is not part of it.")],
    archive: IntoArchive,
    as_json: AsJson = False,
) -> int:
    """Name an interval of a point: a leak test, a zone shut, before and after a repair.

    A line of the ledger; rows stay as they are. May run beside a recorder.
    """
    from readout.cli.entry_doubts import doubts
    from readout.clock import SystemClock, iso
    from storage.ledger import Kind
    from storage.logbook.entering import enter

    about = read_point_file(point)
    words = name.strip()
    if not words or len(words) > _LONGEST:
        raise WrongUse(f"a name has 1 to {_LONGEST} characters; this one has {len(words)}")
    zone = about.site.time_zone
    first, last = moment_ms(start, zone, "--from"), moment_ms(end, zone, "--until")
    if first >= last:
        raise WrongUse(f"--until {end} is not after --from {start}; an interval ends after it began")
    content = {"point": about.name, "name": words, "from": iso(first / 1000), "until": iso(last / 1000)}
    doubtful = doubts(archive, about.name, last, round(SystemClock().utc() * 1000))
    return tell_entered(archive, content, enter(archive, Kind.MARK, content), doubtful, as_json=as_json)
