"""A meter that refuses what its map promises, on a real line whose port and clock are played."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import pytest
from crccheck.crc import CrcModbus

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line, Manners
from readout.plan.plan import plan_round, polled_values, raw_name
from readout.plan.refusals import Refusals
from readout.poll.knowledge import Knowledge
from readout.poll.learning import Learner
from readout.poll.round import PolledPoint
from simulators.clock import FakeClock

FORMAT = SerialFormat(19200, "even", 8, 1)
#: Function codes of the specification's read requests (Application Protocol V1.1b3, 6.1 to 6.4).
HOLDING, INPUT = 3, 4


@dataclass
class RefusingMeter:
    """Unit 1, its registers by function code: each holds its own address plus 1000 × the function.

    `wholes` are stretches (first, behind) of which a read may not touch a part only: values of two registers.
    More than `most` registers at once: exception 03, which wins; a register it has not, or half a value:
    exception 02; with `silent` it says nothing instead. `down` makes it refuse or ignore everything.
    """

    registers: Mapping[int, Iterable[int]]
    wholes: Iterable[tuple[int, int]] = ()
    most: int = 125
    silent: bool = False
    down: bool = False
    refused: list[tuple[int, int, int]] = field(default_factory=list)  # function, start, count
    given: list[tuple[int, int, int]] = field(default_factory=list)

    def reply(self, frame: bytes) -> bytes | None:
        """Built from the specification's layout (6.3, 6.4) with a checksum of an independent library."""
        function, start, count = frame[1], int.from_bytes(frame[2:4]), int.from_bytes(frame[4:6])
        code = self._exception(function, start, count)
        if code:
            self.refused.append((function, start, count))
            return None if self.silent else rtu(bytes([1, function | 0x80, code]))
        self.given.append((function, start, count))
        words = [1000 * function + address for address in range(start, start + count)]
        return rtu(bytes([1, function, 2 * count]) + b"".join(word.to_bytes(2) for word in words))

    def _exception(self, function: int, start: int, count: int) -> int:
        asked = range(start, start + count)
        if self.down:
            return 2
        if function not in self.registers:
            return 1
        if count > self.most:
            return 3
        if not set(asked) <= set(self.registers[function]):
            return 2
        halves = any(0 < len(set(asked) & set(range(low, high))) < high - low for low, high in self.wholes)
        return 2 if halves else 0


def rtu(body: bytes) -> bytes:
    """With its checksum, low byte first."""
    return body + int(CrcModbus.calc(body)).to_bytes(2, "little")


class MeterPort:
    """A port with one meter behind it: its reply is there 5 ms after the request."""

    name, notes = "/dev/hollow-mere", ()

    def __init__(self, meter: RefusingMeter, clock: FakeClock) -> None:
        self.meter, self.clock = meter, clock
        self.waiting = b""

    def write(self, data: bytes) -> None:
        self.waiting = self.meter.reply(data) or b""

    def read(self, wait: float) -> bytes:
        self.clock.advance(min(wait, 0.005) if self.waiting else wait)
        came, self.waiting = self.waiting, b""
        return came

    def reset(self) -> None:
        self.waiting = b""

    def close(self) -> None:
        """Nothing is held."""


class Reading:
    """One run of a program that reads the meter: starts from what was `kept`, learns, and keeps."""

    def __init__(
        self,
        map_text: str,
        meter: RefusingMeter,
        kept: Refusals | None = None,
        clock: FakeClock | None = None,
    ) -> None:
        parsed = parse_map(map_text.encode(), "constructed.yaml")
        assert parsed.map is not None, parsed.faults
        self.map = register_map = parsed.map
        self.clock = clock or FakeClock()
        self.meter = meter
        self.said: list[str] = []
        self.kept = kept or Refusals()
        self.line = Line(MeterPort(meter, self.clock), FORMAT, self.clock)
        self.knowledge = Knowledge(self.clock.utc, self.kept, self._keep, self.said.append)
        self.learner = Learner(
            self.knowledge,
            lambda refusals: plan_round(
                register_map, polled_values(register_map), FORMAT, 1, refusals=refusals
            ),
        )
        self.point = PolledPoint("hall", 1, self.learner.plan, Manners())

    def _keep(self, refusals: Refusals) -> None:
        self.kept = refusals

    def round(self, *, first_only: bool = False) -> "Found":
        """One round by the plan in force, as the recorder makes them."""
        plan = self.learner.plan
        point = PolledPoint("hall", 1, plan, Manners())
        found = self.learner.poll(self.line, point, first_only=first_only)
        return Found(dict(zip(map(raw_name, plan.columns), found.words, strict=True)), found)

    def settle(self) -> "Found":
        """Rounds at once until all is known, as `read` makes them."""
        plan, found = self.learner.settle(self.line, self.point)
        return Found(dict(zip(map(raw_name, plan.columns), found.words, strict=True)), found)


@dataclass
class Found:
    """Raw words by column name, and the round."""

    words: dict[str, int | None]
    round: object


@pytest.fixture
def refusing() -> Callable[..., RefusingMeter]:
    """Makes a meter that refuses."""
    return RefusingMeter


@pytest.fixture
def reading() -> Callable[..., Reading]:
    """Makes a run of a program that reads such a meter."""
    return Reading
