"""What `memory start`, `stop` and `erase` share: the register for commands, what came of it, the ledger."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readout.cli.output import say
from readout.errors import FellShort, PipeledgerError

if TYPE_CHECKING:
    from collections.abc import Callable

    from protocols.register_map.model import Value
    from readout.cli.memory_meter import MemoryMeter
    from readout.clock import Clock
    from readout.meter.asking import Meter


@dataclass(frozen=True)
class Command:
    """One command to one meter. `keep` writes the ledger's line of what was done."""

    at: "MemoryMeter"
    register: "Value"
    clock: "Clock"
    keep: "Callable[[dict[str, Any]], object]"

    @property
    def meter(self) -> "Meter":
        """The meter on its line."""
        from readout.meter.asking import Meter

        point = self.at.point
        return Meter(self.at.line, point.unit_address, point.polled.manners, point.map.wire)

    def carry_out(self, word: str, about: dict[str, Any], settled: "Callable[[], Any]") -> dict[str, Any]:
        """Write the word once and see what became of it; the ledger's line, which is kept in any case.

        `settled` looks until the meter has done it and gives what it then says. Refusals of the meter and a
        lost port raise; what was written and could not be looked at is kept as not known.
        """
        from readout.meter.commands import command

        outcome = command(self.meter, self.register, word)
        content = {
            "point": self.at.point.name,
            "name": "recording",
            "serial_number": self.at.serial,
            "unit": None,
            **about,
        }
        try:
            content["new"] = settled()
        except (PipeledgerError, KeyboardInterrupt):
            self.keep({**content, "new": None})
            say(
                f"'{word}' was written, and what came of it could not be read: look with `memory list` first."
            )
            raise
        self.keep(content)
        if outcome.text:
            say(outcome.text)
        return content


def refuse_another_meter(at: "MemoryMeter") -> None:
    """WrongUse where another meter answers than the point file says."""
    from readout.cli.at_meter import refuse_another

    refuse_another(at.point, at.told)


def start_or_stop(
    point: Path, archive: Path, word: str, trace: Path | None, *, yes: bool, as_json: bool
) -> int:
    """Bring recording into the state `word` (recording or idle): asked, done, read back, kept."""
    from readout.cli.at_meter import agreed, kept_in_ledger, ready_archive, tell_done
    from readout.cli.memory_meter import met, point_with_memory
    from readout.clock import SystemClock
    from readout.meter.commands import RECORDING, became, command_register, state_register, state_word
    from readout.meter.wanted import ours

    clock = SystemClock()
    loaded = point_with_memory(point)
    ours(loaded.point.point)
    register, state = command_register(loaded.memory, word), state_register(loaded.memory)
    ready_archive(archive)
    entered: list[Any] = []
    with met(loaded, clock, trace) as at:
        refuse_another_meter(at)
        act = Command(at, register, clock, lambda line: entered.append(kept_in_ledger(archive, line)))
        old = state_word(act.meter, state)
        about = {"old": old, **before(at, clock, word)}
        name = at.point.name
        if old == word:
            document = {"point": name, "name": "recording", "serial_number": at.serial, **about, "new": old}
            text = f"{name}: the meter is {_saying(word)} already; nothing was written"
            return tell_done(archive, {**document, "changed": False}, text, None, as_json=as_json)
        if not yes and not agreed(f"{name}: {'start' if word == RECORDING else 'stop'} recording?"):
            return 1
        done = act.carry_out(word, about, lambda: became(act.meter, state, word, clock))
    if done["new"] != word:
        raise FellShort(
            f"{name}: the meter says '{done['new']}' after it was told '{word}'. It may refuse at its "
            "keypad, or while its memory is full; the ledger has a line of it."
        )
    text = f"{name}: the meter is {_saying(word)}"
    return tell_done(archive, {**done, "changed": True}, text, entered[0], as_json=as_json)


def _saying(word: str) -> str:
    return "recording" if word == "recording" else "idle, and keeps what it has recorded"


def before(at: "MemoryMeter", clock: "Clock", word: str) -> dict[str, Any]:
    """What is known before the command, for the ledger; what it will mean is said to the person.

    FellShort where a memory that stops when it is full is full already, so that starting records nothing.
    """
    from readout.cli.memory_list import look
    from readout.meter.commands import RECORDING

    state = look(at, clock)
    sessions = state.all_sessions(at.memory)
    held = None if sessions is None else sum(one.records for one in sessions)
    if word == RECORDING:
        if state.full(at.memory) and not at.memory.is_ring:
            raise FellShort(
                f"{at.point.name}: the memory is full ({held} records), so nothing would be recorded. Fetch "
                "it (`memory fetch`), erase it (`memory erase`), and start again."
            )
        for sentence in outlook(at, held):
            say(f"{at.point.name}: {sentence}")
    interval_s = None if at.interval_ms is None else at.interval_ms / 1000
    return {"records": held, "interval_s": interval_s, "clock_offset_s": at.clock_offset_s}


def outlook(at: "MemoryMeter", held: int | None) -> list[str]:
    """What recording from now on will mean: interval, room and how long it lasts, the clock."""
    from fractions import Fraction

    from readout.plan.endurance import in_words

    memory, said = at.memory, []
    if at.interval_ms is not None and held is not None:
        left = max(0, memory.capacity - held)
        lasts = in_words(Fraction(left * at.interval_ms, 1000))
        then = "from then on the oldest are overwritten" if memory.is_ring else "then recording stops"
        said.append(
            f"a record every {at.interval_ms / 1000:g} s; {held} of {memory.capacity} places are taken, the "
            f"{left} left last {lasts}: {then}"
        )
    if at.clock_offset_s is not None and abs(at.clock_offset_s) > WRONG_CLOCK_S:
        side = "ahead of" if at.clock_offset_s > 0 else "behind"
        said.append(
            f"caution: the meter's clock is {abs(at.clock_offset_s):.0f} s {side} this computer's; set it "
            "before (`meter set POINT clock now`), for it decides the times of the records"
        )
    return said


#: Seconds by which a meter's clock may be off without a word: it shows whole seconds.
WRONG_CLOCK_S = 5.0
