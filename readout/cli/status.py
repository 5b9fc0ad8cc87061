"""`status`: what the recorder is doing, and how complete the recording is."""

import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import ArchiveFolder, AsJson, duration_words, share_of_percent
from readout.cli.output import columns, counted, say, tell, tell_json

if TYPE_CHECKING:
    from readout.daemon.health.health import Health, PointHealth
    from readout.daemon.health.meter_memory import MeterMemory

#: A disk that lasts longer than this is not counted in days.
_FAR_DAYS = 10 * 365


def status(
    folder: ArchiveFolder,
    *,
    least: Annotated[
        str, typer.Option("--least", metavar="PERCENT", help="Coverage of the last hour that is enough.")
    ] = "95",
    as_json: AsJson = False,
) -> int:
    """Tell whether a recorder runs, how old and how complete rows are, what fails, disk, the meter's memory.

    May run beside a recorder. Exit status 1 where something falls short, told on stderr, so that a timer or
    a monitor can use it. Times are UTC.
    """
    from readout.daemon.health.health import health
    from readout.daemon.health.shortfalls import shortfalls

    enough = share_of_percent(least, "--least")
    now_ms = round(time.time() * 1000)
    found = health(folder, now_ms)
    short = shortfalls(found, enough, now_ms)
    if as_json:
        tell_json({**_document(found, now_ms), "short": short})
    else:
        _tell(found, now_ms)
    for sentence in short:
        say(f"{folder}: {sentence}")
    return 1 if short else 0


def _document(found: "Health", now_ms: int) -> dict[str, Any]:
    return {
        "points": {name: _point(point, now_ms) for name, point in found.points.items()},
        "recorder": {"running": found.running, "pid": found.recorder},
        "journal": {
            "waiting": found.waiting,
            "oldest_s": _seconds(found.oldest_ms),
            "log_bytes": found.log_bytes,
        },
        "disk": {
            "free_bytes": found.room.free,
            "total_bytes": found.room.total,
            "full_in_s": None if found.full_in_s is None else round(found.full_in_s),
        },
    }


def _point(point: "PointHealth", now_ms: int) -> dict[str, Any]:
    shares = point.shares
    return {
        "asked": point.is_asked,
        "last": _moment(point.last_ms),
        "age_s": _seconds(point.age_ms),
        "status": point.status,
        "clock": point.clock,
        "clock_day": dict(point.clock_day),
        "interval_s": point.interval_ms / 1000,
        "coverage": {name: round(getattr(shares, name), 6) for name in ("start", "hour", "day")},
        "missing": dict(point.missing),
        "missing_hour": dict(point.missing_hour),
        "late_replies": point.late_replies,
        "line_errors": {"start": dict(point.line_errors.start), "day": dict(point.line_errors.day)},
        "requests": {"start": asdict(point.requests.start), "day": asdict(point.requests.day)},
        "worst_reply_ms": point.worst_reply_ms,
        "memory": None if point.memory is None else _memory(point.memory, now_ms),
        "other_meter": None if point.other_meter is None else asdict(point.other_meter),
    }


def _memory(memory: "MeterMemory", now_ms: int) -> dict[str, Any]:
    left = memory.left_s(now_ms)
    return {
        "capacity": memory.capacity,
        "when_full": "overwrite oldest" if memory.is_ring else "stop",
        "interval_s": _seconds(memory.interval_ms),
        "lasts_s": memory.lasts_s,
        "fetched": _moment(memory.fetched_ms),
        "newest": _moment(memory.newest_ms),
        "until": _moment(memory.until_ms),
        "left_s": None if left is None else round(left),
    }


def _seconds(milliseconds: int | None) -> float | None:
    return None if milliseconds is None else round(milliseconds / 1000, 3)


def _moment(milliseconds: int | None) -> str | None:
    from readout.clock import iso

    return None if milliseconds is None else iso(milliseconds / 1000)


def _tell(found: "Health", now_ms: int) -> None:
    by = "" if found.recorder is None else f", process {found.recorder}"
    tell(f"recorder: running{by}" if found.running else "recorder: not running")
    rows: list[tuple[str, ...]] = [
        ("point", "last row", "age", "status", "since start", "last hour", "last day", "worst reply")
    ]
    for name, point in found.points.items():
        rows.append(
            (
                name,
                _moment(point.last_ms) or "-",
                "-" if point.age_ms is None else duration_words(point.age_ms // 1000 * 1000),
                point.status or "-",
                *(f"{share:.1%}" for share in (point.shares.start, point.shares.hour, point.shares.day)),
                "-" if point.worst_reply_ms is None else f"{point.worst_reply_ms} ms",
            )
        )
    for line in columns(rows, right=frozenset({2, 4, 5, 6, 7})):
        tell(line)
    for name, point in found.points.items():
        for sentence in _sentences(point, now_ms):
            tell(f"{name}: {sentence}")
    for line in _failed_requests(found.points):
        tell(line)
    lasts = "" if found.full_in_s is None else f", full in {_days(found.full_in_s)} at this rate"
    oldest = (
        ""
        if found.oldest_ms is None
        else f", the oldest {duration_words(found.oldest_ms // 1000 * 1000)} old"
    )
    tell(f"journal: {counted(found.waiting, 'row')} waiting{oldest}; log {found.log_bytes >> 10} KB")
    tell(f"disk: {found.room.free >> 20} MB free, {found.room.percent} %{lasts}")


def _days(seconds: float) -> str:
    days = seconds / 86400
    return f"{days:.0f} days" if days < _FAR_DAYS else f"more than {_FAR_DAYS // 365} years"


def _sentences(point: "PointHealth", now_ms: int) -> Iterator[str]:
    """What there is to say of a point beside its line of the table."""
    from readout.daemon.health.shortfalls import NOT_ASKED

    if not point.is_asked:
        yield NOT_ASKED
    if missing := _counts(point.missing):
        yield f"missing {missing}"
    if start := _counts(point.line_errors.start):
        yield f"line errors: {start}; in the last day {_counts(point.line_errors.day) or 'none'}"
    yield from (str(growth) for growth in point.requests.growing if not growth.rows)
    if others := _counts({word: rows for word, rows in point.clock_day.items() if word != "synchronised"}):
        yield f"this computer's clock: {others}, of {sum(point.clock_day.values())} rows in the last day"
    if point.memory is not None:
        yield f"the meter's memory: {_memory_told(point.memory, now_ms)}"


def _failed_requests(points: Mapping[str, "PointHealth"]) -> list[str]:
    """A table of what failed, whether or not asking again made it good; nothing where nothing did."""
    rows: list[tuple[str, ...]] = []
    for name, point in points.items():
        spans = (point.requests.start, point.requests.day)
        if not spans[0].failed:
            continue
        totals = [(f"{sum(one.failed.values())} of {one.sent}", str(sum(one.rows.values()))) for one in spans]
        rows.append((name, *totals[0], *totals[1]))
        for cause in dict.fromkeys([*spans[0].failed, *spans[0].rows]):
            parts = [str(of.get(cause, 0)) for one in spans for of in (one.failed, one.rows)]
            rows.append((f"  {cause}", *parts))
    head = ("failed requests", "since start", "rows cost", "last day", "rows cost")
    return columns([head, *rows], right=frozenset({1, 2, 3, 4})) if rows else []


def _counts(counted_: Mapping[str, int]) -> str:
    return ", ".join(f"{number} × {word}" for word, number in counted_.items() if number)


def _memory_told(memory: "MeterMemory", now_ms: int) -> str:
    from fractions import Fraction

    from readout.plan.endurance import in_words

    if memory.lasts_s is None or memory.interval_ms is None:
        told = f"{memory.capacity} records, at an interval that is not known"
    else:
        lasts = in_words(Fraction(memory.lasts_s))
        told = f"{memory.capacity} records every {memory.interval_ms / 1000:g} s last {lasts}"
    if memory.fetched_ms is None:
        return f"{told}; never fetched"
    newest = _moment(memory.newest_ms) or "without a time"
    told += f"; fetched {_moment(memory.fetched_ms)}, newest record {newest}"
    left = memory.left_s(now_ms)
    if left is None:
        return told
    lost = "overwrites what was not fetched" if memory.is_ring else "is full"
    when = (
        f"in {in_words(Fraction(round(left / 60) * 60))}" if left > 0 else f"since {_moment(memory.until_ms)}"
    )
    return f"{told}; {lost} {when}"
