"""What `log` shows on a terminal while it records: one line with rounds done and readings missing."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from readout.cli.output import say

if TYPE_CHECKING:
    from readout.daemon.recorder import Assignment, Summary

Watch = Callable[["Summary"], None]


def _say_when(text: str) -> None:
    moment = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    say(f"{moment} {text}")


@contextmanager
def progress(assignment: "Assignment") -> "Iterator[tuple[Callable[[str], None], Watch]]":
    """How to speak and how to watch while recording: a live line on a terminal, plain lines elsewhere.

    A recording without an end that speaks into a file says when; systemd's journal knows by itself.
    """
    if not sys.stderr.isatty():
        dated = assignment.for_ms is None and "JOURNAL_STREAM" not in os.environ
        yield _say_when if dated else say, lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    total = None
    if assignment.for_ms is not None:
        total = sum(max(1, assignment.for_ms // point.every_ms) for point in assignment.points)
    console = Console(stderr=True, highlight=False)
    shown = [TextColumn("{task.description}", markup=False), TimeElapsedColumn()]
    bar = Progress(*shown, *([BarColumn()] if total else []), console=console, refresh_per_second=4)
    with bar:
        task = bar.add_task("recording", total=total)

        def watch(summary: "Summary") -> None:
            rows = sum(counts.total() for counts in summary.rows.values())
            good = sum(counts["ok"] for counts in summary.rows.values())
            text = f"recording: {rows} rows, {rows - good} without all values"
            bar.update(task, completed=rows, description=text)

        yield lambda text: console.print(text, markup=False, soft_wrap=True), watch
