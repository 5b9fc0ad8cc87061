"""Failed requests of a point since the start and in the last day, and which of their causes grow."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from readout.bus.hearing.verdict import status_of
from readout.bus.outcome import Status
from readout.review.about.requests import Requests, requests_of
from storage.ledger import Line

#: A cause grows where its share in the last day is at least so many times the share before, and so many of
#: that day's requests failed: by chance alone on two days in 100,000 (Poisson: 20 where 6.7 are usual).
GROWN_TIMES, FEWEST_GROWN = 3, 20
#: What to look at first (common practice, no source).
_LOOK = {
    Status.DAMAGED_REPLY: "cable, shield, termination, and what was switched on near them",
    Status.NO_REPLY: "the meter's supply and its terminals",
}


@dataclass(frozen=True, slots=True)
class Growth:
    """A cause that grows: shares of the requests, 0 to 1, in the last day and before.

    `rows`: how many rows of that day lack values by it.
    """

    cause: str
    day: float
    before: float
    rows: int

    def __str__(self) -> str:
        rows = f"; rows that lack values for it: {self.rows}" if self.rows else ""
        told = (
            f"{self.cause} grows: {self.day:.2%} of the last day's requests, {self.before:.2%} before{rows}"
        )
        look = _LOOK.get(status_of(self.cause))
        return f"{told}. See {look}" if look else told


@dataclass(frozen=True, slots=True)
class RequestHealth:
    """Since the first start and in the last day, up to the last sealing; `day` is parted by the hour."""

    start: Requests = field(default_factory=Requests)
    day: Requests = field(default_factory=Requests)

    @property
    def growing(self) -> Iterator[Growth]:
        """Causes that grow; none where the recording is not yet two days old, by its requests."""
        before = self.start.sent - self.day.sent
        if not 0 < self.day.sent <= before:
            return
        for cause, count in self.day.failed.items():
            share, was = count / self.day.sent, (self.start.failed.get(cause, 0) - count) / before
            if count >= FEWEST_GROWN and share >= GROWN_TIMES * was:
                yield Growth(cause, share, was, self.day.rows.get(cause, 0))


def request_health(start: Requests, lines: Sequence[Line], point: str, day_ms: int) -> RequestHealth:
    """From a ledger's lines; `day_ms` is when the last day began [ms since 1970 UTC]."""
    return RequestHealth(start, requests_of(lines, point, day_ms))
