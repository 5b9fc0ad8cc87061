"""What `memory fetch` shows on a terminal: a bar with records/s, time left and the last live reading."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from readout.cli.output import say

if TYPE_CHECKING:
    from readout.retrieve.forecast import Progress

Show = Callable[["Progress"], None]


@contextmanager
def showing(name: str) -> "Iterator[tuple[Callable[[str], None], Show, Callable[[str], None]]]":
    """How to speak, to show progress, and to show a live reading; the last two nowhere but on a terminal."""
    if not sys.stderr.isatty():
        yield say, lambda _: None, lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True, highlight=False)
    shown = (
        TextColumn("{task.description}", markup=False), BarColumn(),
        TextColumn("{task.fields[words]}", markup=False), TextColumn("{task.fields[live]}", markup=False),
    )  # fmt: skip
    with Bar(*shown, console=console, refresh_per_second=4, transient=True) as bar:
        task = bar.add_task(name, total=None, words="", live="")

        def show(progress: "Progress") -> None:
            bar.update(task, completed=progress.records, total=progress.total, words=words_of(progress))

        yield (
            lambda text: console.print(text, markup=False, soft_wrap=True),
            show,
            lambda text: bar.update(task, live=text),
        )


def words_of(progress: "Progress") -> str:
    """`1200 of 50000 records, 62.4 records/s, 13 min left`."""
    from readout.cli.options import duration_words

    of = "" if progress.total is None else f" of {progress.total}"
    told = [f"{progress.records}{of} records"]
    if progress.rate is not None:
        told.append(f"{progress.rate:.1f} records/s")
    if progress.left_s is not None and progress.left_s > 0:
        told.append(f"{duration_words(max(1, round(progress.left_s)) * 1000)} left")
    return ", ".join(told)
