"""An end of a line that can be pulled out and put in again, as an adapter is: same name, new device."""

import threading
from collections.abc import Callable

from simulators.line.ends import End

#: Seconds within which the thread that reads must notice that the end was pulled out.
NOTICED_WITHIN = 5.0


class Unpluggable:
    """An `End` that `unplug` takes away, so that a master's reads fail, and `plug` makes anew.

    >>> end = Unpluggable(lambda: PtyEnd(Path("adapter")))

    For TCP the number must be given: port 0 would be another one after each `plug`.
    """

    def __init__(self, make: Callable[[], End]) -> None:
        """Plugged in at once; `make` makes the end, now and at each `plug`."""
        self._make = make
        self._state = threading.Condition()
        self._wanted = True
        self._reading = False
        self._woken = False
        self._end: End | None = make()
        self._port = self._end.port

    @property
    def port(self) -> str:
        """The name, which stays."""
        return self._port

    @property
    def plugged(self) -> bool:
        """Whether it is there now."""
        return self._end is not None

    def unplug(self) -> None:
        """Pull it out; returns when it is gone. From any thread."""
        self._want(plugged=False)

    def plug(self) -> None:
        """Put it in again; returns when it can be opened. NoSuchEnd as when it was made."""
        self._want(plugged=True)

    def _want(self, *, plugged: bool) -> None:
        with self._state:
            self._wanted = plugged
            if self._reading and not plugged:  # the device belongs to the thread that waits on it
                if self._end is not None:
                    self._end.wake()
                self._state.wait_for(lambda: self.plugged is plugged, NOTICED_WITHIN)
            else:
                self._settle()
                self._state.notify_all()

    def _settle(self) -> None:
        if self._end is not None and not self._wanted:
            self._end.close()
            self._end = None
        elif self._end is None and self._wanted:
            self._end = self._make()
            self._port = self._end.port

    def read(self, timeout: float | None) -> bytes:
        """See `End`; while it is pulled out, nothing comes."""
        with self._state:
            end = self._end
            if end is None:
                self._state.wait_for(lambda: self._end is not None or self._woken, timeout)
                self._woken = False
                return b""
            self._reading = True
        try:
            return end.read(timeout)
        finally:
            with self._state:
                self._reading = False
                self._settle()
                self._state.notify_all()

    def write(self, data: bytes) -> None:
        """See `End`; lost while it is pulled out."""
        with self._state:
            if self._end is not None:
                self._end.write(data)

    def wake(self) -> None:
        """See `End`."""
        with self._state:
            self._woken = True
            if self._end is not None:
                self._end.wake()
            self._state.notify_all()

    def close(self) -> None:
        """See `End`."""
        with self._state:
            self._wanted = False
            self._settle()
