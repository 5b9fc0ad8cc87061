"""`meter set`: one setting of a meter, confirmed, written once, read back, and kept in the ledger."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.at_meter import (
    AtMeter,
    IntoArchive,
    PointFile,
    Yes,
    agreed,
    at_meter,
    kept_in_ledger,
    ready_archive,
    tell_done,
)
from readout.cli.meter_show import offset_words, shown
from readout.cli.options import AsJson, TraceFile
from readout.cli.output import say
from readout.errors import FellShort, PipeledgerError, WrongUse

if TYPE_CHECKING:
    from protocols.register_map.model import Value
    from readout.meter.clock import ClockSetting, Shown
    from readout.meter.wanted import Wanted

NOW = "now"


def meter_set(
    point: PointFile,
    name: Annotated[str, typer.Argument(metavar="NAME", help="A setting of the map.")],
    value: Annotated[
        str, typer.Argument(metavar="VALUE", help="With its unit, such as 53.1mm; for a clock: now.")
    ],
    *,
    archive: IntoArchive,
    yes: Yes = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Write one setting of a meter: the old value is shown, you confirm, it is written once and read back.

    Refused for a customer's meter and for settings that the map does not let be written. Kept in the
    archive's ledger with old and new value. Exit status 1 where the meter does not have the value after.
    """
    from readout.daemon.points import load_points
    from readout.meter.clock import is_moment
    from readout.meter.wanted import ours, wanted, writable_setting

    (loaded,) = load_points([point], None)
    ours(loaded.point)
    setting = writable_setting(loaded.map, name)
    moment = is_moment(setting)
    if moment and value.strip().lower() != NOW:
        raise WrongUse(f"{name} is a clock: it is set to this computer's, not to {value}; write {NOW}.")
    if not moment and setting.told_unit is None:
        wanted(setting, value, setting.unit)  # a wrong value is refused before the port is opened
    ready_archive(archive)
    with at_meter(loaded, trace) as at:
        told = at.introduced()
        task = _Task(at, setting, archive, at.serial_number(told), yes, as_json)
        _caution_while_recording(at, name)
        if moment:
            return task.set_clock()
        unit = told.settings[name]["unit"] if setting.told_unit is not None else setting.unit
        return task.set(wanted(setting, value, unit))


def _caution_while_recording(at: AtMeter, name: str) -> None:
    """Some meters begin a new session then, others give the session's later records wrong times."""
    from readout.meter.commands import RECORDING, state_word

    memory = at.point.map.log_memory
    if memory is None or memory.recording is None or name not in ("clock", "log_interval"):
        return
    if state_word(at.meter, memory.recording) == RECORDING:
        say(
            f"caution: the meter is recording, and {name} decides the times of its records; fetch what "
            "it holds, stop it, set it, start it again"
        )


@dataclass(frozen=True)
class _Task:
    """One setting to be written, and where that is kept."""

    at: AtMeter
    setting: "Value"
    archive: Path
    serial: str | None
    yes: bool
    as_json: bool

    def set(self, quantity: "Wanted") -> int:
        """Write a value and read it back."""
        from readout.meter.wanted import words_for
        from readout.poll.readings import as_told

        setting, meter = self.setting, self.at.meter
        before = meter.words_of(setting)
        changed = words_for(setting, quantity, before)
        words = {**before, **changed}
        old, new = (as_told(setting, told) for told in (before, words))
        if words == before:
            return self._done(old, old, f"{setting.name} is {self._text(old)} already; nothing was written")
        if not self.yes and not agreed(f"{setting.name}: {self._text(old)} now, set to {self._text(new)}?"):
            return 1
        after, trouble = self._write(changed, before)
        back = None if after is None else as_told(setting, after)
        if after == before:
            raise FellShort(
                f"{setting.name} is still {self._text(old)}: {trouble or 'the meter ignored it.'}"
            )
        if after == words:
            return self._done(old, back, f"{setting.name}: was {self._text(old)}, is {self._text(new)}")
        status = self._done(old, back, f"{setting.name}: was {self._text(old)}, is {self._text(back)}")
        say(
            f"{setting.name} should be {self._text(new)}. {trouble or 'The meter made something else of it.'}"
        )
        return status or 1

    def _write(
        self, words: "dict[Any, int]", before: "dict[Any, int]"
    ) -> "tuple[dict[Any, int] | None, str]":
        """The words after it (None: not to be had), and what went wrong, if anything."""
        from readout.bus.outcome import Status
        from readout.meter.asking import refusal, trusted
        from readout.poll.readings import as_told

        outcome = self.at.meter.write(words)
        trouble = "" if outcome.status is Status.OK else refusal(outcome)
        try:
            if outcome.status is Status.PORT_LOST:
                trusted(outcome)
            return self.at.meter.words_of(self.setting), trouble
        except (PipeledgerError, KeyboardInterrupt):
            self._unknown(self._content(as_told(self.setting, before), None))
            raise

    def set_clock(self) -> int:
        """Set a clock to the computer's, and look at it after."""
        from zoneinfo import ZoneInfo

        from readout.daemon.computer_clock import ClockQuality, clock_quality
        from readout.meter.clock import ClockSetting, kept_by, look, set_now

        at, point = self.at, self.at.point
        quality = clock_quality(at.clock.utc())
        if quality is ClockQuality.UNSET:
            raise FellShort("this computer's own clock is not set, so no meter is set by it; set it first.")
        if quality is ClockQuality.UNSYNCHRONISED:
            say("caution: this computer's clock follows no time source; see that it is right")
        setting = ClockSetting(self.setting, kept_by(point.map), ZoneInfo(point.time_zone), point.format)
        old = look(at.meter, setting, at.clock)
        if not self.yes and not agreed(f"{self.setting.name}: {_clock_words(old.offset_s)}; set it?"):
            return 1
        set_now(at.meter, setting, at.clock)
        try:
            new = look(at.meter, setting, at.clock)
        except (PipeledgerError, KeyboardInterrupt):
            self._unknown({"old": _time(old.told_ms), "offset_before_s": old.offset_s, "new": None})
            raise
        return self._clock_done(setting, old, new)

    def _unknown(self, content: dict[str, Any]) -> None:
        """The ledger's line of a write of which nobody knows what it did."""
        kept_in_ledger(self.archive, {**self._about(), **content})
        say("What was written could not be read back: look at it with `meter show` before writing again.")

    def _clock_done(self, setting: "ClockSetting", old: "Shown", new: "Shown") -> int:
        name = self.setting.name
        content = {
            **self._about(),
            "old": _time(old.told_ms),
            "new": _time(new.told_ms),
            "offset_before_s": old.offset_s,
            "offset_after_s": new.offset_s,
        }
        entered = kept_in_ledger(self.archive, content)
        text = f"{name}: was {_clock_words(old.offset_s)}, is {_clock_words(new.offset_s)}"
        status = tell_done(self.archive, content, text, entered, as_json=self.as_json)
        if setting.is_right(new):
            return status
        say(f"{name} is not right after it was set; the meter may set it only while it is not recording")
        return 1

    def _done(self, old: dict[str, Any], new: dict[str, Any] | None, text: str) -> int:
        changed = new is None or new != old
        content = self._content(old, new)
        entered = kept_in_ledger(self.archive, content) if changed else None
        return tell_done(self.archive, {**content, "changed": changed}, text, entered, as_json=self.as_json)

    def _content(self, old: dict[str, Any], new: dict[str, Any] | None) -> dict[str, Any]:
        values = {"old": old["value"], "new": None if new is None else new["value"], "unit": old["unit"]}
        return {**self._about(), **values}

    def _about(self) -> dict[str, Any]:
        return {"point": self.at.point.name, "name": self.setting.name, "serial_number": self.serial}

    def _text(self, reading: dict[str, Any] | None) -> str:
        return "unknown" if reading is None else shown(reading, gauge=self.setting.gauge)


def _clock_words(offset: float | None) -> str:
    return "no time" if offset is None else offset_words(offset)


def _time(told_ms: int | None) -> str | None:
    """The figures a clock showed, without a zone."""
    from readout.clock import iso

    return None if told_ms is None else iso(told_ms / 1000).removesuffix("Z")
