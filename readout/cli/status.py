"""`status`: what the recorder is doing, and how complete the recording is."""

import time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import ArchiveFolder, AsJson, duration_words
from readout.cli.output import columns, counted, say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.daemon.service.health import Health, PointHealth


def status(
    folder: ArchiveFolder,
    *,
    least: Annotated[
        float, typer.Option("--least", metavar="PERCENT", help="Coverage of the last hour that is enough.")
    ] = 95.0,
    as_json: AsJson = False,
) -> int:
    """Tell whether a recorder runs, the age of the last rows, coverage, causes of missing rows, disk.

    May run beside a recorder. Exit status 1 where something falls short, told on stderr, so that a timer or
    a monitor can use it. Times are UTC.
    """
    from readout.daemon.service.health import health, shortfalls

    if not 0 <= least <= 100:
        raise WrongUse(f"--least {least:g}: a share in percent, 0 to 100")
    found = health(folder, round(time.time() * 1000))
    short = shortfalls(found, least / 100)
    if as_json:
        tell_json({**_document(found), "short": short})
    else:
        _tell(found)
    for sentence in short:
        say(f"{folder}: {sentence}")
    return 1 if short else 0


def _document(found: "Health") -> dict[str, Any]:
    return {
        "points": {name: _point(point) for name, point in found.points.items()},
        "recorder": {"running": found.running, "pid": found.recorder},
        "journal": {"waiting": found.waiting, "log_bytes": found.log_bytes},
        "disk": {
            "free_bytes": found.room.free,
            "total_bytes": found.room.total,
            "full_in_s": None if found.full_in_s is None else round(found.full_in_s),
        },
    }


def _point(point: "PointHealth") -> dict[str, Any]:
    from readout.clock import iso

    shares = point.shares
    return {
        "last": None if point.last_ms is None else iso(point.last_ms / 1000),
        "age_s": None if point.age_ms is None else round(point.age_ms / 1000, 3),
        "status": point.status,
        "clock": point.clock,
        "interval_s": point.interval_ms / 1000,
        "coverage": {name: round(getattr(shares, name), 6) for name in ("start", "hour", "day")},
        "missing": dict(point.missing),
        "late_replies": point.late_replies,
        "worst_reply_ms": point.worst_reply_ms,
    }


def _tell(found: "Health") -> None:
    by = "" if found.recorder is None else f", process {found.recorder}"
    tell(f"recorder: running{by}" if found.running else "recorder: not running")
    rows: list[tuple[str, ...]] = [
        ("point", "last row", "age", "status", "since start", "last hour", "last day", "worst reply")
    ]
    for name, point in found.points.items():
        told = _point(point)
        rows.append(
            (
                name,
                told["last"] or "-",
                "-" if point.age_ms is None else duration_words(point.age_ms // 1000 * 1000),
                point.status or "-",
                *(f"{share:.1%}" for share in (point.shares.start, point.shares.hour, point.shares.day)),
                "-" if point.worst_reply_ms is None else f"{point.worst_reply_ms} ms",
            )
        )
    for line in columns(rows, right=frozenset({2, 4, 5, 6, 7})):
        tell(line)
    for name, point in found.points.items():
        if missing := {cause: n for cause, n in point.missing.items() if n}:
            tell(f"{name}: missing {', '.join(f'{n} × {cause}' for cause, n in missing.items())}")
    lasts = "" if found.full_in_s is None else f", full in {found.full_in_s / 86400:.0f} days at this rate"
    tell(f"journal: {counted(found.waiting, 'row')} waiting; log {found.log_bytes >> 10} KB")
    tell(f"disk: {found.room.free >> 20} MB free, {found.room.percent} %{lasts}")
