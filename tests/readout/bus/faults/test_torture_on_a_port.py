"""Torture on a pseudo-terminal, in real time: 30 ms to the first byte of a reply, 100 ms for a late one."""

import time
from collections.abc import Iterator
from random import Random

import pytest

from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock
from simulators.faults import Answer, FaultPlayer, RestlessMeter, Timing, Truth, parse_plan
from simulators.line import SimulatedLine
from simulators.line.pace import Pace

FMT = SerialFormat(115200, "none")
PACE = Pace.of(FMT, 0.002)
#: Two units, so that replies can also come from the other one.
UNITS = (1, 2)
MANNERS = Manners(reply_within=0.03, late_within=0.1, busy_within=0.0)


class Remembering(RestlessMeter):
    """A meter whose answers are kept with their times."""

    def __init__(self, unit: int, truth: Truth) -> None:
        super().__init__(unit)
        self._truth = truth

    def reply(self, frame: bytes) -> bytes | None:
        found = super().reply(frame)
        if found is not None:
            self._truth.answers.append(Answer(time.monotonic(), frame, found))
        return found


@pytest.fixture
def tortured() -> Iterator[tuple[Line, Truth]]:
    """A line with two meters, one exchange in five of which goes wrong, and what the meters said."""
    truth = Truth()
    player = FaultPlayer(
        parse_plan("random:11:share=0.2"), timing=Timing(MANNERS.reply_within, MANNERS.late_within), pace=PACE
    )
    meters = [Remembering(unit, truth) for unit in UNITS]
    with SimulatedLine([player.before(meters)], delivery=player.deliver, pace=PACE) as simulated:
        line = Line(open_port(simulated.port, FMT), FMT, SystemClock())
        yield line, truth
        line.close()


@pytest.mark.parametrize("reads", [240, pytest.param(10_000, marks=pytest.mark.long)])
def test_no_wrong_value_and_no_hang(tortured, all_reads, reads: int) -> None:
    line, truth = tortured
    random, good, slowest = Random(3), 0, 0.0
    for _ in range(reads // 4):
        began, outcomes = [], []
        for _ in range(4):
            began.append(time.monotonic())
            outcomes.append(line.read(random.choice(UNITS), random.choice(all_reads), MANNERS))
            slowest = max(slowest, time.monotonic() - began[-1])
        for since, outcome in zip(began, line.settle(outcomes, time.monotonic() + 0.06), strict=True):
            if outcome.status is Status.OK:
                assert truth.held(outcome.request, outcome.words, since, outcome.ended), outcome
                good += 1
    assert good > 0.8 * reads
    assert slowest < 3
