"""What the ledger says of a point's requests: how many there were, what failed of them, what that cost."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from readout.clock import ms_of
from storage.ledger import Kind, Line

#: The event that counts requests and what failed of them, for all points that had failed ones.
FAILED_REQUESTS = "failed requests"


@dataclass(frozen=True, slots=True)
class Requests:
    """`sent`: requests, repeats among them; `failed`: those without an answer to be trusted, by cause.

    `rows`: rows that lack values because the last asking failed too, by its cause.
    """

    sent: int = 0
    failed: Mapping[str, int] = field(default_factory=dict)
    rows: Mapping[str, int] = field(default_factory=dict)


def requests_of(lines: Iterable[Line], point: str, since_ms: int | None = None) -> Requests:
    """All that a ledger tells of a point's requests, or what it tells from `since_ms` on [ms since 1970 UTC].

    Where a line tells of requests from before `since_ms` too, they are parted as if they had been sent
    evenly; its failed ones count, for they are told within one sealing.
    """
    sent, failed, rows = 0.0, Counter[str](), Counter[str]()
    for began, ended, told in _told(lines, point):
        if since_ms is not None and ended <= since_ms:
            continue
        sent += _number(told.get("requests")) * _share(began, ended, since_ms)
        failed.update(_counts(told.get("failed")))
        rows.update(_counts(told.get("rows")))
    return Requests(round(sent), _ordered(failed), _ordered(rows))


def _told(lines: Iterable[Line], point: str) -> Iterator[tuple[int, int, Mapping[str, Any]]]:
    """What lines tell of the point's requests: from when, until when [ms since 1970 UTC], and the counts."""
    began = 0
    for line in lines:
        content = line.content
        found: object = None
        if line.kind == Kind.STARTED:
            began = ms_of(line.time)
        elif line.kind == Kind.STOPPED:
            told = content.get("requests")
            found = {"requests": told.get(point, 0)} if isinstance(told, dict) else None
        elif line.kind == Kind.EVENT and content.get("what") == FAILED_REQUESTS:
            told = content.get("points")
            found = told.get(point) if isinstance(told, dict) else None
        if isinstance(found, dict):
            ended = ms_of(str(content.get("at", line.time)))
            yield began, ended, found
            began = ended


def _share(began: int, ended: int, since_ms: int | None) -> float:
    if since_ms is None or since_ms <= began:
        return 1.0
    return (ended - since_ms) / (ended - began) if ended > began else 1.0


def _counts(told: object) -> dict[str, int]:
    return {str(word): _number(count) for word, count in told.items()} if isinstance(told, dict) else {}


def _number(told: object) -> int:
    return told if isinstance(told, int) else 0


def _ordered(counted: Counter[str]) -> dict[str, int]:
    """The most frequent first."""
    return dict(sorted(counted.items(), key=lambda pair: (-pair[1], pair[0])))
