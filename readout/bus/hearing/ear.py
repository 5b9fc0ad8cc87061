"""Listening: for bytes until an instant, for the line to become quiet, for the silence before a request."""

from protocols.modbus.timing import SerialFormat
from readout.bus.hearing.echo import Echo
from readout.bus.port import Port, network_slack
from readout.bus.trace import Trace
from readout.clock import Clock

#: Seconds that may pass between two pieces of one reply, besides the time on the wire of the next piece.
BETWEEN_PIECES = 0.05
#: Bytes that an adapter collects before it hands them over: the packet of full-speed USB.
PACKET = 64
#: Seconds without a byte after which the line counts as quiet; more than the 16 ms for which common adapters
#: keep a byte that is already there to themselves.
QUIET = 0.02
#: Seconds after which a line that never becomes quiet is given up for the moment.
QUIET_WITHIN = 1.0
#: Seconds of rest after a driver returned nothing before its time, so that waiting costs no processor.
EARLY = 0.001


class Ear:
    """The ear of one line: knows when the last byte was on it, and whether it may be spoken on."""

    def __init__(self, port: Port, fmt: SerialFormat, clock: Clock, trace: Trace | None) -> None:
        self.fmt = fmt
        self.echo = Echo()
        #: Seconds that the network between this computer and the line may add; 0 for a port of its own.
        self.slack = network_slack(port.name)
        self._port = port
        self._clock = clock
        self._trace = trace
        self._quiet = max(QUIET, fmt.silence) + self.slack
        #: Monotonic seconds at which the last byte, ours or anyone's, left the line.
        self.last = self.opened = clock.monotonic()
        #: Bytes that came while nobody was asked, for the line to take, and the earliest instant at which the
        #: first of them may have come.
        self.unasked, self.unasked_since = b"", 0.0
        self._nothing_at = float("-inf")  # when it was last seen that nothing had come
        self._dirty = False

    def silence(self, rest: float, not_before: float = 0.0) -> bool:
        """Wait until the line has been silent for 3.5 characters and `rest`; False where it never is.

        Bytes that have come meanwhile answer no request: they are kept in `unasked`, and waited out.
        """
        rest = max(self.fmt.silence, rest)
        give_up = self._clock.monotonic() + QUIET_WITHIN
        while True:
            if self._dirty:
                self._keep(self.until_quiet(), self.last)
            self._clock.sleep_until(max(self.last + rest, not_before))
            stray = self._port.read(0)
            if not stray:
                return not self._dirty
            self._take(stray)
            self._keep(stray, self._nothing_at)
            self._dirty = True
            if self._clock.monotonic() > give_up:
                return False

    def listen(self, until: float) -> None:
        """Take what comes unasked until an instant, and whatever follows it until the line is quiet.

        With an instant that has passed it only looks.
        """
        piece, since = self._look(), self._nothing_at  # it may have come long ago
        while piece or (piece := self.wait(until)):
            self._keep(piece, since)
            self._keep(self.until_quiet(), self.last)
            if self._dirty:
                return
            piece, since = b"", self.last
        self._nothing_at = self._clock.monotonic()

    def _look(self) -> bytes:
        """What has arrived by now, without waiting."""
        piece = self._port.read(0)
        if piece:
            self._take(piece)
        return piece

    def _keep(self, stray: bytes, since: float) -> None:
        if stray and not self.unasked:
            self.unasked_since = since
        self.unasked += stray

    def until_quiet(self) -> bytes:
        """Listen until no byte has come for a while; what came meanwhile."""
        data = b""
        give_up = self._clock.monotonic() + QUIET_WITHIN
        while (now := self._clock.monotonic()) < give_up:
            piece = self.wait(min(now + self._quiet, give_up))
            if not piece:
                break
            data += piece
        self._dirty = self._clock.monotonic() >= give_up
        return data

    def time_for(self, missing: int) -> float:
        """Seconds within which the next piece comes, where `missing` bytes still do."""
        return BETWEEN_PIECES + self.slack + self.fmt.wire_time(min(missing, PACKET))

    def wait(self, deadline: float) -> bytes:
        """The next bytes; empty only at the deadline, whatever a driver thinks of it."""
        while True:
            asked = self._clock.monotonic()
            if asked >= deadline:
                return self._look()  # this program may have been kept from running meanwhile
            piece = self._port.read(deadline - asked)
            if piece:
                self._take(piece)
                return piece
            if self._clock.monotonic() < min(asked + EARLY, deadline):
                self._clock.sleep_until(min(asked + EARLY, deadline))

    def _take(self, piece: bytes) -> None:
        self.last = self._clock.monotonic()
        if self._trace is not None:
            self._trace.received(self._port.name, piece)

    def now(self) -> float:
        """Monotonic seconds."""
        return self._clock.monotonic()
