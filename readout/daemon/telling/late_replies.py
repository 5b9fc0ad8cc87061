"""Late replies counted: each is a value, but many of them say that `reply_within` or the line is wrong.

A row does not keep that its reply came late. The recorder counts, and writes what came since into the ledger
at each sealing, an event `late replies` for each point that had any; what a killed recorder had counted since
its last sealing is lost. `readout.review.about.logbook` adds them up.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from readout.review.about.logbook import LATE_REPLIES


class LateReplies:
    """The counter of a run. `note` is called by the lines' threads, each for points of its own."""

    def __init__(self) -> None:
        self._counted: Counter[str] = Counter()
        self._told: Counter[str] = Counter()

    def note(self, point: str, count: int) -> None:
        """So many replies of a point came after `reply_within`."""
        self._counted[point] += count

    def events(self) -> Iterator[dict[str, Any]]:
        """What the ledger has not been told yet, by point; each is given once."""
        for point, counted in list(self._counted.items()):
            count = counted - self._told[point]
            if count:
                self._told[point] = counted
                yield {"what": LATE_REPLIES, "point": point, "count": count}
