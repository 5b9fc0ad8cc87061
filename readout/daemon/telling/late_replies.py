"""Late replies counted: each is a value, but many of them say that `reply_within` or the line is wrong.

A row does not keep that its reply came late. The recorder counts, and writes what came since into the ledger
at each sealing, an event `late replies` for each point that had any; what a killed recorder had counted since
its last sealing is lost.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from storage.ledger import Kind, Line

WHAT = "late replies"


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
                yield {"what": WHAT, "point": point, "count": count}


def late_replies(lines: Iterable[Line]) -> Counter[str]:
    """Late replies by point, as the lines of a ledger tell them; up to each point's last sealing."""
    found: Counter[str] = Counter()
    for line in lines:
        if line.kind == Kind.EVENT and line.content.get("what") == WHAT:
            count = line.content.get("count")
            if isinstance(count, int):
                found[str(line.content.get("point"))] += count
    return found
