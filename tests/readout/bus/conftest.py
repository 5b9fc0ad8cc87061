"""A clock that jumps, and a port that plays a script: the line is tested without waiting a moment.

Scripts are read line by line:

    > 01 03 00 00 00 02 C4 0B          these bytes must be sent next
    +20 < 01 83 02 C0 F1               20 ms after the line before is finished, these arrive together
    +20 <{1,3}/16 01 83 02 C0 F1       the same, but 1 byte, 16 ms, 3 bytes, 16 ms, the rest
    HANGUP                             the port is gone

What stands before the first request comes as soon as the port is open.
"""

import re
from collections.abc import Callable

import pytest

from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line
from readout.bus.trace import Trace
from readout.errors import PortError


class JumpingClock:
    """Time passes only when somebody waits. Starts at 1000 s."""

    def __init__(self) -> None:
        self.at = 1000.0

    def monotonic(self) -> float:
        return self.at

    def utc(self) -> float:
        return 1777874400.0 + self.at  # 2026-05-04T06:16:40Z at the start

    def sleep_until(self, deadline: float) -> None:
        self.at = max(self.at, deadline)


class ScriptedPort:
    """Plays a script; `sent` has the time and bytes of every sending, `arrived` of every piece delivered."""

    name = "/dev/hollow-mere"
    notes: tuple[str, ...] = ()

    def __init__(self, script: str, clock: JumpingClock, empty_reads: int = 0) -> None:
        self.clock = clock
        self.script = [line.strip() for line in script.strip().splitlines() if line.strip()]
        self.empty_reads = empty_reads
        self.due: list[tuple[float, bytes | None]] = []
        self.sent: list[tuple[float, bytes]] = []
        self.arrived: list[tuple[float, bytes]] = []
        self.closed = False
        self._schedule_until_asked(clock.at)

    @property
    def played(self) -> bool:
        return not self.script and not self.due

    def write(self, data: bytes) -> None:
        assert self.script, f"sent {data.hex(' ')}, and the script has ended"
        expected = self.script.pop(0)
        assert expected == "> " + data.hex(" ").upper()
        self.sent.append((self.clock.at, data))
        self._schedule_until_asked(self.clock.at)

    def _schedule_until_asked(self, at: float) -> None:
        while self.script and not self.script[0].startswith(">"):
            at = self._schedule(self.script.pop(0), at)

    def _schedule(self, line: str, at: float) -> float:
        if line == "HANGUP":
            self.due.append((at, None))
            return at
        found = re.fullmatch(r"\+(\d+(?:\.\d+)?) <(?:\{([\d,]+)\}/(\d+(?:\.\d+)?))? ([0-9A-F ]+)", line)
        assert found, line
        delay, cuts, gap, text = found.groups()
        data, at = bytes.fromhex(text), at + float(delay) / 1000
        for size in map(int, cuts.split(",")) if cuts else ():
            self.due.append((at, data[:size]))
            data, at = data[size:], at + float(gap) / 1000
        self.due.append((at, data))
        return at

    def read(self, wait: float) -> bytes:
        if self.empty_reads:
            self.empty_reads -= 1
            return b""
        until = self.clock.at + wait
        if not self.due or self.due[0][0] > until:
            self.clock.sleep_until(until)
            return b""
        at, data = self.due.pop(0)
        self.clock.sleep_until(at)
        if data is None:
            raise PortError("lost", f"{self.name} is gone: unplugged. See the adapter and its cable.")
        self.arrived.append((self.clock.at, data))
        return data

    def reset(self) -> None:
        self.due.clear()

    def close(self) -> None:
        self.closed = True


class Played:
    """A line on a scripted port, and both of its ends."""

    def __init__(self, script: str, fmt: SerialFormat, empty_reads: int, trace: Trace | None) -> None:
        self.clock = JumpingClock()
        self.port = ScriptedPort(script, self.clock, empty_reads)
        self.line = Line(self.port, fmt, self.clock, trace)


@pytest.fixture
def play() -> Callable[..., Played]:
    """`play(script)` makes a line at 9600 8N1 that goes by the script."""

    def make(
        script: str,
        fmt: SerialFormat | None = None,
        empty_reads: int = 0,
        trace: Trace | None = None,
    ) -> Played:
        return Played(script, fmt or SerialFormat(9600, "none"), empty_reads, trace)

    return make


@pytest.fixture
def clock() -> JumpingClock:
    """A clock of its own."""
    return JumpingClock()
