"""One request and its reply through a fault plan, on a clock that is moved by hand.

Q0, A and the frames in the tests are those of a read of two holding registers of unit 1; the checksums were
computed by crccheck, not by this project.
"""

from collections.abc import Callable

import pytest
from crccheck.crc import CrcModbus

from simulators.clock import FakeClock
from simulators.faults import FaultPlayer, InnerPort, Timing, parse_plan
from simulators.line import Pace

Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
A = bytes.fromhex("01 03 04 11 11 22 22 37 B3")
#: A read of four registers, and its answer.
Q4 = bytes.fromhex("01 03 00 00 00 04 44 09")
FOUR = bytes.fromhex("01 03 08 00 01 00 02 00 03 00 04 0D 14")

TURNAROUND = 0.02  # s


def with_sum(text: str) -> bytes:
    data = bytes.fromhex(text)
    return data + CrcModbus.calc(data).to_bytes(2, "little")


def sum_fits(frame: bytes) -> bool:
    return CrcModbus.calc(frame[:-2]).to_bytes(2, "little") == frame[-2:]


class KnowsTwo:
    """A meter that knows two questions; `asked` is what reached it."""

    def __init__(self) -> None:
        self.asked: list[bytes] = []

    def reply(self, frame: bytes) -> bytes | None:
        self.asked.append(frame)
        return {Q0: A, Q4: FOUR}.get(frame)


class Rig:
    """A plan, a meter and a port; `ask` gives (milliseconds since the request, bytes) for each arrival."""

    def __init__(self, plan: str, timing: Timing = Timing(), turnaround: float = TURNAROUND) -> None:  # noqa: B008
        self.clock = FakeClock(monotonic=0.0)
        self.pace = Pace(0.0, 0.0, turnaround)
        self.player = FaultPlayer(parse_plan(plan), timing=timing, clock=self.clock, pace=self.pace)
        self.meter = KnowsTwo()
        self.port = InnerPort(
            self.player.before([self.meter]), self.clock, delivery=self.player.deliver, pace=self.pace
        )

    def ask(self, request: bytes = Q0, wait: float = 10.0) -> list[tuple[float, bytes]]:
        begun = self.clock.monotonic()
        self.port.write(request)
        found = []
        while data := self.port.read(begun + wait - self.clock.monotonic()):
            found.append((round((self.clock.monotonic() - begun) * 1000, 6), data))
        return found


@pytest.fixture
def rig() -> Callable[..., Rig]:
    return Rig
