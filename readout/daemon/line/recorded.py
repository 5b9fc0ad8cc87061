"""The points of one line as they are now: what each meter told of itself, and the plan in force."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from readout.bus.exchange import Line, Manners
from readout.clock import Clock
from readout.daemon.computer_clock import EARLIEST
from readout.daemon.identity import SERIAL_NUMBER, Identity, Met
from readout.daemon.line.point import Introduced, RecordedPoint
from readout.daemon.points import PointToRecord
from readout.measuring_point.comparison.compare import Finding
from readout.measuring_point.comparison.telling import findings
from readout.meter.clock import ahead_s, kept_by
from readout.plan.schedule import Grid
from readout.poll.introduction import Introduction, introduce
from readout.poll.learning import Learner
from storage.journal import JournalWriter


class RecordedLine:
    """The points of one line as they are now: what each meter told of itself, and the plan in force."""

    def __init__(
        self,
        points: Sequence[PointToRecord],
        learners: Sequence[Learner],
        identities: Mapping[str, Identity],
        writer: JournalWriter,
        clock: Clock,
        say: Callable[[str], None],
    ) -> None:
        self._say = say
        self._compared: dict[str, list[Finding]] = {}
        self._points = {point.name: point for point in points}
        self._learners = {point.name: learner for point, learner in zip(points, learners, strict=True)}
        self._told = {point.name: Introduction({}, {}) for point in points}
        self._identities, self._writer, self._clock = identities, writer, clock

    def recorded(self, point: PointToRecord, rounds: int | None) -> RecordedPoint:
        """A point at the start, before its meter has told anything."""
        learner = self._learners[point.name]
        return RecordedPoint(
            polled=point.by(learner.plan).polled,
            grid=Grid(point.every_ms),
            plan=self._plan_id(point.name),
            rounds_left=rounds,
            ask=learner.poll,
            tells=point.tells,
            unmet=point.tells,
        )

    def introduce(self, line: Line, recorded: RecordedPoint, manners: Manners) -> Introduced:
        """Ask a meter who it is; what it tells goes with its next rows if it is the point's own."""
        name = recorded.polled.name
        point, learner = self._points[name], self._learners[name]
        found = introduce(
            line, point.map, point.format, point.unit_address, manners, self._clock,
            learner.knowledge,
        )  # fmt: skip
        if self._clock.utc() < EARLIEST:  # against a clock not set, the meter's is not known to be off
            found = replace(found, clock_offset=None)
        met = self._identities[name].judge(found)
        if met is Met.EXPECTED:
            self._told[name] = found
            self._compare(point, found)
            serial = found.meter.get(SERIAL_NUMBER)
            if serial is not None:
                learner.knowledge.identify(str(serial))
            learner.renew()
            self._plan_anew(recorded)
        return Introduced(met, found.status, found.text, found.failed)

    def _compare(self, point: PointToRecord, told: Introduction) -> None:
        """Say where the meter is set otherwise than the point file says; again only where that changed."""
        offset = told.clock_offset
        if offset is not None:
            offset -= ahead_s(kept_by(point.map), ZoneInfo(point.time_zone), self._clock.utc())
        found = findings(point.point, point.map, told.settings, offset, point.every_ms)
        if [one.setting for one in found] != [one.setting for one in self._compared.get(point.name, [])]:
            for one in found:
                self._say(f"{point.name}: {one}")
        self._compared[point.name] = found

    def renew(self, recorded: RecordedPoint) -> None:
        """Go over to the plan that the last round taught, if it taught one."""
        if recorded.polled.plan is not self._learners[recorded.polled.name].plan:
            self._plan_anew(recorded)

    def _plan_anew(self, recorded: RecordedPoint) -> None:
        name = recorded.polled.name
        recorded.polled = self._points[name].by(self._learners[name].plan).polled
        recorded.plan = self._plan_id(name)

    def _plan_id(self, name: str) -> str:
        """The journal's id of what is true of the rows from now on."""
        point = self._points[name].by(self._learners[name].plan)
        return self._writer.add_plan(point.record(self._told[name]).to_text())
