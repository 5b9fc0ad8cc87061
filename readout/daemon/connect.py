"""Opens the line of points that share a port."""

from collections.abc import Callable, Sequence

from readout.bus.exchange import Line
from readout.bus.port import open_port
from readout.bus.trace import Trace
from readout.clock import Clock
from readout.daemon.points import PointToRecord


def connector(clock: Clock, trace: Trace | None) -> Callable[[Sequence[PointToRecord]], Line]:
    """A function that opens the line of the given points, all on one port, or raises PortError.

    It rests after opening as long as the slowest of the meters wants (`after_open`).
    """

    def connect(points: Sequence[PointToRecord]) -> Line:
        first = points[0]
        line = Line(open_port(first.port, first.format), first.format, clock, trace)
        rest = max(point.map.wire.after_open for point in points)
        if rest > 0:
            clock.sleep_until(clock.monotonic() + rest)
        return line

    return connect
