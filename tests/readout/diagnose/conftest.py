"""A line with meters of different settings on it, and a clock that jumps: hours of searching in no time.

Each meter hears only what was sent with its own settings. Pieces arrive at their instants; reading waits for
them on the fake clock.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import pytest

from protocols.modbus.timing import SerialFormat


class JumpingClock:
    """Time passes only when somebody waits. Starts at 1000 s."""

    def __init__(self) -> None:
        self.at = 1000.0

    def monotonic(self) -> float:
        return self.at

    def utc(self) -> float:
        return 1777874400.0 + self.at

    def sleep_until(self, deadline: float) -> None:
        self.at = max(self.at, deadline)


#: What a meter says to a frame: pieces, each with seconds after the request's end.
Replies = Callable[[bytes, float], Sequence[tuple[float, bytes]]]


@dataclass
class Hall:
    """The line. `sent` has time, settings and bytes of every sending, `opened` the settings of each opening.

    `traffic` are bytes of others, by their instants, heard at any settings.
    """

    clock: JumpingClock
    meters: list[tuple[SerialFormat, Replies]] = field(default_factory=list)
    traffic: list[tuple[float, bytes]] = field(default_factory=list)
    sent: list[tuple[float, SerialFormat, bytes]] = field(default_factory=list)
    opened: list[SerialFormat] = field(default_factory=list)

    def open(self, fmt: SerialFormat) -> "HallPort":
        self.opened.append(fmt)
        return HallPort(self, fmt)


class HallPort:
    """One opening of the line."""

    name = "/dev/hollow-mere"
    notes: tuple[str, ...] = ()

    def __init__(self, hall: Hall, fmt: SerialFormat) -> None:
        self.hall, self.fmt = hall, fmt
        self.due = sorted(piece for piece in hall.traffic if piece[0] >= hall.clock.at)

    def write(self, data: bytes) -> None:
        now = self.hall.clock.at
        self.hall.sent.append((now, self.fmt, data))
        end = now + self.fmt.wire_time(len(data))
        for fmt, replies in self.hall.meters:
            if fmt == self.fmt:
                self.due += [(end + after, piece) for after, piece in replies(data, now)]
        self.due.sort()

    def read(self, wait: float) -> bytes:
        clock = self.hall.clock
        until = clock.at + wait
        if not self.due or self.due[0][0] > until:
            clock.sleep_until(until)
            return b""
        at, data = self.due.pop(0)
        clock.sleep_until(at)
        return data

    def reset(self) -> None:
        self.due.clear()

    def close(self) -> None:
        pass


@pytest.fixture
def hall() -> Hall:
    """An empty line."""
    return Hall(JumpingClock())
