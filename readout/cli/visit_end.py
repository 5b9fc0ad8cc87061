"""`visit end`: the guided run at the pipe after a measurement; ends in safe to dismount and a hand-over."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from readout.cli.at_meter import PointFile
from readout.cli.options import AsJson, TraceFile
from readout.cli.output import counted
from readout.cli.visit_start import Anew, AnswerOptions, AnswersFile, IntoArchive
from readout.cli.visit_steps import AtPipe

if TYPE_CHECKING:
    from collections.abc import Mapping

    from protocols.register_map.model import Value
    from protocols.units import Quantity
    from readout.visit.closing import Logged
    from readout.visit.verdict import Check

STEPS = (
    "cautions", "port", "meter", "settings", "display", "clock", "memory", "archive", "total", "log_book",
    "removal",
)  # fmt: skip
#: Steps that read the meter; what follows them needs an archive that nobody writes.
_READ_METER = ("meter", "settings", "display", "clock")


def visit_end(
    point: PointFile,
    *,
    archive: IntoArchive,
    answer: AnswerOptions = None,
    answers: AnswersFile = None,
    anew: Anew = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Fetch everything, prove the archive, compare display and total, and say when it is safe to dismount.

    One step after the other, as `visit start`; cut off anywhere, the same command goes on from there. The
    meter is stopped only where that is answered. Exit status 0 safe to dismount, 1 no-go, 2 an answer lacks,
    3 port or archive not to be had, 4 nothing could be trusted.
    """
    from readout.cli.visit_start import STEPS as START
    from readout.cli.visit_whole import Wanted, whole
    from readout.visit.answers import Key, Visit

    wanted = Wanted(
        Visit.END, point, archive, tuple(answer or ()), answers, trace, (Key.CAUTIONS, Key.REMOVAL), START
    )
    return whole(wanted, STEPS, lambda at: _End(at).run(), anew=anew, as_json=as_json)


@dataclass
class _End:
    """The steps that only the end has."""

    at: AtPipe

    def run(self) -> None:
        """All of them, in their order."""
        at = self.at
        at.run.step("cautions", at.cautions)
        at.run.step("port", lambda: at.port(_READ_METER), again=True)
        at.run.step("meter", at.meter, again=True)
        at.run.step("settings", self._settings)
        at.run.step("display", at.display)
        at.run.step("clock", self._clock)
        at.run.step("memory", self._memory)
        at.run.step("archive", self._archive, again=True)
        at.run.step("total", self._total)
        at.run.step("log_book", at.log_book)
        at.run.step("removal", at.removal)

    def _started(self, name: str) -> dict[str, Any]:
        """The figures of a step of the visit's start; nothing where there was none."""
        from readout.visit.kept import visit_lines

        for line in reversed(visit_lines(self.at.archive, self.at.point.name)):
            record = line.content["visit"]
            if (record["kind"], record["verdict"]) == ("start", "go"):
                step: dict[str, Any] = next((one for one in record["checks"] if one["check"] == name), {})
                return {"at": step.get("at"), **step.get("found", {})}
        return {}

    def _settings(self) -> "Check":
        from readout.visit.closing import left_check

        told = {} if self.at.told is None else self.at.told.settings
        left = {name: {"value": one["value"], "unit": one["unit"]} for name, one in told.items()}
        found = self._started("recording").get("settings") or self._started("settings").get("settings") or {}
        return left_check(found, left)

    def _clock(self) -> "Check":
        from datetime import datetime

        from readout.visit.closing import course_check

        at = self.at
        now = at.clock_offset_s()
        before = self._started("clock")
        lasted_s = 0.0
        if before.get("at"):
            lasted_s = at.run.clock.utc() - datetime.fromisoformat(before["at"]).timestamp()
        return course_check(before.get("clock_offset_s"), now, lasted_s)

    def _memory(self) -> "Check":
        """Everything the meter holds; stopped where that was answered, and the rest fetched after it."""
        from readout.cli.archive_seal import archive_seal
        from readout.cli.visit_run import carry_out
        from readout.meter.commands import IDLE
        from readout.visit.answers import Key, is_yes
        from readout.visit.recorder import recorder_of
        from readout.visit.verdict import go, no_go

        at = self.at
        if at.point.map.log_memory is None:
            if recorder_of(at.archive, at.point.name) is not None:
                return go("the map describes none: rows came by `log`; a recorder of other points seals them")
            done = carry_out(archive_seal, at.archive)
            sealed = counted(len(done.document["sealed"]), "file")
            return go(f"the map describes none: rows came by `log`; {sealed} sealed now")
        done = at.fetch()
        stop = at.run.answers.one(Key.STOP)
        running = at.memory().recording
        if not done.status and running and stop is not None and is_yes(stop):
            if not at.may_command(IDLE):
                return no_go(
                    "recording cannot be stopped from here", "stop it at the meter, or ask its owner"
                )
            stopped = at.stop()
            if stopped.status:
                return no_go(stopped.last, "stop it at the meter")
            done, running = at.fetch(), False
        if done.status:
            advice = "run it again: it goes on from there; nothing is dismounted before"
            return no_go("not everything came out of the meter", advice, status=done.status)
        records = at.memory().records
        said = f"all {done.document['expected']} records are in the archive"
        state = "the meter goes on recording" if running else "it does not record any more"
        return go(f"{said}; {state}; {records} are still in the meter", fetched=done.document)

    def _archive(self) -> "Check":
        from readout.visit.verdict import go, no_go
        from storage.verify import verify_archive

        found = verify_archive(self.at.archive)
        if found.faults:
            first = found.faults[0]
            advice = "leave the meter as it is: its memory still has everything; see `archive verify`"
            return no_go(f"{len(found.faults)} faults; {first.file}: {first.fault}", advice)
        said = f"{counted(found.files, 'file')}, {counted(found.rows, 'row')}, no fault"
        kept = self._kept()
        if not kept.is_go:
            return kept
        said = "; ".join(filter(None, (said, kept.reason)))
        return go(
            said, files=found.files, rows=found.rows, ledger={"n": found.ledger.n, "hash": found.ledger.hash}
        )

    def _kept(self) -> "Check":
        """What came of this point since its visit began; of all time where there was none."""
        from readout.clock import ms_of
        from readout.visit.kept import visit_lines
        from readout.visit.recorder import kept_check, kept_since, records_check

        at = self.at
        starts = [line.content["visit"] for line in visit_lines(at.archive, at.point.name)]
        since = next(
            (one["started"] for one in reversed(starts) if (one["kind"], one["verdict"]) == ("start", "go")),
            None,
        )
        since_ms = 0 if since is None else ms_of(since)
        told = "the archive began" if since is None else f"the visit's start, {since}"
        if at.point.map.log_memory is not None:
            return records_check(at.archive, at.point.name, since_ms, told)
        now_ms = round(at.run.clock.utc() * 1000)
        return kept_check(kept_since(at.archive, at.point.name, since_ms), told, since_ms, now_ms)

    def _total(self) -> "Check":
        """What the totaliser went on by between the two visits, against the flow in the archive."""
        from readout.visit.closing import total_check

        before, after = self._started("display"), self.at.run.found("display")
        for value in self.at.point.map.readings:
            if value.totaliser is not None and value.name in after.get("totals", {}):
                first = _quantity(before.get("totals", {}).get(value.name))
                last = _quantity(after["totals"][value.name])
                step = float(abs(value.number.scale))
                logged = None if first is None else self._logged(before["read_at"], after["read_at"])
                return total_check(first, last, logged, step)
        return total_check(None, None, None, 0.0)

    def _logged(self, since: str, until: str) -> "Logged | None":
        """Mean flow of the archive between two instants, memory first, else live rows."""
        from readout.clock import ms_of
        from readout.visit.closing import Logged
        from storage.archive import ArchiveReader

        at, memory = self.at, self.at.point.map.log_memory
        begin, end = (ms_of(text) for text in (since, until))
        sources = [
            ("memory", () if memory is None else memory.record.fields),
            ("live", at.point.map.readings),
        ]
        for source, values in sources:
            flow = _flow_of(values)
            if flow is None:
                continue
            table = ArchiveReader(at.archive).read_rows(
                at.point.name, source, columns=["time", flow.name], since=begin, until=end
            )
            if not table.num_rows or flow.name not in table.column_names:
                continue
            numbers = [float(one) for one in table[flow.name].to_pylist() if one is not None]
            every_s = (at.interval_ms() or 0) / 1000 if source == "memory" else at.point.every_ms / 1000
            mean = _quantity({"value": sum(numbers) / len(numbers), "unit": flow.unit}) if numbers else None
            return None if mean is None else Logged(mean, len(numbers) * every_s, (end - begin) / 1000)
        return None


def _flow_of(values: "Any") -> "Value | None":
    """The first flow whose unit the map says."""
    from protocols.units import Dimension, unit_of

    listed = values.values() if hasattr(values, "values") else values
    for one in listed:
        unit = None if one.unit is None else unit_of(one.unit)
        if unit is not None and unit.dimension is Dimension.VOLUME_FLOW:
            found: Value = one
            return found
    return None


def _quantity(told: "Mapping[str, Any] | None") -> "Quantity | None":
    from decimal import Decimal

    from protocols.units import Quantity, unit_of

    if told is None or told["value"] is None or told["unit"] is None:
        return None
    unit = unit_of(told["unit"])
    return None if unit is None else Quantity(Decimal(repr(told["value"])), unit)


def handed_over(at: AtPipe) -> list[str]:
    """What is where, for whoever takes over."""
    from readout.visit.recorder import recorder_of

    proof = at.run.found("archive")
    holds = f"{counted(proof['files'], 'file')}, {counted(proof['rows'], 'row')}"
    has_memory = at.point.map.log_memory is not None
    meter = "its memory is left as it is" if has_memory else "no memory in its map; rows came by `log`"
    recorder = recorder_of(at.archive, at.point.name)
    runs = [] if recorder is None else [f"recorder  {recorder} still runs, for other points"]
    erase = [f"then      pipeledger memory erase {at.file.name} --archive {at.archive}"] if has_memory else []
    return [
        f"archive   {at.archive}: {holds}, verified",
        f"proof     ledger line {proof['ledger']['n']}, hash {proof['ledger']['hash']}",
        f"meter     {at.serial or 'no serial number'}: {meter}",
        *runs,
        f"next      pipeledger report {at.archive} --to audit.html",
        f"next      copy {at.archive} to a second place, and verify it there",
        *erase,
    ]
