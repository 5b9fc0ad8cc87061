"""Two lines joined by a pump: a tap between a master and a meter that both want a port to open.

    master ── opens master_port ═ pump ═ meter_port ── opened by a meter in a program of its own

What passes may be watched or altered on the way, in either direction.
"""

import threading
from collections.abc import Callable
from enum import Enum
from types import TracebackType

from simulators.line.ends import End, PtyEnd


class Way(Enum):
    """Where bytes are going."""

    TO_METER = "to the meter"
    TO_MASTER = "to the master"


#: What becomes of bytes that pass: given as they arrive, in lumps of any size; empty swallows them.
Alter = Callable[[Way, bytes], bytes]


def unaltered(_: Way, data: bytes) -> bytes:
    """Lets everything through as it is."""
    return data


class Tap:
    """A context manager; pumps both ways while it is open. What nobody reads is lost, as on a wire."""

    def __init__(
        self, *, master: End | None = None, meter: End | None = None, alter: Alter = unaltered
    ) -> None:
        """Join two ends, by default two new pseudo-terminals. `alter` runs in the pump's threads."""
        self._master = PtyEnd() if master is None else master
        self._meter = PtyEnd() if meter is None else meter
        self._alter = alter
        self._stop = threading.Event()
        ways = ((Way.TO_METER, self._master, self._meter), (Way.TO_MASTER, self._meter, self._master))
        self._threads = [threading.Thread(target=self._pump, args=way, daemon=True) for way in ways]

    @property
    def master_port(self) -> str:
        """The port that the master opens."""
        return self._master.port

    @property
    def meter_port(self) -> str:
        """The port that the meter opens."""
        return self._meter.port

    def __enter__(self) -> "Tap":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        for end in (self._master, self._meter):
            end.wake()
        for thread in self._threads:
            thread.join()
        for end in (self._master, self._meter):
            end.close()

    def _pump(self, way: Way, source: End, sink: End) -> None:
        while not self._stop.is_set():
            data = source.read(None)
            if data and (altered := self._alter(way, data)):
                sink.write(altered)
