"""What a point file that was taken up while recording changed, as content of a ledger line."""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from difflib import ndiff
from typing import Any

from readout.daemon.points import PointToRecord
from readout.measuring_point.model import MeasuringPoint

POINT_FILE_CHANGED = "point file changed"
#: Parts of a point that are its text, not what the text means.
_TEXTS = ("text", "job_text")


def renewals(
    before: Sequence[PointToRecord], now: Sequence[PointToRecord], since: str
) -> list[dict[str, Any]]:
    """One event for each point that is not what it was; `since` is when that begins to hold (UTC, ISO 8601).

    `changed` names the point file's parts that mean something else, and `map`, `every`, `added`, `removed`;
    `was` and `now` are the lines of the files that went and came. Comments and spacing alone are no change.
    """
    known, given = ({point.name: point for point in points} for points in (before, now))
    events = []
    for name in [*given, *(name for name in known if name not in given)]:
        was, then = known.get(name), given.get(name)
        if changed := _changed(was, then):
            lines = [line for line in ndiff(_lines(was), _lines(then)) if line[:1] in "+-"]
            events.append(
                {
                    "what": POINT_FILE_CHANGED,
                    "point": name,
                    "from": since,
                    "changed": changed,
                    "was": [line[2:] for line in lines if line[0] == "-"],
                    "now": [line[2:] for line in lines if line[0] == "+"],
                }
            )
    return events


def _changed(was: PointToRecord | None, now: PointToRecord | None) -> list[str]:
    if was is None or now is None:
        return ["added" if was is None else "removed"]
    parts = [
        part.name
        for part in fields(MeasuringPoint)
        if part.name not in _TEXTS and getattr(was.point, part.name) != getattr(now.point, part.name)
    ]
    return [*parts, *_beside(was, now)]


def _beside(was: PointToRecord, now: PointToRecord) -> Iterator[str]:
    if was.map.sha256 != now.map.sha256:
        yield "map"
    if was.every_ms != now.every_ms:
        yield "every"


def _lines(point: PointToRecord | None) -> list[str]:
    return (
        [] if point is None else [*point.point.text.splitlines(), *(point.point.job_text or "").splitlines()]
    )
