"""A hall of two simulated meters whose words never stay, behind faults, on a clock that jumps."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from random import Random
from types import SimpleNamespace

import minimalmodbus
import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Outcome, Status
from readout.errors import PortError
from simulators.faults import FaultPlayer, InnerPort, RestlessMeter
from simulators.line.pace import Pace

FMT = SerialFormat(19200, "even")
PACE = Pace.of(FMT, 0.02)
UNITS = (1, 2)
#: Reads of seven lengths in two tables, some of the same length, as a map's plan has them.
READS = (
    ReadRequest(Table.HOLDING, 0, 2),
    ReadRequest(Table.HOLDING, 2, 2),
    ReadRequest(Table.HOLDING, 20, 1),
    ReadRequest(Table.HOLDING, 10, 5),
    ReadRequest(Table.HOLDING, 40, 20),
    ReadRequest(Table.INPUT, 4, 2),
    ReadRequest(Table.INPUT, 60, 60),
)


class BareClock:
    """Time passes only when somebody waits; nothing is kept, so that a million reads fit."""

    def __init__(self) -> None:
        self.at = 1000.0

    def monotonic(self) -> float:
        return self.at

    def utc(self) -> float:
        return 1777874400.0 + self.at

    def sleep_until(self, deadline: float) -> None:
        self.at = max(self.at, deadline)


@dataclass
class Tally:
    """What came of many reads: `wrong` values that were not the meter's for those registers at that time."""

    reads: int = 0
    values: int = 0
    wrong: list[Outcome] = field(default_factory=list)
    longest: float = 0.0


class FaultyHall:
    """Two meters behind a plan's faults, and the line that reads them. `tally`: what came of all reads."""

    reads = READS

    def __init__(self, plan, units: Iterable[int] = UNITS) -> None:
        self.clock = BareClock()
        self.player = FaultPlayer(plan, clock=self.clock, pace=PACE)
        self.port = InnerPort(
            self.player.before([RestlessMeter(unit) for unit in units]),
            self.clock,
            delivery=self.player.deliver,
            pace=PACE,
            gone=lambda text: PortError("lost", text),
        )
        self.line = Line(self.port, FMT, self.clock)
        self.tally = Tally()

    def is_true(self, outcome: Outcome, since: float) -> bool:
        """No value, or the meter's own for that very request since that instant."""
        return outcome.status is not Status.OK or self.port.truth.held(
            outcome.request, outcome.words, since, outcome.ended
        )

    def round(
        self, asked: Sequence[tuple[int, ReadRequest]], manners: Manners, idle: float = 0.06
    ) -> list[Outcome]:
        """One round, listened to for `idle` seconds behind it."""
        began, outcomes, tally = [], [], self.tally
        for unit, request in asked:
            began.append(self.clock.at)
            outcomes.append(self.line.read(unit, request, manners))
            tally.longest = max(tally.longest, self.clock.at - began[-1])
        final = list(self.line.settle(outcomes, self.clock.at + idle))
        tally.reads += len(final)
        tally.values += sum(outcome.status is Status.OK for outcome in final)
        tally.wrong += [
            outcome for outcome, since in zip(final, began, strict=True) if not self.is_true(outcome, since)
        ]
        return final

    def many(self, reads: int, seed: int, manners: Manners) -> Tally:
        """Rounds of one to five reads, some back to back, some with idle time between."""
        random = Random(seed)
        while self.tally.reads < reads:
            asked = [(random.choice(UNITS), random.choice(READS)) for _ in range(random.randint(1, 5))]
            self.round(asked, manners)
            self.clock.at += random.choice((0.0, 0.0, 0.1, 1.0))
        return self.tally


@pytest.fixture
def faulty_hall(monkeypatch: pytest.MonkeyPatch) -> Callable[..., FaultyHall]:
    """`faulty_hall(plan)`; the second reader of each reply is kept from really waiting."""
    clock = SimpleNamespace(monotonic=BareClock().monotonic, sleep=lambda _seconds: None)
    monkeypatch.setattr(minimalmodbus, "time", clock)
    return FaultyHall


@pytest.fixture
def all_reads() -> Sequence[ReadRequest]:
    """The reads of the hall's meters."""
    return READS
