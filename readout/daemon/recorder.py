"""The recorder: lines, journal, sealing and the ledger's start and stop, joined for one run of `log`.

The main thread seals and writes the ledger; each line has a thread of its own; the journal has one too.
Nothing that the disk does makes a line wait.
"""

import math
import threading
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from readout.bus.exchange import Line
from readout.clock import WaitingClock, iso
from readout.daemon.computer_clock import clock_now
from readout.daemon.identity import SERIAL_NUMBER, Identity
from readout.daemon.line.recorded import RecordedLine
from readout.daemon.line_access import LineAccess
from readout.daemon.line_worker import LineWorker
from readout.daemon.points import LIVE, PointToRecord
from readout.daemon.telling.happenings import Happenings
from readout.daemon.telling.renewed import renewals
from readout.daemon.telling.state_log import StateLog
from readout.errors import WrongUse
from readout.plan.schedule import Grid, look
from readout.poll.introduction import Introduction
from readout.sealing.history import last_identities
from readout.sealing.merge import merge_days
from readout.sealing.seal import column_types_of, seal_journal
from storage.archive import Archive
from storage.errors import ArchiveAbsent, StorageError
from storage.journal import JournalWriter, Row
from storage.ledger import Kind
from storage.reserve import room_on

Say = Callable[[str], None]
Watch = Callable[["Summary"], None]
Observe = Callable[[Sequence[Row]], None]
Connect = Callable[[Sequence[PointToRecord]], Line]

#: Seconds the meters of all lines have to introduce themselves before the first round.
INTRODUCTION_S = 5.0
#: How often the main thread looks for a stop, an event or a due sealing [s].
LOOK_S = 0.1
#: Seconds the journal has before a sealing to make its last rows durable; what is not is sealed next time.
_HOURLY_FLUSH_S = 5.0
#: Seconds the journal has at the end to make the last rows durable.
_LAST_FLUSH_S = 30.0


@dataclass(frozen=True, slots=True)
class Assignment:
    """What `log` was asked for. Times in ms; `for_ms` None means until stopped.

    `before`: what was recorded until now, where changed point files were taken up.
    """

    archive: Path
    points: tuple[PointToRecord, ...]
    for_ms: int | None
    seal_every_ms: int
    before: tuple[PointToRecord, ...] | None = None


@dataclass
class Summary:
    """What a run brought: rows per point and status, files sealed, and the ledger's end."""

    rows: dict[str, Counter[str]] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    unsealed: str | None = None  # why rows stayed in the journal, as a sentence
    lost: int = 0  # rows that the disk did not take before memory or the run ended
    refused: bool = False  # whether the disk refuses rows now; they wait in memory
    ledger_n: int = 0
    ledger_hash: str = ""


class Recorder:
    """One run. Make it, call `run` once.

    `connect` opens the line of the given points (all on one port); `say` takes lines for the person, from any
    thread; `watch` is shown the summary so far, several times a second, from the thread that called `run`;
    `observe` is given the rows that have just become durable, never one before, from the journal's thread,
    which waits for it. `look_s`: how often the thread that called `run` looks for what there is to do [s];
    the lines' threads look half as often.
    """

    def __init__(
        self,
        assignment: Assignment,
        connect: Connect,
        clock: WaitingClock,
        say: Say,
        watch: Watch = lambda _: None,
        observe: Observe | None = None,
        look_s: float = LOOK_S,
    ) -> None:
        self._assignment = assignment
        self._watch = watch
        self._observe = observe
        self._look_s = look_s
        self._connect = connect
        self._clock = clock
        self._say = say
        self._summary = Summary({point.name: Counter() for point in assignment.points})
        self._happenings = Happenings(clock, say)
        self._learned: deque[Callable[[], None]] = deque()
        self._halt = threading.Event()
        self._identities: dict[str, Identity] = {}
        self._merged_on: date | None = None

    def run(self, stop: threading.Event) -> Summary:
        """Record until `stop` is set or every point has had its rounds; then seal and say so in the ledger.

        Raises `PortError` for a port that is held or denied, `StorageError` for an archive that is not to be
        had, `WrongUse` for a map that would change the type of a column already kept.
        """
        # First: where a port is refused there is to be no new archive with nothing in it.
        accesses = self._open_lines()
        try:
            with Archive.open(self._assignment.archive, utc=self._clock.utc) as archive:
                self._run(archive, accesses, stop)
        finally:
            for access, _ in accesses:
                access.close()
        return self._summary

    def _run(
        self,
        archive: Archive,
        accesses: Sequence[tuple[LineAccess, list[PointToRecord]]],
        stop: threading.Event,
    ) -> None:
        self._refuse_changed_types(archive)
        self._know_meters(archive)
        self._tell_killed_before(archive)
        self._seal(archive)
        archive.ledger.append(Kind.STARTED, self._about())
        self._tell_changed_points(archive)
        writer = JournalWriter(
            archive.journal.path, on_change=self._happenings.writer, on_commit=self._observe
        )
        try:
            self._record(archive, writer, accesses, stop)
        finally:
            self._finish(archive, writer)
        tail = archive.ledger.tail
        self._summary.ledger_n, self._summary.ledger_hash = tail.n, tail.hash

    def _refuse_changed_types(self, archive: Archive) -> None:
        for point in self._assignment.points:
            types = column_types_of(point.record(Introduction({}, {})))
            clashes = archive.clashing_columns(point.name, LIVE, types)
            if clashes:
                told = ", ".join(map(str, clashes))
                raise WrongUse(
                    f"{point.map_file}: the map would change the type of columns that {archive.root} already "
                    f"keeps for {point.name}: {told}. Rename those readings, use another archive, "
                    "or have `pipeledger archive redecode` decode what is kept by the new map."
                )

    def _know_meters(self, archive: Archive) -> None:
        """Who must answer at each point: the point file's serial number, else the archive's last one."""
        points = self._assignment.points
        told = last_identities(archive, [point.name for point in points])
        for point in points:
            expected = point.point.meter.serial_number
            if expected is None:
                serial = told[point.name].get(SERIAL_NUMBER)
                expected = None if serial is None else str(serial)
            self._identities[point.name] = Identity(point.name, expected, self._happenings.note, self._say)

    def _open_lines(self) -> list[tuple[LineAccess, list[PointToRecord]]]:
        """Open every port; the ports of lines opened before are closed again where one is refused."""
        lines: dict[str, list[PointToRecord]] = {}
        for point in self._assignment.points:
            lines.setdefault(point.port, []).append(point)
        opened: list[tuple[LineAccess, list[PointToRecord]]] = []
        try:
            for port, points in lines.items():
                access = LineAccess(port, self._connector(points), self._clock, self._happenings.port(port))
                access.open()
                opened.append((access, points))
        except BaseException:
            for access, _ in opened:
                access.close()
            raise
        return opened

    def _connector(self, points: list[PointToRecord]) -> Callable[[], Line]:
        return lambda: self._connect(points)

    def _about(self) -> dict[str, Any]:
        return {
            "points": {
                point.name: {"port": point.port, "every_ms": point.every_ms, "map_sha256": point.map.sha256}
                for point in self._assignment.points
            },
            "clock_s": round(self._clock.utc(), 3),
        }

    def _tell_changed_points(self, archive: Archive) -> None:
        if self._assignment.before is not None:
            since = iso(self._clock.utc())
            for event in renewals(self._assignment.before, self._assignment.points, since):
                archive.ledger.append(Kind.EVENT, event)

    def _tell_killed_before(self, archive: Archive) -> None:
        last = archive.last_run
        if last is not None and last.kind == Kind.STARTED:
            archive.ledger.append(Kind.EVENT, {"what": "killed before", "started": last.time})
            self._say(
                f"{archive.root}: the recorder started at {last.time} did not end by itself; "
                "everything it had committed is kept"
            )

    def _record(
        self,
        archive: Archive,
        writer: JournalWriter,
        accesses: Sequence[tuple[LineAccess, list[PointToRecord]]],
        stop: threading.Event,
    ) -> None:
        workers = [self._worker(writer, access, points) for access, points in accesses]
        for worker in workers:
            worker.start()
        deadline = self._clock.monotonic() + INTRODUCTION_S
        for worker in workers:
            self._clock.wait(worker.introduced, deadline)
        began = look(self._clock)
        for worker in workers:
            worker.begin(began)
        seals = Grid(self._assignment.seal_every_ms)
        next_seal_ms = seals.after(began.utc_ms)
        while archive.is_in_place and not stop.is_set() and any(worker.is_alive() for worker in workers):
            if self._clock.wait(self._halt, self._clock.monotonic() + self._look_s):
                break
            self._write_pending(archive)
            self._summary.refused = writer.state.fault is not None
            self._watch(self._summary)
            now_ms = look(self._clock).utc_ms
            # A clock that was put back must not put the sealing off.
            if not now_ms < next_seal_ms <= seals.after(now_ms):
                next_seal_ms = seals.after(now_ms)
                self._note_losses(writer)
                if writer.state.fault is None:
                    writer.flush(_HOURLY_FLUSH_S)
                self._seal(archive)
        self._halt.set()
        for worker in workers:
            self._clock.wait(worker.ended, math.inf)
            worker.join()
        for worker in workers:
            if worker.failed is not None:
                raise worker.failed
        if not archive.is_in_place:
            raise ArchiveAbsent(
                archive.root,
                f"{archive.root} is no longer the folder that was recorded into: it was moved or removed, or "
                "a disk was mounted there. What was kept until now went with it; start the recorder again.",
            )

    def _worker(self, writer: JournalWriter, access: LineAccess, points: list[PointToRecord]) -> LineWorker:
        # What is learned is written by the main thread: no line waits for the disk.
        learners = [point.learner(self._clock.utc, self._say, self._learned.append) for point in points]
        line = RecordedLine(points, learners, self._identities, writer, self._clock, self._say)
        return LineWorker(
            access,
            [line.recorded(point, self._rounds(point)) for point in points],
            clock=self._clock,
            stop=self._halt,
            put=lambda row: self._put(writer, row),
            log=StateLog(self._say),
            on_step=self._happenings.step,
            late=self._happenings.late.note,
            failed=self._happenings.failed,
            introduce=line.introduce,
            renew=line.renew,
            nap_s=2 * self._look_s,
        )

    def _rounds(self, point: PointToRecord) -> int | None:
        if self._assignment.for_ms is None:
            return None
        return max(1, self._assignment.for_ms // point.every_ms)

    def _put(self, writer: JournalWriter, row: Row) -> None:
        writer.put(row)
        self._summary.rows[row.point][row.status] += 1

    def _finish(self, archive: Archive, writer: JournalWriter) -> None:
        if writer.state.fault is not None:
            archive.reserve.release()  # kept back so that what waits in memory can still be written
        if not writer.close(_LAST_FLUSH_S):
            state = writer.state
            self._say(f"{archive.root}: {state.waiting} rows could not be written. {state.fault}")
        self._note_losses(writer)
        if not archive.is_in_place:
            return  # the next recorder of that folder, wherever it is now, seals what its journal holds
        self._seal(archive)
        if (left := sum(archive.journal.count().values())) and self._summary.unsealed is None:
            self._say(f"{archive.root}: {left} rows stay in the journal until this computer's clock is set")
        self._write_pending(archive)
        rows = {name: counts.total() for name, counts in self._summary.rows.items()}
        try:
            archive.ledger.append(Kind.STOPPED, {"rows": rows, "requests": self._happenings.failed.untold()})
        except StorageError as error:
            self._say(
                f"{error} The ledger was not told of this end: the next recorder will say `killed before`."
            )
            self._summary.unsealed = self._summary.unsealed or str(error)

    def _seal(self, archive: Archive) -> None:
        """Seal what the journal holds, and once a UTC day join the files of days that have ended.

        A disk that refuses is told, and tried again at the next sealing. Joining needs room for a day twice:
        where little is left it waits.
        """
        self._happenings.sealing()
        today = datetime.fromtimestamp(self._clock.utc(), UTC).date()
        room = room_on(archive.root)
        self._happenings.room(archive, room)
        try:
            self._summary.files += [sealed.file for sealed in seal_journal(archive, clock_now(self._clock))]
            if self._merged_on != today and not room.is_scarce:
                self._joined(archive, [joined.file for joined in merge_days(archive, today)])
                self._merged_on = today
            self._summary.unsealed = None
            self._happenings.sealed(None)
        except StorageError as error:
            self._happenings.sealed(error)
            self._summary.unsealed = str(error)

    def _joined(self, archive: Archive, new: Sequence[str]) -> None:
        """Files took the place of others: the summary names those that are there, a few a day."""
        if new:
            still = [file for file in self._summary.files if (archive.root / file).exists()]
            self._summary.files = [*dict.fromkeys([*still, *new])]

    def _write_pending(self, archive: Archive) -> None:
        """Write what was learned of the meters, and what waits for the ledger."""
        while self._learned:
            self._learned.popleft()()
        self._happenings.write(archive)

    def _note_losses(self, writer: JournalWriter) -> None:
        self._summary.lost += self._happenings.losses(writer)
