"""Progress of what takes more than two seconds, on stderr, and only where that is a terminal."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Shorter work shows nothing [s].
WORTH_SHOWING = 2.0


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
