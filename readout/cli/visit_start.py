"""`visit start`: the guided run at the pipe before a measurement; ends in go or no-go, and a tag."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.at_meter import PointFile
from readout.cli.options import AsJson, TraceFile, milliseconds
from readout.cli.visit_steps import AtPipe

if TYPE_CHECKING:
    from collections.abc import Mapping

    from readout.visit.live import Seen
    from readout.visit.verdict import Check

STEPS = (
    "cautions", "point", "port", "meter", "settings", "memory", "room", "clock", "supply", "values",
    "display", "recording", "log_book",
)  # fmt: skip
#: Steps that read the meter, and those that do so only where the map has a memory.
_READ_METER = ("meter", "settings", "clock", "supply", "values", "display")
_READ_MEMORY = ("memory", "room", "recording")
#: How long the values are watched where nobody says otherwise, and how often they are read.
WATCHED, EVERY_S = "10min", 1.0
#: The first record of a recording just started is waited for where its interval is no longer than this [s].
AWAITED_S = 20.0

IntoArchive = Annotated[
    Path, typer.Option("--archive", metavar="DIR", help="The archive's folder; made where it is absent.")
]
AnswerOptions = Annotated[
    list[str] | None,
    typer.Option("--answer", metavar="KEY=VALUE", help="An answer, instead of typing it; repeatable."),
]
AnswersFile = Annotated[
    Path | None, typer.Option("--answers", metavar="FILE", help="A file of answers, one `key: value` a line.")
]
Anew = Annotated[bool, typer.Option("--anew", help="Begin again, whatever was done before.")]


def visit_start(
    point: PointFile,
    *,
    archive: IntoArchive,
    answer: AnswerOptions = None,
    answers: AnswersFile = None,
    anew: Anew = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Check everything at the pipe, fetch what the meter still holds, start its recording, print a tag.

    One step after the other: go, no-go or to be decided, with the reason and what to try. Cut off anywhere,
    the same command goes on from there, and nothing is done twice. A customer's meter is never written to.
    Without a terminal every answer comes from --answer or --answers; docs/visits.md lists them. Exit status 0
    go, 1 no-go, 2 an answer lacks, 3 port or archive not to be had, 4 nothing could be trusted.
    """
    from readout.cli.visit_end import STEPS as END
    from readout.cli.visit_whole import Wanted, whole
    from readout.visit.answers import Key, Visit

    wanted = Wanted(
        Visit.START, point, archive, tuple(answer or ()), answers, trace, (Key.CAUTIONS, Key.RETURN), END
    )
    return whole(wanted, STEPS, lambda at: _Start(at).run(), anew=anew, as_json=as_json)


@dataclass
class _Start:
    """The steps that only the start has."""

    at: AtPipe

    def run(self) -> None:
        """All of them, in their order; who answers and whether it is the right meter is seen each time."""
        at = self.at
        at.run.step("cautions", at.cautions)
        at.run.step("point", self._point, again=True)
        memory = () if at.point.map.log_memory is None else _READ_MEMORY
        to_read = at.run.left((*_READ_METER, *memory))
        at.run.step("port", lambda: at.port(to_read), again=True)
        at.run.step("meter", at.meter, again=at.recorder() is None)
        at.run.step("settings", self._settings)
        at.run.step("memory", self._memory)
        at.run.step("room", self._room)
        at.run.step("clock", self._clock)
        at.run.step("supply", self._supply)
        at.run.step("values", self._values)
        at.run.step("display", at.display)
        at.run.step("recording", self._recording, again=at.point.map.log_memory is None)
        at.run.step("log_book", at.log_book)

    def _point(self) -> "Check":
        """Point file and map: warnings, and whether the expected flows are in the meter's range."""
        from readout.errors import WrongUse
        from readout.measuring_point.figures.figures import figures_of
        from readout.measuring_point.figures.place import find_place
        from readout.measuring_point.flow.expected import Fit
        from readout.visit.verdict import no_go, to_decide, together

        found = find_place(self.at.file)
        if found.place is None:
            raise WrongUse("; ".join(str(fault) for fault in found.faults))
        advice = "correct the point file (`point show` has every figure), or accept it"
        checks = [
            to_decide(f"{Path(fault.file).name}:{fault.line}: {fault.fault}", advice)
            for fault in found.faults
        ]
        for one in figures_of(found.place).expected:
            if one.fit is not None and one.fit.fit is Fit.ABOVE:
                checks.append(no_go(f"at {one.said} {one.fit.says}", "a wider pipe, or another meter"))
            elif one.fit is not None and one.fit.fit is Fit.BELOW:
                checks.append(to_decide(f"at {one.said} {one.fit.says}", advice))
        bore = found.place.bore
        well = f"{self.at.point.name}, map of {self.at.point.map.meter}"
        return together(checks, well if bore is None else f"{well}, bore {float(bore.inside_mm):.4g} mm")

    def _settings(self) -> "Check":
        from readout.visit.setup import settings_check

        at = self.at
        told = {} if at.told is None else at.told.settings
        writable = [one.name for one in at.point.map.settings if one.writable]
        return settings_check(at.point.point, at.findings(), told, writable)

    def _memory(self) -> "Check":
        """What is in the meter comes into the archive before anything else happens to it."""
        from readout.visit.verdict import go, no_go

        at = self.at
        if at.point.map.log_memory is None:
            return go("the map describes no memory: rows are kept by `log`")
        before = at.memory()
        if before.records == 0:
            return go("empty", records=0)
        done = at.fetch()
        figures = {"fetched": done.document}
        if done.status:
            advice = "run it again: it goes on from there; `memory list POINT` shows what is in the meter"
            return no_go("not everything came out of it", advice, status=done.status, **figures)
        new, known = done.document["records_new"], done.document["records_known"]
        return go(f"{new} records fetched, {known} were in the archive already", **figures)

    def _room(self) -> "Check":
        """Interval and free places against the planned return."""
        from readout.plan.recording import LOG_INTERVAL, intervals_of, setting_of
        from readout.visit.answers import Key
        from readout.visit.room import room_check
        from readout.visit.verdict import go, no_go

        at, memory = self.at, self.at.point.map.log_memory
        until_ms = self._until_ms()
        needed_s = until_ms / 1000 - at.run.clock.utc()
        if memory is None:
            return go("rows are kept by `log`: see the computer's disk and supply", until_ms=until_ms)
        wanted = at.run.answers.one(Key.INTERVAL)
        interval_ms = at.interval_ms() if wanted is None else milliseconds(wanted, Key.INTERVAL)
        trouble = self._made_ready(interval_ms)
        if trouble is not None:
            return trouble
        state = at.memory()
        interval_ms = state.every_ms if interval_ms is None else interval_ms
        intervals = intervals_of(setting_of(at.point.map.settings, LOG_INTERVAL))
        check = room_check(memory, intervals, state.records, interval_ms, needed_s)
        check = replace(check, found={**check.found, "until_ms": until_ms})
        if not check.is_go or interval_ms == at.interval_ms() or interval_ms is None:
            return check
        if not at.may_write(LOG_INTERVAL):
            return no_go(f"{LOG_INTERVAL} cannot be set from here", "set it at the meter, and answer it so")
        done = at.set(LOG_INTERVAL, f"{interval_ms / 1000:g} s")
        return check if not done.status else no_go(done.last, "set it at the meter")

    def _made_ready(self, interval_ms: int | None) -> "Check | None":
        """Stopped and emptied, where that was answered; why not, where it could not be."""
        from readout.cli.memory_erase import memory_erase
        from readout.cli.visit_run import carry_out
        from readout.meter.commands import ERASE, IDLE
        from readout.visit.answers import Key, is_yes
        from readout.visit.verdict import no_go

        at = self.at
        stop, erase = at.run.answers.one(Key.STOP), at.run.answers.one(Key.ERASE)
        erases = erase is not None and erase.lower() != "no"
        running = at.memory().recording
        if running and (erases or interval_ms != at.interval_ms()) and (stop is None or not is_yes(stop)):
            return no_go("the meter is recording, and must not be for this", "answer stop: yes")
        if running and stop is not None and is_yes(stop):
            if not at.may_command(IDLE):
                return no_go(
                    "recording cannot be stopped from here", "stop it at the meter, or ask its owner"
                )
            at.stop()
            if at.fetch().status:
                return no_go("not everything came out of the memory", "run it again: it goes on from there")
        if not erases or at.memory().records == 0:
            return None
        if not at.may_command(ERASE):
            return no_go("the memory cannot be emptied from here", "empty it at the meter, or ask its owner")
        done = carry_out(memory_erase, at.file, archive=at.archive, serial=erase, yes=True, trace=at.trace)
        return None if not done.status else no_go(done.last, "run it again")

    def _until_ms(self) -> int:
        """The planned return [ms since 1970]."""
        from readout.cli.moments import moment_ms
        from readout.errors import WrongUse
        from readout.visit.answers import Key

        def to_come(text: str) -> int:
            found = moment_ms(text, self.at.point.time_zone, Key.RETURN)
            if found <= self.at.run.clock.utc() * 1000:
                raise WrongUse(f"{Key.RETURN} {text}: that is over; write a time to come")
            return found

        return self.at.run.ask(Key.RETURN, to_come)

    def _clock(self) -> "Check":
        from readout.retrieve.meter_clock import clock_of
        from readout.visit.answers import Key
        from readout.visit.setup import clock_check
        from readout.visit.verdict import no_go

        at = self.at
        has = clock_of(at.point.map) is not None
        can_set = at.may_write("clock")
        offset = at.clock_offset_s() if has else None
        check = clock_check(offset, has_clock=has, can_set=can_set)
        if check.is_go or not can_set or not self._sets_clock():
            return check
        if at.point.map.log_memory is not None and at.memory().recording:
            return no_go("the meter is recording: its clock decides the times", f"answer {Key.STOP}: yes")
        done = at.set("clock", "now")
        if done.status:
            return no_go(done.last or "the clock could not be set", "set it at the meter")
        return clock_check(done.document["offset_after_s"], has_clock=True, can_set=can_set)

    def _sets_clock(self) -> bool:
        """Where it is off: only where that was answered; `accept.clock` is an answer too."""
        from readout.visit.answers import Key

        return "clock" not in self.at.run.answers.accepted and self.at.run.agreed(Key.SET_CLOCK)

    def _supply(self) -> "Check":
        from readout.cli.at_meter import at_meter
        from readout.visit.setup import supply_check

        with at_meter(self.at.point, self.at.trace) as at:
            told, _ = self.at.readings(at)
        worded = [value.name for value in self.at.point.map.readings if value.codes or value.bits]
        return supply_check({name: told[name]["value"] for name in worded})

    def _values(self) -> "Check":
        """Minutes of the values, once a second."""
        from readout.cli.at_meter import at_meter
        from readout.cli.progress import counting
        from readout.visit.answers import Key
        from readout.visit.live import line_check, seen_in, values_check
        from readout.visit.verdict import go

        at = self.at
        if not at.point.map.readings:
            return go("the map has no readings to watch")
        lasts_s = milliseconds(at.run.answers.one(Key.LIVE) or WATCHED, Key.LIVE) / 1000
        rounds: list[Any] = []
        good = 0
        with (
            at_meter(at.point, at.trace) as open_at,
            counting("watching", max(1, round(lasts_s)), lasts_s) as shown,
        ):
            begun = due = open_at.clock.monotonic()
            while due < begun + lasts_s:
                open_at.clock.sleep_until(due)
                told, whole = at.readings(open_at)
                rounds.append(told)
                good += whole
                shown(round(due - begun), f"{len(rounds)} rounds")
                due = max(due + EVERY_S, open_at.clock.monotonic())
        line = line_check(len(rounds), good)
        seen = seen_in(rounds)
        if not line.is_go:
            return line
        return values_check(seen, at.point.point, at.point.map, self._cut_off(seen))

    def _cut_off(self, seen: "Mapping[str, Seen]") -> "list[Check]":
        """What was watched against the meter's own cut-off, which is asked for where it is not known."""
        from readout.measuring_point.figures.place import find_place
        from readout.visit.cut_off import cut_off_checks

        at = self.at
        if at.told is None:
            at.meter()
        told = {} if at.told is None else at.told.settings
        place = find_place(at.file).place
        bore = None if place is None else place.bore
        return cut_off_checks(seen, told, None if bore is None else bore.area_m2)

    def _recording(self) -> "Check":
        """The meter's recording started, and its first record seen where that does not take long."""
        from readout.cli.memory_start import memory_start
        from readout.cli.visit_run import carry_out
        from readout.meter.commands import RECORDING
        from readout.visit.answers import Key
        from readout.visit.verdict import no_go

        at = self.at
        if at.point.map.log_memory is None:
            return self._recorded_by_log()
        at.meter()  # settings as they are now
        state = at.memory()
        if not state.recording:
            if state.recording is None:
                return no_go(
                    "the map does not tell whether it records", "see it at the meter, correct the map"
                )
            if not at.may_command(RECORDING):
                advice = "start it at the meter, or ask its owner; then run this again"
                return no_go("it does not record, and cannot be started from here", advice)
            if not at.run.agreed(Key.START):
                return no_go("not started", "answer start: yes")
            done = carry_out(memory_start, at.file, archive=at.archive, yes=True, trace=at.trace)
            if done.status:
                return no_go(done.last, "see the meter's keypad and memory")
        return self._first_record(state.records)

    def _recorded_by_log(self) -> "Check":
        """A recorder keeps this point in this archive, and its rows come; the first is waited for a while."""
        from readout.visit.recorder import Kept, kept_since, recent, recorder_of, recording_check

        at = self.at
        every_s = at.point.every_ms / 1000
        command = f"pipeledger log {_word(at.file)} --archive {_word(at.archive)} --every {every_s:g}s"
        until = at.run.clock.monotonic() + min(AWAITED_S, 2 * every_s + 3)
        while True:
            recorder, now_ms = recorder_of(at.archive, at.point.name), round(at.run.clock.utc() * 1000)
            records = recorder is not None and recorder.every_ms is not None
            kept = Kept()
            if recorder is not None and records:
                kept = kept_since(at.archive, at.point.name, recent(recorder, now_ms))
            if not records or kept.whole or at.run.clock.monotonic() > until:
                return recording_check(recorder, kept, str(at.archive), command, now_ms)
            at.run.clock.sleep_until(at.run.clock.monotonic() + min(0.5, every_s))

    def _first_record(self, before: int | None) -> "Check":
        from readout.visit.verdict import go, no_go

        at = self.at
        interval_s = (at.interval_ms() or 0) / 1000
        if before is None or not 0 < interval_s <= AWAITED_S:
            return go("recording", records_before=before, **self._left())
        until = at.run.clock.monotonic() + 2 * interval_s + 3
        while (now := at.memory().records or 0) <= before:
            if at.run.clock.monotonic() > until:
                return no_go(
                    "it says that it records, and no record came", "see `memory list`, start it again"
                )
            at.run.clock.sleep_until(at.run.clock.monotonic() + min(0.5, interval_s))
        said = f"recording every {interval_s:g} s, and the first record is there"
        return go(said, records_before=before, records=now, **self._left())

    def _left(self) -> dict[str, Any]:
        """Settings as the technician leaves them."""
        told = {} if self.at.told is None else self.at.told.settings
        return {
            "settings": {name: {"value": one["value"], "unit": one["unit"]} for name, one in told.items()}
        }


def _word(path: Path) -> str:
    """A path as a command line takes it."""
    text = str(path)
    return f'"{text}"' if " " in text else text
