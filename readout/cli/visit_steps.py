"""The steps that both visits have: cautions, the port, who the meter is, its display, the log book."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readout.cli.output import counted, say
from readout.cli.visit_run import Run, Sub, carry_out

if TYPE_CHECKING:
    from readout.cli.at_meter import AtMeter
    from readout.daemon.points import PointToRecord
    from readout.measuring_point.comparison.compare import Finding
    from readout.poll.introduction import Introduction
    from readout.visit.live import Readings
    from readout.visit.recorder import Recorder
    from readout.visit.verdict import Check

#: A bad line must not end a visit before it has begun: so often is a meter asked who it is.
INTRODUCTIONS = 3


@dataclass(frozen=True)
class Held:
    """The memory at one look: whether it records, its records, the last interval [ms]; None: not told."""

    recording: bool | None
    records: int | None
    every_ms: int | None


@dataclass
class AtPipe:
    """A visit's files, and what the meter told when it was last asked."""

    file: Path
    archive: Path
    point: "PointToRecord"
    run: Run
    trace: Path | None
    told: "Introduction | None" = None

    @property
    def serial(self) -> str | None:
        """As the meter tells it, else as the point file says."""
        told = None if self.told is None else self.told.meter.get("serial_number")
        told = self.run.found("meter").get("serial_number") if told is None else told
        return self.point.point.meter.serial_number if told is None else str(told)

    def cautions(self) -> "Check":
        """What to beware of, once, and that somebody read it."""
        from readout.measuring_point.figures.place import find_place
        from readout.measuring_point.installation.cautions import cautions_for
        from readout.visit.answers import Key

        place = find_place(self.file).place
        told = [f"{one.when}: {one.text}" for one in cautions_for(None if place is None else place.fluid)]
        return self._read(told, Key.CAUTIONS, "read; a permit is at hand where the site asks for one")

    def _read(self, told: Sequence[str], key: Any, well: str) -> "Check":
        import textwrap

        from readout.cli.visit_run import WIDTH
        from readout.visit.verdict import go, no_go

        for text in told:
            for line in textwrap.wrap(text, WIDTH, initial_indent="   - ", subsequent_indent="     "):
                say(line)
        if self.run.agreed(key):
            return go(well)
        return no_go("not read, or no permit", "read them; who decides is the site, not this program")

    def removal(self) -> "Check":
        """The removal cautions in their order."""
        from readout.measuring_point.installation.cautions import REMOVAL
        from readout.visit.answers import Key

        told = [f"{number}. {text}" for number, text in enumerate(REMOVAL, 1)]
        return self._read(told, Key.REMOVAL, "read, in their order")

    def recorder(self) -> "Recorder | None":
        """The recorder that records this point into this archive now."""
        from readout.visit.recorder import recorder_of

        found = recorder_of(self.archive, self.point.name)
        return None if found is None or found.every_ms is None else found

    def port(self, to_read: Sequence[str]) -> "Check":
        """The line can be opened: it is there, and nobody else has it.

        `to_read` are the steps that have still to read the meter: without any, the archive's own recorder may
        have the line.
        """
        from readout.cli.at_meter import at_meter
        from readout.visit.recorder import in_use_check
        from readout.visit.verdict import go

        recorder = self.recorder()
        if recorder is not None:
            return in_use_check(recorder, self.point.point.line.port, self.archive.name, to_read)
        with at_meter(self.point, self.trace):
            return go(f"{self.point.point.line.port} at {self.point.format}, free", port=self.point.port)

    def meter(self) -> "Check":
        """It answers, and is the one of the point file."""
        from readout.cli.at_meter import at_meter, raise_untrusted
        from readout.meter.differences import is_another
        from readout.visit.verdict import go, no_go, to_decide

        with at_meter(self.point, self.trace) as at:
            self.told = self._introduced(at)
        raise_untrusted(self.told.status, self.told.text)
        expected, meter = self.point.point.meter.serial_number, dict(self.told.meter)
        if is_another(self.point.point, meter):
            return no_go(
                f"ANOTHER METER answers: serial number {self.serial} instead of {expected}",
                "see unit address and cable; if it was exchanged, correct the point file",
            )  # fmt: skip
        found = {"identity": meter, "serial_number": self.serial}
        said = f"{self.point.map.meter}, serial number {self.serial}, unit address {self.point.unit_address}"
        if meter.get("serial_number") is None or expected is None:
            lacks = "point file" if expected is None else "meter"
            advice = "compare the type plate, write serial_number into the point file, or accept it"
            return to_decide(f"the {lacks} tells no serial number: {said}", advice, **found)
        return go(said, **found)

    def _introduced(self, at: "AtMeter") -> "Introduction":
        from readout.bus.outcome import Status
        from readout.poll.introduction import introduce

        point = self.point
        for _ in range(INTRODUCTIONS):
            told = introduce(
                at.line, point.map, point.format, point.unit_address, point.polled.manners, at.clock
            )
            if told.status in (Status.OK, Status.PARTIAL):
                break
        return told

    def findings(self) -> "list[Finding]":
        """Where the meter is set otherwise than the point file says."""
        from readout.measuring_point.comparison.telling import findings

        told = {} if self.told is None else self.told.settings
        every_ms = None if self.point.map.log_memory is None else self.interval_ms()
        return findings(self.point.point, self.point.map, told, None, every_ms)

    def interval_ms(self) -> int | None:
        """The meter's setting `log_interval` as it told it."""
        from protocols.log_memory.state import UNIT_MS

        one = {} if self.told is None else self.told.settings.get("log_interval", {})
        value, unit = one.get("value"), one.get("unit") or "s"
        return round(value * UNIT_MS[unit]) if isinstance(value, int | float) and unit in UNIT_MS else None

    def readings(self, at: "AtMeter") -> "tuple[Readings, bool]":
        """One round: every reading, and whether all of it came."""
        from readout.bus.outcome import Status
        from readout.poll.readings import readings_of
        from readout.poll.round import poll

        found = poll(at.line, self.point.polled)
        told = readings_of(self.point.polled.plan, found, self.point.map.readings)
        return told, found.status is Status.OK

    def display(self) -> "Check":
        """What the display shows beside the wire of the same second."""
        from readout.cli.at_meter import at_meter
        from readout.clock import iso
        from readout.visit.answers import Key
        from readout.visit.live import display_check, displayed, seen_in
        from readout.visit.verdict import go

        if not self.point.map.readings:
            return go("the map has no readings to compare")
        said = self.run.ask(Key.DISPLAY, lambda text: displayed(text, self.point.map))
        with at_meter(self.point, self.trace) as at:
            rounds = [self.readings(at)[0]]
            utc = at.clock.utc()
            for _ in range(2):  # how far it moves within a second or so
                at.clock.sleep_until(at.clock.monotonic() + 0.3)
                rounds.append(self.readings(at)[0])
        check = display_check(said, rounds[0], self._moved(seen_in(rounds)), iso(utc))
        totals = {
            value.name: rounds[0][value.name]
            for value in self.point.map.readings
            if value.totaliser is not None
        }
        from dataclasses import replace

        return replace(check, found={**check.found, "totals": totals})

    def _moved(self, seen: dict[str, Any]) -> dict[str, Any]:
        """With what the ten minutes showed, where they were watched."""
        from readout.visit.live import Seen

        for name, one in self.run.found("values").get("values", {}).items():
            if one["mean"] is not None:
                seen[name] = Seen(one["low"], one["mean"], one["high"], one["unit"], {})
        return seen

    def log_book(self) -> "Check":
        """The note and the photographs of the visit, each once."""
        from readout.cli.at_meter import ready_archive
        from readout.clock import iso
        from readout.errors import WrongUse
        from readout.visit.answers import Key
        from readout.visit.kept import keep_once
        from readout.visit.verdict import go
        from storage.logbook.attachments import attach

        entries: list[tuple[str, Path | None]] = [
            (text, None) for text in self.run.answers.given.get(Key.NOTE, ())
        ]
        photos = [Path(text) for text in self.run.answers.given.get(Key.PHOTO, ())]
        for photo in photos:
            if not photo.is_file():
                raise WrongUse(f"{photo}: there is no such photograph; is the path right?")
        ready_archive(self.archive)
        for text, photograph in [*entries, *((f"photograph: {photo.name}", photo) for photo in photos)]:
            identity = {"id": self.run.standing.id, "entry": text}
            content = {
                "point": self.point.name, "text": text, "at": iso(self.run.clock.utc()), "visit": identity,
            }  # fmt: skip
            if photograph is not None:
                content["attached"] = attach(self.archive, photograph).as_told()
            keep_once(self.archive, content, identity)
        return go(f"{counted(len(entries), 'note')}, {counted(len(photos), 'photograph')}")

    # ---- the meter's memory

    def memory(self) -> "Held":
        """What the memory says of itself now; the clock is not looked at."""
        from readout.cli.at_meter import at_meter
        from readout.cli.memory_list import look
        from readout.cli.memory_meter import MemoryMeter
        from readout.poll.introduction import Introduction

        point, memory = self.point, self.point.map.log_memory
        assert memory is not None
        with at_meter(point, self.trace) as at:
            told = self.told or Introduction({}, {})
            meter = MemoryMeter(point, memory, at.line, told, self.serial, None, at.clock.utc(), None, None)
            state = look(meter, at.clock)
        sessions = state.all_sessions(memory)
        if sessions is None:
            return Held(state.recording, None, None)
        every_ms = sessions[-1].interval_ms if sessions else None
        return Held(state.recording, sum(one.records for one in sessions), every_ms)

    def clock_offset_s(self) -> float | None:
        """Meter minus computer [s], by watching the clock until it ticks; None where there is none."""
        from readout.cli.memory_list import memory_list
        from readout.cli.meter_show import meter_show

        command = meter_show if self.point.map.log_memory is None else memory_list
        found = carry_out(command, self.file, trace=self.trace).document["clock_offset_s"]
        return None if found is None else float(found)

    def fetch(self) -> Sub:
        """Everything in the meter's memory into the archive; shown, since it takes its time."""
        from readout.cli.memory_fetch import memory_fetch

        return carry_out(
            memory_fetch, self.file, show=True, archive=self.archive, verify="last", live="10s",
            trace=self.trace,
        )  # fmt: skip

    def stop(self) -> Sub:
        """Recording in the meter ended."""
        from readout.cli.memory_stop import memory_stop

        return carry_out(memory_stop, self.file, archive=self.archive, yes=True, trace=self.trace)

    def set(self, name: str, value: str) -> Sub:
        """A setting written, read back and in the ledger."""
        from readout.cli.meter_set import meter_set

        return carry_out(meter_set, self.file, name, value, archive=self.archive, yes=True, trace=self.trace)

    def may_write(self, setting: str) -> bool:
        """Whether this setting may be written from here."""
        from readout.visit.setup import is_ours

        writable = any(one.writable for one in self.point.map.settings if one.name == setting)
        return is_ours(self.point.point) and writable

    def may_command(self, word: str) -> bool:
        """Whether the meter may be told to start, stop or erase from here."""
        from readout.errors import WrongUse
        from readout.meter.commands import command_register
        from readout.visit.setup import is_ours

        if self.point.map.log_memory is None or not is_ours(self.point.point):
            return False
        try:
            command_register(self.point.map.log_memory, word)
        except WrongUse:
            return False
        return True
