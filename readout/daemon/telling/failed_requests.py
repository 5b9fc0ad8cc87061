"""Failed requests counted, with those that asking again made good: the early sign of a line that gets worse.

A row keeps only how its round ended. The recorder counts every request, and writes what failed since into the
ledger at each sealing, one event `failed requests` for all points that had any; once a day all points are
told, for a share needs the number of requests. What is left at the end goes into the line `stopped`. What a
killed recorder had counted since it told last is lost. `readout.review.about.requests` adds them up.
"""

from collections import Counter
from collections.abc import Callable
from threading import Lock
from typing import Any

from readout.bus.line.tally import Tally
from readout.review.about.requests import FAILED_REQUESTS

#: Seconds after which all points are told again, also those without a failed request.
ALL_TOLD_S = 86_400.0


class FailedRequests:
    """The counter of a run. `note` and `cost` are called by the lines' threads, the others by one thread."""

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._all_told = monotonic()
        self._requests = Counter[str]()
        self._failed: dict[str, Counter[str]] = {}
        self._rows: dict[str, Counter[str]] = {}
        self._lock = Lock()

    def note(self, point: str, tally: Tally) -> None:
        """What was asked of a point's meter, and what failed of it."""
        with self._lock:
            self._requests[point] += tally.requests
            if tally.failed:
                self._failed.setdefault(point, Counter()).update(tally.failed)

    def cost(self, point: str, cause: str) -> None:
        """A row lacks values: its request failed for this cause the last time, too."""
        with self._lock:
            self._rows.setdefault(point, Counter())[cause] += 1

    def event(self) -> dict[str, Any] | None:
        """What the ledger is to be told now; each request is told once. None for nothing."""
        now = self._monotonic()
        with self._lock:
            names = {*self._failed, *self._rows}
            if now - self._all_told >= ALL_TOLD_S:
                self._all_told = now
                names |= self._requests.keys()
            points = {name: self._taken(name) for name in sorted(names)}
        return {"what": FAILED_REQUESTS, "points": points} if points else None

    def untold(self) -> dict[str, int]:
        """Requests by point that no event has told of."""
        with self._lock:
            return {name: count for name, count in sorted(self._requests.items()) if count}

    def _taken(self, name: str) -> dict[str, Any]:
        told: dict[str, Any] = {"requests": self._requests.pop(name, 0)}
        for key, counted in (("failed", self._failed), ("rows", self._rows)):
            if name in counted:
                told[key] = dict(counted.pop(name))
        return told
