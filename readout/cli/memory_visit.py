"""One retrieval from meter to sealed files and ledger: what `memory fetch` does behind its options."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from readout.cli.output import counted
from readout.errors import FellShort, PortError, WrongUse

if TYPE_CHECKING:
    from protocols.log_memory.ways import Estimate
    from readout.cli.memory_meter import MemoryMeter
    from readout.clock import Clock
    from readout.retrieve.account import Retrieved
    from readout.retrieve.forecast import Progress
    from readout.retrieve.holdings import Holdings
    from readout.retrieve.retrieval import Verify
    from readout.sealing.memory.seal import Sealing
    from readout.sealing.record import Record
    from storage.archive import Archive, SealedFile
    from storage.journal.memory import MemoryJournal


@dataclass(frozen=True)
class Visit:
    """What a visit brought: the contract's document, and what a person is told."""

    document: dict[str, Any]
    retrieved: "Retrieved"
    sealing: "Sealing"
    ledger_n: int
    ledger_hash: str
    lost: str = ""  # why the port went, as a sentence


@dataclass
class Visitor:
    """Makes one visit. `show` and `live` are for a screen; `live_every_s` None: no readings meanwhile."""

    archive: "Archive"
    meter: "MemoryMeter"
    clock: "Clock"
    stop: threading.Event
    verify: "Verify"
    live_every_s: float | None
    say: Callable[[str], None]
    show: Callable[["Progress"], None]
    live: Callable[[str], None]

    def visit(self) -> Visit:
        """Retrieve, seal, and write it down; a lost port is told in what is returned.

        Raises `WrongUse` for a map that would change a column's type, `FellShort` where another meter
        answers, and `StorageError`.
        """
        from contextlib import closing

        from readout.retrieve.holdings import Holdings
        from storage.journal.memory import MemoryJournal

        record = self._record()
        self._refuse_changed_types(record)
        with closing(MemoryJournal.open(self.archive.journal.path)) as journal:
            name, serial = self.meter.point.name, self.meter.serial
            holdings = Holdings.load(self.archive.root, journal, name, serial)
            self._refuse_another_meter(holdings)
            plan = journal.add_plan(record.to_text())
            retrieved, lost = self._retrieve(holdings, plan)
            sealing = self._seal(journal, holdings)
        return self._written_down(retrieved, sealing, lost)

    def _record(self) -> "Record":
        """What is true of every record of this visit."""
        from protocols.register_map.model import Column
        from readout.clock import iso

        point, memory = self.meter.point, self.meter.memory
        plan = {
            "reached_by": type(memory.reached_by).__name__.removeprefix("By").lower(),
            "clock_measured": iso(self.meter.measured_utc_s),
        }
        return replace(
            point.record(self.meter.told),
            source="memory",
            columns=tuple(Column(None, word) for word in range(memory.record.registers)),
            plan=plan,
            clock_offset=self.meter.clock_offset_s,
        )

    def _refuse_changed_types(self, record: "Record") -> None:
        from readout.sealing.memory.table import schema_of
        from storage.archive import column_types

        types = column_types(schema_of(record))
        clashes = self.archive.clashing_columns(record.name, "memory", types)
        if clashes:
            told = ", ".join(map(str, clashes))
            raise WrongUse(
                f"{self.meter.point.map_file}: the map would change the type of columns that "
                f"{self.archive.root} already keeps for the memory of {record.name}: {told}. Rename those "
                "fields, or use another archive."
            )

    def _refuse_another_meter(self, holdings: "Holdings") -> None:
        """As when recording: another meter's records never get this point's name."""
        from readout.daemon.identity import SERIAL_NUMBER, Identity, Met
        from readout.sealing.history import last_identities
        from storage.ledger import Kind

        point = self.meter.point
        expected = point.point.meter.serial_number
        if expected is None:
            live = last_identities(self.archive, [point.name])[point.name].get(SERIAL_NUMBER)
            expected = None if live is None else str(live)
        if expected is None and holdings.sessions:
            expected = holdings.sessions[-1].serial
        said: list[str] = []

        def tell(event: dict[str, Any]) -> None:
            self.archive.ledger.append(Kind.EVENT, event)

        identity = Identity(point.name, expected, tell, said.append)
        if identity.judge(self.meter.told) is Met.OTHER:
            raise FellShort(said[0])

    def _retrieve(self, holdings: "Holdings", plan: str) -> "tuple[Retrieved, str]":
        from readout.retrieve.retrieval import Retrieval, Task, Watch

        meter = self.meter
        point = meter.point
        task = Task(
            point.name, meter.memory, point.map.wire, point.format, point.unit_address, point.polled.manners,
            plan, meter.interval_ms, meter.meter_now_ms, self.verify,
        )  # fmt: skip
        watch = Watch(
            self._forecast, self.show, self.say, self._read_live,
            float("inf") if self.live_every_s is None else self.live_every_s,
        )  # fmt: skip
        retrieval = Retrieval(meter.line, task, holdings, self.clock, self.stop, watch)
        try:
            return retrieval.run(), ""
        except PortError as error:
            return retrieval.result, str(error)

    def _forecast(self, forecast: "Estimate") -> None:
        from readout.cli.options import duration_words

        if forecast.records:
            takes = duration_words(max(1, round(forecast.seconds)) * 1000)
            self.say(
                f"{self.meter.point.name}: {counted(forecast.records, 'record')} to fetch, about {takes} at "
                f"{self.meter.point.format}"
            )

    def _read_live(self) -> None:
        """Current values between two windows, in a line of their own."""
        from readout.cli.read import Result
        from readout.cli.readings_text import line_of
        from readout.poll.round import poll

        point = self.meter.point
        if point.map.readings:
            found = poll(self.meter.line, point.polled)
            self.live(line_of(Result(point, self.clock.utc(), found, None)))

    # ---- what is kept

    def _seal(self, journal: "MemoryJournal", holdings: "Holdings") -> "Sealing":
        sealing = sealed_waiting(self.archive, journal, holdings)
        for session in holdings.sessions:
            stored = holdings.sealed.get(session.number)
            if stored is not None and session.serial == self.meter.serial:
                sealing.span(stored.utc_ms, stored.known)
        return sealing

    def _written_down(self, retrieved: "Retrieved", sealing: "Sealing", lost: str) -> Visit:
        from readout.clock import iso
        from storage.ledger import Kind

        first, last = (None if ms is None else iso(ms / 1000) for ms in (sealing.first_ms, sealing.last_ms))
        document = retrieved.as_json(sealing.flagged, first, last, self.meter.clock_offset_s)
        ended = lost or (retrieved.ended.text if retrieved.ended else "")
        line = {
            "point": self.meter.point.name,
            "serial_number": self.meter.serial,
            **document,
            "clock_measured": iso(self.meter.measured_utc_s),
            "ended": ended or ("interrupted" if retrieved.interrupted else None),
            "requests": retrieved.requests,
            "writes": retrieved.writes,
            "empty": retrieved.dummies,
            "changed": [[one.session, one.record] for one in retrieved.changed[:100]],
            "files": [file.file for file in sealing.files],
        }
        told = self.archive.ledger.append(Kind.RETRIEVED, line)
        return Visit(document, retrieved, sealing, told.n, told.hash, lost)


def sealed_waiting(archive: "Archive", journal: "MemoryJournal", holdings: "Holdings") -> "Sealing":
    """Seal the records of one point that wait in the journal, beside those that are sealed already."""
    from readout.sealing.memory.seal import Before, seal_memory
    from storage.ledger import read_file

    before = {
        number: Before(stored.numbers, stored.told_ms, stored.told)
        for number, stored in holdings.sealed.items()
    }
    told = read_file(archive.ledger.path, lambda line: "clock_offset_s" in line.content).lines
    return seal_memory(archive, journal, holdings.point, before, told)


def seal_all_waiting(archive: "Archive") -> "list[SealedFile]":
    """Seal what killed retrievals left in the journal, of all points."""
    from contextlib import closing

    from readout.retrieve.holdings import Holdings
    from storage.journal.memory import MemoryJournal

    files: list[SealedFile] = []
    with closing(MemoryJournal.open(archive.journal.path)) as journal:
        for point in journal.points_waiting():
            holdings = Holdings.load(archive.root, journal, point, None)
            files += sealed_waiting(archive, journal, holdings).files
    return files
