"""What a service manager is told (sd_notify(3)): ready, alive, how it goes, stopping.

The sign of life comes from the recorder's main loop, and only while at least one point gets its rows: a
recorder in which nothing moves any more is restarted, one with a single hanging line is not.
"""

import os
import sys
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from socket import SOCK_DGRAM, socket

from readout.clock import Clock

if sys.platform != "win32":
    from socket import AF_UNIX

#: Seconds between two lines on how it goes.
_STATUS_PAUSE_S = 10.0
#: Every point has a row for each of its rounds, come what may. This many rounds and seconds without one mean
#: that its line hangs.
HUNG_ROUNDS, HUNG_S = 3, 60.0

Rows = Mapping[str, Counter[str]]


class Stalls:
    """Notices points that get no rows any more. `every_s` gives each point's interval [s]."""

    def __init__(self, every_s: Mapping[str, float], clock: Clock, say: Callable[[str], None]) -> None:
        self._every_s, self._clock, self._say = every_s, clock, say
        self._moved = {name: (0, clock.monotonic()) for name in every_s}
        self.stalled: set[str] = set()

    def look(self, rows: Rows) -> None:
        """Compare with what was there before; each change is said once."""
        now = self._clock.monotonic()
        for name, every in self._every_s.items():
            count = rows[name].total()
            before, since = self._moved[name]
            if count != before:
                self._moved[name] = (count, now)
                if name in self.stalled:
                    self.stalled.discard(name)
                    self._say(f"{name}: rows come again")
            elif now - since > HUNG_ROUNDS * every + HUNG_S and name not in self.stalled:
                self.stalled.add(name)
                self._say(f"{name}: no row for {now - since:.0f} s: its line hangs; unplug the adapter")

    @property
    def all_stalled(self) -> bool:
        """Whether nothing moves any more."""
        return bool(self._every_s) and len(self.stalled) == len(self._every_s)


class ServiceManager:
    """Speaks to whoever started this process, if it wants to hear (NOTIFY_SOCKET, WATCHDOG_USEC)."""

    def __init__(self, clock: Clock, environment: Mapping[str, str] = os.environ) -> None:
        self._clock = clock
        self._address = environment.get("NOTIFY_SOCKET", "")
        self._alive_every = _watchdog_s(environment)
        self._alive = self._told = float("-inf")
        self._status = ""
        self._before: dict[str, Counter[str]] = {}
        self._now: dict[str, str] = {}
        self._ready = self._stopping = False

    def recording(self, rows: Rows, stalls: Stalls) -> None:
        """Called again and again while it records; the first call says that it is ready."""
        if self._stopping:
            return
        now = self._clock.monotonic()
        if not self._ready:
            self._ready = True
            self._send("READY=1")
        if self._alive_every and now - self._alive >= self._alive_every and not stalls.all_stalled:
            self._alive = now
            self._send("WATCHDOG=1")
        if now - self._told >= _STATUS_PAUSE_S:
            self._told = now
            status = "; ".join(self._point(name, counts, stalls) for name, counts in rows.items())
            if status != self._status:
                self._status = status
                self._send(f"STATUS={status}")

    def _point(self, name: str, counts: Counter[str], stalls: Stalls) -> str:
        """How a point does, with what keeps it from readings where no row since the last telling has any."""
        counts = counts.copy()  # a line's thread goes on counting
        before = self._before.get(name, Counter())
        # Taking up changed point files begins the counts again.
        new = counts - before if counts.total() >= before.total() else counts
        if new:
            cause = min(new, key=lambda status: (status == "skipped", -new[status]))
            self._now[name] = "" if new["ok"] else f", now {cause}"
        self._before[name] = counts
        hangs = ", hangs" if name in stalls.stalled else ""
        return f"{name} {counts['ok']} of {counts.total()} rows ok{self._now.get(name, '')}{hangs}"

    def stopping(self) -> None:
        """Say, once, that what is left is sealed and then the process ends."""
        if not self._stopping:
            self._stopping = True
            self._send("STOPPING=1\nSTATUS=sealing what is left")

    def _send(self, lines: str) -> None:
        """One datagram; a manager that does not take it must not keep the recorder waiting."""
        if not self._address or sys.platform == "win32":
            return
        # `@` stands for the zero byte that begins the name of an abstract socket.
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with suppress(OSError), socket(AF_UNIX, SOCK_DGRAM) as sending:
            sending.settimeout(0)
            sending.sendto(lines.encode(), address)


def _watchdog_s(environment: Mapping[str, str]) -> float | None:
    """Seconds between signs of life: half of what is allowed; None where nobody watches this process."""
    allowed, process = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID")
    if not allowed.isdecimal() or process not in (None, str(os.getpid())):
        return None
    return int(allowed) / 2e6
