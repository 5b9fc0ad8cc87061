"""Whether the rounds of all points on a line fit between their due times, known before anything is sent."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from readout.daemon.points import PointToRecord

#: Share of a line's time above which a repeat has no room (common practice, no source).
FULL = 0.9
#: Intervals that are offered instead [ms].
_OFFERED_MS = (200, 500, 1000, 2000, 5000, 10_000, 15_000, 20_000, 30_000, 60_000)


def overloaded(points: Iterable[PointToRecord]) -> Iterator[str]:
    """A sentence for each line whose points need more of its time than there is, or nearly all.

    By the time on the wire with a guess for the meters' turnaround, as `map show` tells it.
    """
    lines: dict[str, list[PointToRecord]] = defaultdict(list)
    for point in points:
        lines[point.port].append(point)
    for port, mine in lines.items():
        needed = sum(point.polled.plan.wire_seconds * 1000 / point.every_ms for point in mine)
        if needed > FULL:
            yield _sentence(port, mine, needed)


def _sentence(port: str, points: Sequence[PointToRecord], needed: float) -> str:
    whose = (
        f"the rounds of {points[0].name}" if len(points) == 1 else f"the rounds of its {len(points)} points"
    )
    what = f"{port} at {points[0].format}: {whose} take {needed:.2f} s of every second on the wire"
    if needed > 1:
        what += f", so about {1 - 1 / needed:.0%} of them will not be asked (rows `skipped`)"
    else:
        what += ", so a repeat or a slow meter makes others late or `skipped`"
    return f"{what}: {_way_out(points)}, raise the baud rate in the meters, or use further lines"


def _way_out(points: Sequence[PointToRecord]) -> str:
    round_ms = sum(point.polled.plan.wire_seconds * 1000 for point in points)
    fits = next((ms for ms in _OFFERED_MS if round_ms <= FULL * ms), None)
    if fits is None or len({point.every_ms for point in points}) > 1:
        return "give some a longer interval (`record: every`)"
    return f"read every {fits / 1000:g} s (`record: every`)"
