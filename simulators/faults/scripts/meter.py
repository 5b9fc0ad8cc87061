"""Plays a script on an end of a line: nothing but the script's bytes, at the script's times."""

import threading
from types import TracebackType

from simulators.clock import Clock, WireClock
from simulators.errors import NotAsScripted, WrongFaults
from simulators.faults.scripts.script import HangUp, Quiet, Relink, Script, Send, Step, Wait
from simulators.faults.scripts.unplug import Unpluggable
from simulators.line.ends import End, PtyEnd
from simulators.line.framer import RequestFramer

#: Seconds in which the rest of a wrong request is awaited, so that the whole of it can be told.
REST_WITHIN = 0.05
#: Longest stretch of a wait, in seconds, before somebody who wants to end it is heard.
STRETCH = 0.05


class ScriptedMeter:
    """A context manager that plays in a thread of its own, once, then listens on.

    >>> with ScriptedMeter(parse_script("> 01 03 …")) as meter:
    ...     port = serial.Serial(meter.port)
    ...     meter.finish()

    `sent` has monotonic seconds and bytes of every write, `received` of everything that came.
    """

    def __init__(self, script: Script, *, end: End | None = None, clock: Clock | None = None) -> None:
        """Play on `end`, by default a new pseudo-terminal.

        WrongFaults where the script pulls the port out and the end is not `Unpluggable`.
        """
        for step in script.steps:
            if isinstance(step, HangUp | Relink) and not isinstance(end, Unpluggable):
                where = f"{script.name}:{step.line}"
                raise WrongFaults(f"{where}: this end cannot be pulled out; play it on an Unpluggable one.")
        self._script = script
        self._end = PtyEnd() if end is None else end
        self._clock = WireClock() if clock is None else clock
        self._framer = RequestFramer()
        self._pending = b""
        self._at = self._clock.monotonic()  # when the line of the script before was finished
        self._stop = threading.Event()
        self._over = threading.Event()
        self._misfit: str | None = None
        self._line = 0
        self._thread = threading.Thread(target=self.play, daemon=True)
        self.sent: list[tuple[float, bytes]] = []
        self.received: list[tuple[float, bytes]] = []

    @property
    def port(self) -> str:
        """What a master opens."""
        return self._end.port

    def __enter__(self) -> "ScriptedMeter":
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._end.wake()
        self._thread.join()
        self._end.close()

    def finish(self, within: float = 5.0) -> None:
        """Wait until the script is over, at most `within` seconds.

        NotAsScripted, with the script's line and both byte strings, where the master sent something else,
        sent too little, or has sent more since the script was over.
        """
        over = self._over.wait(within)
        where = f"{self._script.name}:{self._line}"
        if self._misfit is not None:
            raise NotAsScripted(self._misfit)
        if not over:
            waiting = f", with {_shown(self._pending)} so far" if self._pending else ""
            raise NotAsScripted(f"{where}: after {within:g} s the script still stands here{waiting}.")
        if self._pending:
            raise NotAsScripted(f"{where}: the script is over, but {_shown(self._pending)} came after it.")

    def play(self) -> None:
        """The thread's work: every step, then whatever else comes is kept until the end."""
        for step in self._script.steps:
            self._line = step.line
            self._play(step)
            if self._misfit is not None or self._stop.is_set():
                break
        if not self._stop.is_set():
            self._over.set()
        while not self._stop.is_set():
            self._listen(None)

    def _play(self, step: Step) -> None:
        match step:
            case Wait():
                self._await(step)
            case Send():
                for wait, data in step.writes():
                    if not self._until(self._at + wait):
                        return
                    self._end.write(data)
                    self.sent.append((self._clock.monotonic(), data))
            case Quiet():
                self._until(self._at + step.after)
            case HangUp() if isinstance(self._end, Unpluggable):
                self._end.unplug()
            case Relink() if isinstance(self._end, Unpluggable):
                self._until(self._at + step.after)
                self._end.plug()

    def _until(self, at: float) -> bool:
        """Wait for an instant; False where the playing is to end before."""
        while not self._stop.is_set():
            now = self._clock.monotonic()
            if now >= at:
                self._at = at
                return True
            self._clock.sleep_until(min(at, now + STRETCH))
        return False

    def _listen(self, timeout: float | None) -> bytes:
        data = self._end.read(timeout)
        if data:
            self.received.append((self._clock.monotonic(), data))
            self._pending += data
        return data

    def _await(self, step: Wait) -> None:
        while not self._stop.is_set():
            if step.data is None:
                self._framer.feed(self._pending)
                self._pending = b""
                if self._framer.next_frame() is not None:
                    break
            elif self._pending.startswith(step.data):
                self._pending = self._pending[len(step.data) :]
                break
            elif not step.data.startswith(self._pending):
                while self._listen(REST_WITHIN):
                    pass
                wanted = f"waits for {_shown(step.data)}, but {_shown(self._pending)} came."
                self._misfit = f"{self._script.name}:{step.line}: the script {wanted}"
                return
            self._listen(None)
        self._at = self.received[-1][0] if self.received else self._clock.monotonic()


def _shown(data: bytes) -> str:
    more = f" … ({len(data)} bytes)" if len(data) > 64 else ""
    return data[:64].hex(" ").upper() + more
