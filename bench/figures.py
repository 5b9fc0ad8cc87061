"""Medians, spans and ratios of repeated measurements, printed as tables."""

from collections.abc import Callable, Mapping, Sequence
from statistics import median
from time import perf_counter


def seconds(action: Callable[[], object]) -> Callable[[], float]:
    """The action, made to tell how many seconds it took."""

    def timed() -> float:
        begun = perf_counter()
        action()
        return perf_counter() - begun

    return timed


def interleaved(actions: Mapping[str, Callable[[], float]], times: int) -> dict[str, list[float]]:
    """What each action tells, called in turn (A B C A B C …), so that a slow spell of the computer hits all.

    One turn beforehand is not counted: it fills caches and opens what is opened only once.
    """
    for action in actions.values():
        action()
    found: dict[str, list[float]] = {name: [] for name in actions}
    for _ in range(times):
        for name, action in actions.items():
            found[name].append(action())
    return found


def percentile(values: Sequence[float], share: float) -> float:
    """The value that `share` (0 to 1) of the values do not exceed."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def spread(values: Sequence[float]) -> str:
    """Median (minimum to maximum) in ms."""
    return f"{median(values) * 1000:9.3f} ({min(values) * 1000:.3f} to {max(values) * 1000:.3f})"


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Columns as wide as their widest cell, two spaces apart."""
    widths = [max(len(row[place]) for row in (head, *rows)) for place in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in (head, *rows)
    ]
    return "\n".join(line.rstrip() for line in (lines[0], "-" * len(lines[0]), *lines[1:]))
