"""A line with simulated meters on it: takes requests, has them answered, sends replies at the line's pace.

master writes      request on the wire      meter      reply on the wire            silence
|                  |--8 characters--|--turnaround--|--9 characters, in chunks--|--3.5 characters--|
first byte seen    first_byte       request_end                        last byte        free_at
"""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple, Protocol

from simulators.clock import Clock, WireClock
from simulators.line.ends import End, PtyEnd
from simulators.line.framer import RequestFramer
from simulators.line.pace import UNPACED, Delivery, Pace, chunks, faithful

#: Silence that ends a frame of unknown length is never counted shorter than this many seconds: a computer
#: hands over bytes in lumps, and a lump may come late.
SHORTEST_QUIET = 0.01


class Meter(Protocol):
    """What a line needs of a meter."""

    def reply(self, frame: bytes) -> bytes | None:
        """The reply frame; None for silence."""
        ...


class Exchange(NamedTuple):
    """One request and what the meters made of it; `first_byte` in seconds of the line's monotonic clock."""

    first_byte: float
    request: bytes
    reply: bytes | None
    too_soon: bool


@dataclass(slots=True)
class LineStats:
    """What the line has seen. `too_soon`: requests begun before the reply, and 3.5 characters, were over."""

    requests: int = 0
    replies: int = 0
    damaged: int = 0
    too_soon: int = 0


class SimulatedLine:
    """Simulated meters on one line; a context manager that serves them in a thread of its own.

    >>> with SimulatedLine([SimulatedMeter(register_map)]) as line:
    ...     port = serial.Serial(line.port)
    """

    def __init__(
        self,
        meters: Sequence[Meter],
        *,
        end: End | None = None,
        pace: Pace = UNPACED,
        delivery: Delivery = faithful,
        watch: Callable[[Exchange], None] | None = None,
        clock: Clock | None = None,
    ) -> None:
        """Put `meters` on `end` (default: a new pseudo-terminal).

        `delivery` may change what goes back, `watch` is told of every exchange, in the line's thread.
        """
        self._end = PtyEnd() if end is None else end
        self._meters = tuple(meters)
        self._pace = pace
        self._delivery = delivery
        self._watch = watch
        self._clock = WireClock() if clock is None else clock
        self._framer = RequestFramer()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._first_byte = 0.0
        self._wire_end = 0.0  # when the last character that has come so far is complete
        self._free_at = 0.0  # before this instant, a new request is too soon
        self._too_soon = False
        self.stats = LineStats()

    @property
    def port(self) -> str:
        """What a master opens: the terminal's path, its link, or socket://host:port."""
        return self._end.port

    def __enter__(self) -> "SimulatedLine":
        self._thread = threading.Thread(target=self.serve, name=f"line {self.port}", daemon=True)
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
        if self._thread is not None:
            self._thread.join()
        self.close()

    def serve(self) -> None:
        """Serve until `stop` is called from another thread."""
        while not self._stop.is_set():
            self.step(None)

    def stop(self) -> None:
        """Let `serve` return; a reply on its way is cut off."""
        self._stop.set()
        self._end.wake()

    def close(self) -> None:
        """Give the port back; not before `serve` has returned."""
        self._end.close()

    def step(self, timeout: float | None) -> None:
        """Wait up to `timeout` seconds for bytes, or for the silence that ends a frame, and serve them.

        Sleeps while it waits: to look without pause was tried, and kept the kernel from handing over what a
        pseudo-terminal had received, by up to 1.4 ms instead of 0.08 ms.
        """
        quiet = max(self._pace.silence, SHORTEST_QUIET)
        if self._framer.pending:
            left = max(0.0, self._wire_end + quiet - self._clock.monotonic())
            timeout = left if timeout is None else min(left, timeout)
        data = self._end.read(timeout)
        now = self._clock.monotonic()
        if self._framer.pending and now >= self._wire_end + quiet:
            self._silence()
        if data:
            self._arrived(data, now)

    def _arrived(self, data: bytes, now: float) -> None:
        if not self._framer.pending:
            self._first_byte = now
            self._too_soon = now < self._free_at
        self._wire_end = max(self._wire_end, now) + len(data) * self._pace.character
        self._framer.feed(data)
        while (frame := self._framer.next_frame()) is not None:
            self._answer(frame, self._wire_end - self._framer.pending * self._pace.character)

    def _silence(self) -> None:
        frame = self._framer.silence()
        if frame is None:
            self.stats.damaged += 1
        else:
            self._answer(frame, self._wire_end)

    def _answer(self, frame: bytes, request_end: float) -> None:
        self._clock.sleep_until(request_end)
        replies = [reply for meter in self._meters if (reply := meter.reply(frame)) is not None]
        reply = replies[0] if replies else None
        self.stats.requests += 1
        self.stats.replies += reply is not None
        self.stats.too_soon += self._too_soon
        at = request_end
        for piece in self._delivery(frame, reply):
            at += self._pace.turnaround if piece.after is None else piece.after
            at = self._send(piece.data, at)
        if self._watch is not None:
            self._watch(Exchange(self._first_byte, frame, reply, self._too_soon))
        self._first_byte = at
        self._too_soon = False

    def _send(self, data: bytes, start: float) -> float:
        """Send at the line's pace from the instant `start` on; when the last character is complete."""
        now = at = start
        for at, chunk in chunks(data, start, self._pace):
            if self._stop.is_set():
                break
            self._clock.sleep_until(at)
            now = self._clock.monotonic()
            self._end.write(chunk)
        # Before the write: a reader cannot have counted its silence from any earlier.
        self._free_at = now + self._pace.silence
        return at
