"""A hall of four lines with eight meters each in fast motion, and the truth about what its meters sent.

Not a test: loaded by test_week.py. The whole stack records, from the scheduler to sealed files; ports and
meters are simulated on one clock. The truth is kept at the meters: which letter of the fault plan met which
request, and what the meter had answered. Nothing of it comes from the recorder.
"""

import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line
from readout.daemon.points import PointToRecord, load_points
from readout.daemon.recorder import Assignment, Recorder, Summary
from readout.errors import PortError
from simulators.device.meter import SimulatedMeter
from simulators.faults import FaultPlayer, parse_plan
from simulators.faults.port import InnerPort
from simulators.line.pace import Pace
from simulators.plant.air import AirPlant
from simulators.plant.signals import PlantValues
from simulators.shared_clock import SharedClock

FORMAT = SerialFormat(19200, "even", 8, 1)
#: Replies arrive whole, as over a USB adapter that collects bytes for 16 ms.
PACE = replace(Pace.of(FORMAT, 0.01), chunk=0.016)
REGISTERS = 2
MAP = """\
register_map: 1
meter: constructed
serial: {baud_rate: 19200, parity: even}
readings:
  flow: {input: 0, type: float32, unit: m3/h, quantity: volume flow}
identity:
  serial_number: {holding: 100, type: uint32}
"""
POINT = """\
measuring_point: 1
name: {name}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml, unit_address: {unit}}}
line: {{port: {port}}}
"""
LINES, METERS = 4, 8
MINUTE = 60.0
#: Letters (docs/fault-plans.md) behind which the meter's reply still reaches a careful reader.
DELIVERED = frozenset(".lvpz")
#: Letters behind which nothing does: damaged, missing, cut, of another unit, another function, busy.
FAULTS = "xbcshnumvlpz!06"


@dataclass
class Truth:
    """What one meter was asked and sent, by minutes of UTC since `base` (minutes since 1970).

    `asked` counts requests of any kind, `sent` tells whether a reply to the reading got through, `words` is
    the latest of them, `late` whether that came after `reply_within`. `failed` counts requests
    that had no answer.
    """

    base: int
    minutes: int
    asked: np.ndarray = field(init=False)
    sent: np.ndarray = field(init=False)
    late: np.ndarray = field(init=False)
    words: np.ndarray = field(init=False)
    failed: int = 0

    def __post_init__(self) -> None:
        self.asked = np.zeros(self.minutes, np.uint16)
        self.sent, self.late = (np.zeros(self.minutes, bool) for _ in range(2))
        self.words = np.zeros((self.minutes, REGISTERS), np.uint16)


@dataclass
class Ran:
    """A span in which a recorder ran and the wall clock was not stepped: UTC [s], and where it began."""

    since: float
    monotonic: float
    until: float = float("inf")

    @classmethod
    def from_now(cls, clock: SharedClock) -> "Ran":
        """Until further notice."""
        return cls(clock.utc(), clock.monotonic())

    def end(self, clock: SharedClock) -> None:
        """It is over."""
        self.until = clock.utc()


class Witness:
    """Stands where the meters hear the line, and writes the truth of each. `dead`: spans of silence
    [monotonic s]."""

    def __init__(
        self, clock: SharedClock, minute: Callable[[], int], plan: str, seed: int, truths: dict[int, Truth]
    ) -> None:
        parsed, fault_plan = parse_map(MAP.encode(), "map.yaml"), parse_plan(plan)
        assert parsed.map is not None, parsed.faults
        self.dead: dict[int, list[tuple[float, float]]] = {unit: [] for unit in truths}
        self.exchanges = 0
        self._clock, self._minute, self._truths = clock, minute, truths
        self._meters = {
            unit: SimulatedMeter(
                parsed.map,
                unit_address=unit,
                clock=clock,
                source=PlantValues(AirPlant(seed=100 * seed + unit)),
            )
            for unit in truths
        }
        self._player = FaultPlayer(fault_plan, clock=clock, pace=PACE)
        self._steps = fault_plan.steps()  # the same as the player's, step by step
        self._front = self._player.before([_Mortal(self)])
        self._reading = {unit: ReadRequest(Table.INPUT, 0, REGISTERS).frame(unit) for unit in truths}
        self._read_in: dict[int, int] = {}
        self.deliver = self._player.deliver

    def is_dead(self, unit: int) -> bool:
        return within(self.dead[unit], self._clock.monotonic())

    def _answered(self, frame: bytes, minute: int) -> frozenset[str]:
        """Letters behind which a request has its answer: of what is asked behind a reading any will do."""
        unit = frame[0]
        if frame == self._reading[unit]:
            self._read_in[unit] = minute
            return DELIVERED
        return DELIVERED | {"!"} if self._read_in.get(unit) == minute else DELIVERED

    def reply(self, frame: bytes) -> bytes | None:
        """As a line's meters; notes what happened."""
        step = next(self._steps)
        answer = self._front.reply(frame)
        self.exchanges += 1
        unit = frame[0]
        truth = self._truths[unit]
        minute = self._minute() - truth.base
        truth.asked[minute] += 1
        letters = {fault.letter for fault in step} or {"."}
        truth.failed += not letters <= self._answered(frame, minute) or answer is None
        if answer is not None and letters <= DELIVERED and frame == self._reading[unit]:
            truth.sent[minute], truth.late[minute] = True, "v" in letters
            truth.words[minute] = np.frombuffer(answer[3:-2], ">u2")
        return answer


class _Mortal:
    """All meters of a line, the dead ones silent."""

    def __init__(self, witness: Witness) -> None:
        self._witness = witness

    def reply(self, frame: bytes) -> bytes | None:
        witness, unit = self._witness, frame[0]
        return None if witness.is_dead(unit) else witness._meters[unit].reply(frame)


class Hall:
    """Lines, meters, clock and archive; `begin` is the simulated UTC [s] at which it starts."""

    def __init__(self, folder: Path, archive: Path, begin: float, minutes: int, share: float) -> None:
        self.clock = SharedClock(threads=1, utc=begin)
        self._began = self.clock.monotonic()
        self.archive, self.begin, self.minutes = archive, begin, minutes
        self.said: list[str] = []
        self.ran: list[Ran] = []
        self._waited_for = float("inf"), 0
        self.unplugged: dict[str, list[tuple[float, float]]] = {f"line-{n}": [] for n in range(LINES)}
        self.truths: dict[str, Truth] = {}
        self.witnesses: dict[str, Witness] = {}
        self.ports: dict[str, InnerPort] = {}
        self.points = self._points(folder)
        for n, name in enumerate(self.unplugged):
            mine = {unit: Truth(int(begin // MINUTE), minutes) for unit in range(1, METERS + 1)}
            self.truths |= {point_name(name, unit): truth for unit, truth in mine.items()}
            witness = Witness(self.clock, self.minute, f"random:{n}:share={share},faults={FAULTS}", n, mine)
            self.witnesses[name] = witness
            self.ports[name] = InnerPort(
                witness, self.clock, delivery=witness.deliver, pace=PACE, name=name,
                gone=lambda text: PortError("lost", text),
            )  # fmt: skip

    def _points(self, folder: Path) -> tuple[PointToRecord, ...]:
        (folder / "map.yaml").write_text(MAP)
        files = []
        for port in self.unplugged:
            for unit in range(1, METERS + 1):
                name = point_name(port, unit)
                files.append(folder / f"{name}.yaml")
                files[-1].write_text(POINT.format(name=name, unit=unit, port=port))
        return load_points(files, round(MINUTE * 1000))

    # ---- what happens to it, all at minutes since the begin

    def at(self, minute: float, act: Callable[[], object]) -> None:
        """Have something happen."""
        self.clock.at(self._began + minute * MINUTE, act)

    def dies(self, port: str, unit: int, minute: float, minutes: float) -> None:
        """A meter is silent for so long."""
        self.witnesses[port].dead[unit].append(self._span(minute, minutes))

    def unplug(self, port: str, minute: float, minutes: float) -> None:
        """A line's adapter is pulled out for so long."""
        self.at(minute, self.ports[port].unplug)
        self.unplugged[port].append(self._span(minute, minutes))

    def _span(self, minute: float, minutes: float) -> tuple[float, float]:
        since = self._began + minute * MINUTE
        return since, since + minutes * MINUTE

    def step(self, minute: float, seconds: float) -> None:
        """The computer's wall clock is set. The round that is waited for then keeps its time and its name."""

        def act() -> None:
            due = int(self.clock.utc() // MINUTE) + 1
            self.ran[-1].until, wait = due * MINUTE, due * MINUTE - self.clock.utc()
            self._waited_for = self.clock.monotonic() + wait, due
            self.clock.step_utc(seconds)
            self.ran.append(Ran(self.clock.utc() + wait, self.clock.monotonic() + wait))

        self.at(minute, act)

    # ---- recording

    def connect(self, points: Sequence[PointToRecord]) -> Line:
        """Open a line's port, if it is there."""
        port = points[0].port
        if within(self.unplugged[port], self.clock.monotonic()):
            raise PortError("absent", f"{port} is not there.")
        self.ports[port].plug()
        return Line(self.ports[port], FORMAT, self.clock)

    def record(self, since: float, until: float, look_s: float = 5.0) -> Summary:
        """One run of the recorder, from `since` until `until` [minutes since the begin]."""
        self.clock.sleep_until(self._began + since * MINUTE)
        stop = threading.Event()

        def end() -> None:
            self.ran[-1].end(self.clock)
            stop.set()

        self.clock.at(self._began + until * MINUTE, end)
        self.clock.gather(LINES + 1)
        self.ran.append(Ran.from_now(self.clock))
        assignment = Assignment(self.archive, self.points, None, 3_600_000)
        try:
            return Recorder(assignment, self.connect, self.clock, self.said.append, look_s=look_s).run(stop)
        finally:
            self.clock.gather(1)

    # ---- the truth

    def minute(self) -> int:
        """Which due time is being served now, in minutes since 1970."""
        since, due = self._waited_for
        return due if -1.0 <= self.clock.monotonic() - since < 20.0 else int(self.clock.utc() // MINUTE)

    def scheduled(self) -> dict[int, float]:
        """Due minutes since the begin's, each with its monotonic instant [s].

        Every whole minute that the wall clock passed while a recorder ran; one that it passed twice counts
        when it came first.
        """
        base, found = int(self.begin // MINUTE), dict[int, float]()
        for ran in self.ran:
            for minute in range(int(-(-ran.since // MINUTE)), int(ran.until // MINUTE) + 1):
                found.setdefault(minute - base, ran.monotonic + minute * MINUTE - ran.since)
        return found


def point_name(port: str, unit: int) -> str:
    """`line-1-meter-3`."""
    return f"{port}-meter-{unit}"


def within(spans: Iterable[tuple[float, float]], moment: float) -> bool:
    """Whether a moment lies in one of the spans."""
    return any(since <= moment < until for since, until in spans)
