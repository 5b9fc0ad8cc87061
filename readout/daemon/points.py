"""Point files made ready to be read and recorded: plan, manners, and what will be kept with every row."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from protocols.errors import RequestError
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import RegisterMap
from readout.bus.exchange import Manners
from readout.errors import WrongUse
from readout.measuring_point.load import LoadedPoint, load_point
from readout.measuring_point.model import MeasuringPoint
from readout.plan.plan import plan_round, polled_values
from readout.plan.schedule import SHORTEST_MS
from readout.plan.show import describe
from readout.poll.round import PolledPoint
from readout.sealing.record import Record

if TYPE_CHECKING:
    from readout.plan.plan import RoundPlan
    from readout.plan.refusals import Refusals
    from readout.poll.introduction import Introduction
    from readout.poll.learning import Learner

#: Interval of a point that says none [ms].
EVERY_MS = 1000
LIVE = "live"


@dataclass(frozen=True, slots=True)
class PointToRecord:
    """One point, ready. `every_ms` is its interval in ms, `port` and `format` its line."""

    point: MeasuringPoint
    map: RegisterMap
    map_file: Path
    port: str
    format: SerialFormat
    unit_address: int
    every_ms: int
    polled: PolledPoint

    @property
    def name(self) -> str:
        """The point's name, as in the archive."""
        return self.point.name

    @property
    def time_zone(self) -> str:
        """The site's time zone, for screens."""
        return self.point.site.time_zone

    @property
    def tells(self) -> bool:
        """Whether the map knows anything to ask the meter about itself."""
        return bool(self.map.identity or self.map.settings or self.map.told_conditions())

    def by(self, plan: "RoundPlan") -> "PointToRecord":
        """The same point, read by another plan."""
        return replace(self, polled=replace(self.polled, plan=plan))

    def plan(self, refusals: "Refusals") -> "RoundPlan":
        """The best plan for a meter that is known to refuse this."""
        values = polled_values(self.map)
        return plan_round(self.map, values, self.format, self.unit_address, refusals=refusals)

    def learner(
        self,
        utc: Callable[[], float],
        say: Callable[[str], None],
        later: Callable[[Callable[[], None]], None] = lambda act: act(),
    ) -> "Learner":
        """What asks this point's meter and learns what it refuses, beginning with what is remembered of it.

        `say` takes sentences for the person; `later` may put off what waits for the disk.
        """
        from readout.poll.knowledge import Knowledge
        from readout.poll.learning import Learner
        from readout.poll.remembered import Remembered

        def tell(text: str) -> None:
            say(f"{self.name}: {text}")

        serial = self.point.meter.serial_number
        memory = Remembered(self.map_file, self.map.sha256, self.name, serial, tell)

        def keep(refusals: "Refusals") -> None:
            later(lambda: memory.keep(refusals))

        return Learner(Knowledge(utc, memory.refusals, keep, tell, memory.recall), self.plan)

    def record(self, told: "Introduction") -> Record:
        """What is kept with this point's rows, with what the meter `told` of itself."""
        from importlib.metadata import version

        return Record(
            name=self.name,
            source=LIVE,
            columns=self.polled.plan.columns,
            map_text=self.map.text,
            map_sha256=self.map.sha256,
            point=self._about(),
            plan={**describe(self.polled.plan), "every_ms": self.every_ms},
            meter={"meter": self.map.meter, "unit_address": self.unit_address, "identity": dict(told.meter)},
            settings=dict(told.settings),
            line={"port": self.port, "format": str(self.format)},
            version=version("pipeledger"),
            clock_offset=told.clock_offset,
        )

    def _about(self) -> dict[str, Any]:
        site = self.point.site
        return {
            "site": site.name,
            "time_zone": site.time_zone,
            "role": self.point.role,
            "serial_number": self.point.meter.serial_number,
            "point_file": self.point.text,
            "job_file": self.point.job_text,
            "map_file": self.map_file.name,
        }


def load_points(files: Iterable[Path], every_ms: int | None) -> tuple[PointToRecord, ...]:
    """The points in their files, `every_ms` overriding their own intervals.

    Raises:
        WrongUse: a file has faults (all of them are told), two points share a name, two points on one port
            differ in its settings, or two on one port have the same unit address.
    """
    points: list[PointToRecord] = []
    told: list[str] = []
    for file in files:
        loaded = load_point(file)
        told += [str(fault) for fault in loaded.faults if loaded.point is None or fault.severity == "fault"]
        if loaded.point is None:
            continue
        own_ms = loaded.point.point.record_every
        interval = every_ms or (round(own_ms * 1000) if own_ms is not None else EVERY_MS)
        if interval < SHORTEST_MS:
            told.append(f"{file}: {interval} ms is too short an interval; the shortest is {SHORTEST_MS} ms")
            continue
        try:
            points.append(_ready(loaded.point, interval))
        except RequestError as error:
            told.append(f"{loaded.point.map_file}: {error}")
    told += _conflicts(points)
    if told:
        raise WrongUse("a point cannot be read as it is:\n" + "\n".join(dict.fromkeys(told)))
    return tuple(points)


def _ready(loaded: LoadedPoint, every_ms: int) -> PointToRecord:
    register_map: RegisterMap = loaded.map
    wire = register_map.wire
    plan = plan_round(register_map, polled_values(register_map), loaded.serial_format, loaded.unit_address)
    manners = Manners(
        reply_within=wire.reply_within,
        late_within=wire.late_within,
        pause=wire.pause,
        tolerate=wire.tolerate,
    )
    polled = PolledPoint(loaded.point.name, loaded.unit_address, plan, manners)
    return PointToRecord(
        loaded.point,
        register_map,
        loaded.map_file,
        loaded.port,
        loaded.serial_format,
        loaded.unit_address,
        every_ms,
        polled,
    )


def _conflicts(points: list[PointToRecord]) -> list[str]:
    told = []
    for index, point in enumerate(points):
        for other in points[:index]:
            if other.name == point.name:
                told.append(f"two points are named {point.name}; every point of an archive has its own name")
            if other.port != point.port:
                continue
            if other.format != point.format:
                told.append(
                    f"{other.name} and {point.name} share the port {point.port}, but one says {other.format} "
                    f"and the other {point.format}; one line has one setting"
                )
            if other.unit_address == point.unit_address:
                told.append(
                    f"{other.name} and {point.name} share the port {point.port} and the unit address "
                    f"{point.unit_address}; both would answer at once"
                )
    return told
