"""A port whose calls may block for ever: its calls are made by a thread that can be left behind.

Some drivers (Bluetooth, some on Windows) neither fail nor return once the other side is out of reach. Nothing
ends such a call from outside; so it keeps its thread, the port counts as lost, and everybody else goes on.
Costs some 50 µs a call, and is not used where a port has a file descriptor to wait for.
"""

import queue
import threading
from collections.abc import Callable
from typing import Generic, TypeVar

from readout.bus.port import Port
from readout.errors import PortError

#: Seconds that a call may take beyond the waiting it was asked for.
REACTS_WITHIN = 2.5

T = TypeVar("T")


class _Call(Generic[T]):
    """One call, and what came of it."""

    def __init__(self, function: Callable[[], T]) -> None:
        self._function = function
        self.done = threading.Event()
        self.result: T | None = None
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            self.result = self._function()
        except BaseException as error:  # handed to who asked
            self.error = error
        self.done.set()


class WatchedPort:
    """`port` with a limit on every call: PortError (lost) where it does not react within 2.5 s."""

    def __init__(self, port: Port, within: float = REACTS_WITHIN) -> None:
        self.name = port.name
        self.notes = port.notes
        self._port = port
        self._within = within
        self._stuck = self._closed = False
        self._calls: queue.SimpleQueue[_Call[bytes] | _Call[None] | None] = queue.SimpleQueue()
        threading.Thread(target=self._work, name=f"port {port.name}", daemon=True).start()

    def _work(self) -> None:
        while (call := self._calls.get()) is not None:
            call.run()

    def _await(self, call: _Call[T], wait: float) -> T | None:
        if self._closed:
            raise PortError("lost", f"{self.name} is gone: it was closed.")
        if self._stuck:
            raise self._lost()
        self._calls.put(call)  # type: ignore[arg-type]  # of bytes or None, as all calls here
        if not call.done.wait(wait + self._within):
            self._stuck = True
            raise self._lost()
        if call.error is not None:
            raise call.error
        return call.result

    def _lost(self) -> PortError:
        text = (
            f"{self.name} does not react: its driver has not returned within {self._within:g} s. See whether "
            "the adapter is in reach and switched on; pull it out and plug it in again."
        )
        return PortError("lost", text)

    def read(self, wait: float) -> bytes:
        """See `Port`."""
        return self._await(_Call(lambda: self._port.read(wait)), max(wait, 0.0)) or b""

    def write(self, data: bytes) -> None:
        """See `Port`."""
        self._await(_Call(lambda: self._port.write(data)), 0.0)

    def reset(self) -> None:
        """See `Port`."""
        self._await(_Call(self._port.reset), 0.0)

    def close(self) -> None:
        """See `Port`. Behind a call that never ends the port is closed when it does."""
        if self._closed:
            return
        self._closed = True
        call = _Call(self._port.close)
        self._calls.put(call)
        self._calls.put(None)
        if not self._stuck:
            call.done.wait(self._within)
