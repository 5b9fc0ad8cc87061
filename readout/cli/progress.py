"""Progress of what takes more than two seconds, on stderr: a bar, and of the longest work lines elsewhere."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from readout.cli.output import say

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

#: Shorter work shows nothing [s].
WORTH_SHOWING = 2.0
#: Where no bar can be drawn, a line as often as this [s].
LINE_EVERY = 5.0


@contextmanager
def counting(what: str, total: int, seconds: float) -> Iterator[Callable[[int, str], None]]:
    """A bar over `total` steps that takes some `seconds`; call what it gives with steps done and a word."""
    if not sys.stderr.isatty() or seconds < WORTH_SHOWING:
        yield lambda _done, _word: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    shown = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*shown, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda done, word: progress.update(task, completed=done, description=f"{what}, {word}")


@contextmanager
def ticking(what: str, seconds: float) -> Iterator[None]:
    """A bar that fills within `seconds`, for work that ends by the clock."""
    with counting(what, max(1, round(seconds * 10)), seconds) as tell:
        stop = threading.Event()
        begun = time.monotonic()

        def tick() -> None:
            while not stop.wait(0.1):
                tell(round((time.monotonic() - begun) * 10), f"{time.monotonic() - begun:.0f} s")

        thread = threading.Thread(target=tick, name="progress", daemon=True)
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()


@contextmanager
def steadily(what: str) -> Iterator[Callable[[float, str], None]]:
    """Progress of long work also where nobody looks at a terminal: a bar there, else a line now and then.

    Call what it gives with the share that is done, 0 to 1, and a word. Quick work shows nothing.
    """
    shown = _Steady(what)
    try:
        yield shown.tell
    finally:
        shown.end()


class _Steady:
    """Begins to show once the work has taken long enough to wonder."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._spoke = time.monotonic() - LINE_EVERY + WORTH_SHOWING
        self._began = time.monotonic()
        self._bar: tuple[Progress, TaskID] | None = None

    def tell(self, share: float, word: str) -> None:
        """`share` of the work is done, 0 to 1."""
        now = time.monotonic()
        if now - self._began < WORTH_SHOWING:
            return
        if sys.stderr.isatty():
            progress, task = self._bar = self._bar or self._opened()
            progress.update(task, completed=share, description=f"{self._what}, {word}")
        elif now - self._spoke >= LINE_EVERY:
            self._spoke = now
            say(f"{self._what}: {share:.0%}, {word}")

    def end(self) -> None:
        """Take the bar away."""
        if self._bar is not None:
            self._bar[0].stop()

    def _opened(self) -> "tuple[Progress, TaskID]":
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        shown = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
        progress = Progress(*shown, console=Console(stderr=True), transient=True)
        progress.start()
        return progress, progress.add_task(self._what, total=1.0)
