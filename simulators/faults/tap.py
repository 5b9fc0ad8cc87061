"""A fault plan between a master and a stranger's meter: any program that answers Modbus RTU on a port.

    master ── master_port ═ SimulatedLine with the plan ═ meter_port ── opened by the stranger

The stranger stands on the line as a simulated meter does, so that every letter means the same.
"""

import time
from types import TracebackType

from protocols.errors import ReplyError
from protocols.modbus.replies import reply_length
from simulators.faults.player import FaultPlayer
from simulators.line import End, LineStats, PtyEnd, SimulatedLine


class Stranger:
    """A meter at the other end of a port of its own; see `simulators.line.simulated.Meter`."""

    def __init__(self, end: End, answers_within: float = 1.0) -> None:
        """Ask through `end`; a stranger that has not answered `answers_within` seconds later is silent."""
        self._end = end
        self._answers_within = answers_within

    def reply(self, frame: bytes) -> bytes | None:
        """Hand the request over and wait for the whole reply."""
        while self._end.read(0):
            pass  # what it said unasked, or too late, belongs to no request
        self._end.write(frame)
        deadline = time.monotonic() + self._answers_within
        reply = b""
        while (left := deadline - time.monotonic()) > 0:
            reply += self._end.read(left)
            try:
                length = reply_length(reply)
            except ReplyError:
                continue  # no reply that has a length: silence ends it
            if length is not None and len(reply) >= length:
                break
        return reply or None


class FaultTap:
    """A context manager; what the plan does is in the player's counts, what passed in `stats`."""

    def __init__(
        self,
        player: FaultPlayer,
        *,
        master: End | None = None,
        meter: End | None = None,
        answers_within: float = 1.0,
    ) -> None:
        """Join two ends, by default two new pseudo-terminals, by the plan of `player`."""
        self._meter = PtyEnd() if meter is None else meter
        stranger = Stranger(self._meter, answers_within)
        self._line = SimulatedLine([player.before([stranger])], end=master, delivery=player.deliver)

    @property
    def master_port(self) -> str:
        """The port that the master opens."""
        return self._line.port

    @property
    def meter_port(self) -> str:
        """The port that the stranger opens."""
        return self._meter.port

    @property
    def stats(self) -> LineStats:
        """What the master's side has seen."""
        return self._line.stats

    def __enter__(self) -> "FaultTap":
        self._line.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._line.__exit__(kind, error, trace)
        self._meter.close()
