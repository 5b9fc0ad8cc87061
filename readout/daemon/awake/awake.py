"""Keeping the computer awake while it records, and saying where that cannot be relied on.

The lock belongs to a command beside the recorder, which ends when the recorder does, a killed one too.
Nothing here waits: the recorder's main thread looks again and again, and says what is new.
"""

import os
import select
import subprocess
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from readout.clock import Clock
from readout.daemon.awake.systems import Held, System, Way
from readout.daemon.telling.sparing import Sparing

Say = Callable[[str], None]

#: Shorter recordings [ms] end before a computer goes to sleep by itself: a minute is the shortest setting.
SHORT_MS = 60_000
#: Seconds between two looks at the battery, and at whether the lock is still held.
_LOOK_S = 60.0
#: A charger with a loose plug is told of this often in an hour.
_MOST_AN_HOUR = 6
#: Seconds that a command has for its end, before it is ended.
_END_S = 2.0
#: What a service manager gave the recorder alone: a command of systemd's would speak to it, too.
_ONLY_OURS = frozenset({"NOTIFY_SOCKET", "WATCHDOG_PID", "WATCHDOG_USEC"})


class Awake:
    """Holds sleep off from its beginning to its end, as far as the system allows; a context manager."""

    def __init__(self, system: System, clock: Clock) -> None:
        self._system, self._clock = system, clock
        self._ways: deque[Way] = deque()
        self._child: _Child | None = None
        #: What is held; None while it is not known yet.
        self.held: Held | None = None
        self._why = ""
        self._told: str | None = None
        self._on_battery = False
        self._sparing = Sparing(_MOST_AN_HOUR)
        self._looked = float("-inf")

    def __enter__(self) -> Self:
        self._begin()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._child is not None:
            self._child.end()
        self._system.release()

    def look(self, say: Say) -> None:
        """Called again and again while it records, from the thread that entered; says what is new."""
        if self.held is None:
            self._settle()
        if self.held is None or self._clock.monotonic() - self._looked < _LOOK_S:
            return
        self._looked = self._clock.monotonic()
        if self._child is not None and self._child.holds() is False:  # somebody ended it
            self._child.end()
            self._begin()
            return
        self._tell(self.held, say)

    def _begin(self) -> None:
        self._child, self._why = None, self._system.lacking
        self.held = self._system.hold()
        self._ways = deque(self._system.ways())
        self._looked = float("-inf")
        if self.held is None:
            self._next()

    def _next(self) -> None:
        """Start the next way's command; where none is left, nothing is held."""
        while self._ways:
            try:
                self._child = _Child(self._ways.popleft())
            except OSError as error:
                self._why = str(error.strerror)
            else:
                return
        self._child, self.held = None, Held(sleep=False, lid=False)

    def _settle(self) -> None:
        if self._child is None:
            return
        holds = self._child.holds()
        if holds:
            self.held, self._why = self._child.way.held, self._child.way.lacks or self._why
        elif holds is False:
            self._why = self._child.why()
            self._child.end()
            self._next()

    def _tell(self, held: Held, say: Say) -> None:
        power = self._system.power()
        told = None
        if not self._system.may_sleep():
            pass
        elif not held.sleep:
            told = (
                f"this computer may go to sleep while it records, and then there are no rows ({self._why}): "
                f"{self._system.advice}"
            )
        elif power.has_lid and not held.lid:
            told = "closing the lid puts this computer to sleep, and then there are no rows: leave it open"
        if told is not None and told != self._told:
            say(told)
        self._told = told
        if power.on_battery != self._on_battery and self._sparing.left("battery", self._looked):
            self._on_battery = power.on_battery
            charge = "" if power.percent is None else f" ({power.percent} %)"
            say(
                f"this computer runs on its battery{charge}: plug it in, an empty one ends the recording"
                if power.on_battery
                else "this computer runs on mains power again"
            )


class _Child:
    """A way's command while it runs, in a session of its own: the terminal's signals are the recorder's."""

    def __init__(self, way: Way) -> None:
        self.way = way
        self._process = subprocess.Popen(
            way.words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env={name: value for name, value in os.environ.items() if name not in _ONLY_OURS},
            bufsize=0, start_new_session=True,
        )  # fmt: skip
        self._echoed = not way.echoes
        assert self._process.stdin is not None
        with suppress(OSError):
            self._process.stdin.write(b"held\n")

    def holds(self) -> bool | None:
        """Whether it does; None while that is not known."""
        if self._process.poll() is not None:
            return False
        assert self._process.stdout is not None
        if not self._echoed and select.select([self._process.stdout], [], [], 0)[0]:
            self._echoed = bool(os.read(self._process.stdout.fileno(), 64))
        return True if self._echoed else None

    def why(self) -> str:
        """The last line that it wrote to stderr, without waiting for more; else how it ended."""
        assert self._process.stderr is not None
        os.set_blocking(self._process.stderr.fileno(), False)
        told = self._process.stderr.read() or b""
        lines = told.decode(errors="replace").strip().splitlines()
        ended = f"{Path(self.way.words[0]).name} ended with status {self._process.returncode}"
        return lines[-1].rstrip(".") if lines else ended

    def end(self) -> None:
        """Let it go: it ends with its stdin, else it is ended."""
        process = self._process
        assert process.stdin is not None
        with suppress(OSError):
            process.stdin.close()
        if not self.way.echoes:
            process.terminate()
        try:
            process.wait(_END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for stream in (process.stdout, process.stderr):
            assert stream is not None
            stream.close()
