"""Taking up changed point files without ending the process: one run of the recorder follows another.

The first run is stopped and sealed as ever, the next begins with what the files say now. The ledger has a
line for both, the second with each point's interval and the hash of its map, and one for each point that is
not what it was; the seconds between count as `recorder not running`. Files with faults change nothing. While
the disk takes no rows the change waits: the end of a run would lose those that memory holds.
"""

import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

from readout.daemon.points import PointToRecord
from readout.daemon.recorder import Assignment, Summary
from readout.errors import PipeledgerError, WrongUse

Points = tuple[PointToRecord, ...]


class Runs:
    """`load` reads the point files; `say` takes lines for the person. Call `run` once."""

    def __init__(
        self, assignment: Assignment, load: Callable[[], Points], say: Callable[[str], None]
    ) -> None:
        self._assignment, self._load, self._say = assignment, load, say
        self._stop = threading.Event()
        self._next: Points | None = None
        self._ended = self._refused = False

    def end(self) -> None:
        """Let the run be the last; from a signal handler."""
        self._ended = True
        self._stop.set()

    def reload(self) -> None:
        """Read the point files again, and let a run with them follow; from a signal handler."""
        if self._assignment.for_ms is not None:
            self._say("a recording with --for keeps the point files that it began with")
            return
        try:
            points = self._load()
        except (PipeledgerError, OSError) as error:
            self._say(f"the point files stay as they were: {error}")
            return
        if self._ended:
            return
        self._next = points
        if self._refused:
            self._say("the disk takes no rows: the changed point files are taken up once it does")
        else:
            self._stop.set()

    def look(self, summary: Summary) -> None:
        """Called again and again while it records: the disk may have begun to refuse rows, or take them."""
        self._refused = summary.refused
        if self._next is not None and not summary.refused:
            self._stop.set()

    def run(self, record: Callable[[Assignment, threading.Event], Summary]) -> Summary:
        """Record until ended; what all runs brought together."""
        summary = record(self._assignment, self._stop)
        while (points := self._next) is not None:
            self._next = None
            self._stop.clear()
            if self._ended:  # asked after the clearing, or it would be lost
                break
            before = self._assignment
            self._assignment = replace(before, points=points, before=before.points)
            self._say(f"going on with what the point files say now: {', '.join(p.name for p in points)}")
            try:
                renewed = record(self._assignment, self._stop)
            except WrongUse as error:  # a map that would change a column's type, found before any round
                self._say(f"the point files stay as they were: {error}")
                self._assignment = replace(before, before=None)
                renewed = record(self._assignment, self._stop)
            summary = _joined(summary, renewed)
        return summary


def _joined(first: Summary, then: Summary) -> Summary:
    rows = {
        name: first.rows.get(name, Counter()) + then.rows.get(name, Counter())
        for name in {**first.rows, **then.rows}
    }
    return replace(then, rows=rows, files=first.files + then.files, lost=first.lost + then.lost)
