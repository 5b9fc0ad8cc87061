"""A line that may be absent: opened when it can be, given up when it is lost, opened again by itself."""

from collections.abc import Callable

from readout.bus.exchange import Line
from readout.clock import Clock
from readout.errors import PortError

#: Seconds between attempts to open an absent port: its return is noticed within this and one idle wait.
RETRY_S = 1.0


class LineAccess:
    """The port of one line. `line` is None while it is not to be had, `reason` then says why in a sentence.

    `connect` opens the port and raises PortError; `on_change` is told "port lost" and "port back".
    """

    def __init__(
        self,
        port_name: str,
        connect: Callable[[], Line],
        clock: Clock,
        on_change: Callable[[str, str], None],
    ) -> None:
        self.port_name = port_name
        self.line: Line | None = None
        self.reason = "the port has not been opened yet"
        self._connect = connect
        self._clock = clock
        self._on_change = on_change
        self._tried = float("-inf")
        self._was_lost = False

    def open(self) -> None:
        """Open at the start; an absent port is waited for, a held or denied one is the caller's PortError."""
        try:
            self.line = self._connect()
        except PortError as error:
            if error.kind not in ("absent", "lost"):
                raise
            self._absent(str(error))

    def reopen(self) -> bool:
        """Try to open a port that is not open, at most once a second; True when that succeeded."""
        now = self._clock.monotonic()
        if self.line is not None or now - self._tried < RETRY_S:
            return False
        self._tried = now
        try:
            self.line = self._connect()
        except PortError as error:
            self.reason = str(error)
            return False
        if self._was_lost:
            self._on_change("port back", f"{self.port_name} is back")
            self._was_lost = False
        return True

    def lost(self, why: str) -> None:
        """Give the port up: the adapter was pulled out, or the operating system failed it."""
        if self.line is not None:
            self.line.close()
            self.line = None
        self._absent(why)

    def _absent(self, why: str) -> None:
        self.reason = why
        self._tried = self._clock.monotonic()
        if not self._was_lost:
            self._was_lost = True
            self._on_change("port lost", why)

    def close(self) -> None:
        """Close the port if it is open."""
        if self.line is not None:
            self.line.close()
            self.line = None
