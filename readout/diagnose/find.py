"""Which line settings and unit addresses answer: one-register reads, likely settings first.

A silent address costs the waiting time, so the whole is long, and its length is known beforehand. Replies
later than that are not lost: they name their unit. Whatever comes that is no fitting reply makes the last few
addresses be asked again, patiently.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from protocols.modbus.exceptions import describe
from protocols.modbus.overheard import Direction, frames_in
from protocols.modbus.requests import ReadRequest
from protocols.modbus.symptoms import Kind, Symptom, classify
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Outcome, Status
from readout.bus.trace import Trace
from readout.clock import Clock
from readout.diagnose.listen import Heard, Opener, listen
from readout.diagnose.settings import Stage
from readout.errors import PortError

#: Seconds for which each address may be silent. Slow meters are heard all the same, see `PATIENT`.
WAIT = 0.1
#: Seconds that an address gets when something came that cannot be understood.
PATIENT = 0.6
#: How many addresses before the present one may be those that answer late.
BACK = 3
#: Seconds listened at each of the settings before anything is sent, and at how many.
LISTEN, LISTEN_SETTINGS = 0.6, 4
#: The tables asked: holding registers (function 3), then, where nothing answered, inputs (function 4).
TABLES = (Table.HOLDING, Table.INPUT)
#: The register read. Whether it exists does not matter: a refusal is an answer.
REGISTER = 0
#: Seconds that a request costs besides the waiting, on an ordinary computer.
OVERHEAD = 0.0005


@dataclass(frozen=True, slots=True)
class Answer:
    """One unit that answered. `reply_s` [s]: from the request's end to the reply's; None if it came late."""

    unit: int
    format: SerialFormat
    function: int
    text: str
    reply_s: float | None


@dataclass(slots=True)
class Search:
    """What is known so far. `garbage` are replies that could not be understood, the setting with each."""

    answers: list[Answer] = field(default_factory=list)
    garbage: list[tuple[SerialFormat, int, Symptom]] = field(default_factory=list)
    asked: int = 0

    def has(self, unit: int, fmt: SerialFormat) -> bool:
        """Whether the unit has answered with these settings."""
        return any(answer.unit == unit and answer.format == fmt for answer in self.answers)


@dataclass(frozen=True, slots=True)
class Listening:
    """What was heard before anything was sent, one entry a setting; `opening` [s] is what opening takes."""

    heard: tuple[Heard, ...]
    opening: float

    @property
    def disturbing(self) -> Heard | None:
        """Somebody else's traffic, else a stuck line, where there is one."""
        used = [heard for heard in self.heard if heard.in_use or heard.stuck]
        return max(used, key=lambda heard: (heard.frames, heard.in_use, heard.total), default=None)


def listen_first(
    open_port: Opener, formats: Sequence[SerialFormat], clock: Clock, trace: Trace | None = None
) -> Listening:
    """Listen some 2.5 s at the likeliest baud rates: traffic at any of them is heard at all, as bytes."""
    by_rate = {fmt.baud_rate: fmt for fmt in reversed(formats)}
    rates = list(dict.fromkeys(fmt.baud_rate for fmt in formats))[:LISTEN_SETTINGS]
    heard, opening = [], 0.0
    for rate in rates:
        begun = clock.monotonic()
        port = open_port(by_rate[rate])
        opening += clock.monotonic() - begun
        try:
            seconds = LISTEN * LISTEN_SETTINGS / len(rates)
            heard.append(listen(port, by_rate[rate], clock, seconds, trace))
            if heard[-1].interrupted:
                raise KeyboardInterrupt
        finally:
            begun = clock.monotonic()
            port.close()
            opening += clock.monotonic() - begun
    return Listening(tuple(heard), opening / len(rates))


def expected_seconds(stages: Iterable[Stage], wait: float, opening: float) -> float:
    """How long the search takes if hardly anybody answers [s]: opening, silence, request and waiting."""
    request = ReadRequest(Table.HOLDING, REGISTER, 1).frame(1)
    return sum(
        opening
        + len(stage.units) * (wait + OVERHEAD + stage.format.silence + stage.format.wire_time(len(request)))
        for stage in stages
    )


class Finder:
    """Asks one stage after the other. `tell` is called before each address with the stage and the unit."""

    def __init__(
        self,
        open_port: Opener,
        clock: Clock,
        *,
        wait: float = WAIT,
        trace: Trace | None = None,
        tell: Callable[[Stage, int], None] = lambda _stage, _unit: None,
    ) -> None:
        self.search = Search()
        self._open = open_port
        self._clock = clock
        self._trace = trace
        self._tell = tell
        self._quick = Manners(reply_within=wait, late_within=0.0, repeats=0)
        self._patient = Manners(reply_within=max(wait, PATIENT), late_within=0.0, repeats=0)

    def run(self, stages: Iterable[Stage], table: Table, *, first_only: bool = False) -> Search:
        """Ask all of them; with `first_only` until one has answered. PortError where the port is lost."""
        for stage in stages:
            line = Line(self._open(stage.format), stage.format, self._clock, self._trace)
            try:
                for unit in stage.units:
                    self._tell(stage, unit)
                    self._ask(line, stage, unit, table)
                    if first_only and self.search.answers:
                        return self.search
            finally:
                line.close()
        return self.search

    def _ask(self, line: Line, stage: Stage, unit: int, table: Table) -> None:
        if not self.search.has(unit, stage.format) and self._once(line, stage, unit, table, self._quick):
            place = stage.units.index(unit)
            for earlier in stage.units[max(0, place - BACK) : place + 1]:
                if not self.search.has(earlier, stage.format):
                    self._once(line, stage, earlier, table, self._patient)

    def _once(self, line: Line, stage: Stage, unit: int, table: Table, manners: Manners) -> bool:
        """Ask once; True where something came that did not answer the question."""
        self.search.asked += 1
        outcome = line.transact(unit, ReadRequest(table, REGISTER, 1), manners)
        if outcome.status is Status.PORT_LOST:
            raise PortError("lost", outcome.text)
        if outcome.status in (Status.OK, Status.EXCEPTION):
            self._answered(stage, unit, outcome)
            return False
        if not outcome.received:
            return False
        frames, _ = frames_in(outcome.received)
        for frame in frames:
            if frame.direction is Direction.REPLY and not self.search.has(frame.unit, stage.format):
                text = "answered later than it was waited for"
                self.search.answers.append(Answer(frame.unit, stage.format, frame.function, text, None))
        symptom = classify(outcome.request, outcome.received, stage.format)
        if symptom.kind is Kind.ECHO_ONLY:
            return False
        if not frames:
            self.search.garbage.append((stage.format, unit, symptom))
        return True

    def _answered(self, stage: Stage, unit: int, outcome: Outcome) -> None:
        if outcome.exception is not None:
            text = describe(outcome.exception)
        else:
            text = f"register {REGISTER} holds {' '.join(map(str, outcome.words))}"
        took = outcome.ended - outcome.sent - stage.format.wire_time(len(outcome.request))
        function = outcome.request[1]
        self.search.answers.append(Answer(unit, stage.format, function, text, max(0.0, took)))
