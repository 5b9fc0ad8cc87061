"""`memory plan`: how long the meter's memory lasts, and at which interval it lasts long enough."""

import re
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import AsJson, duration_words, milliseconds
from readout.cli.output import say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from protocols.modbus.timing import SerialFormat
    from protocols.register_map.memory_model import LogMemory
    from protocols.register_map.model import RegisterMap
    from readout.plan.endurance import Endurance
    from readout.plan.recording import Intervals

_IS_POINT = re.compile(rb"^measuring_point[ \t]*:", re.MULTILINE)


def memory_plan(
    file: Annotated[
        Path, typer.Argument(metavar="POINT|MAP", help="A point file, or a register map alone (YAML).")
    ],
    *,
    every: Annotated[
        str | None, typer.Option("--every", metavar="DURATION", help="Time from record to record.")
    ] = None,
    duration: Annotated[
        str | None, typer.Option("--for", metavar="DURATION", help="How long the memory must last.")
    ] = None,
    baud: Annotated[int | None, typer.Option(min=1, help="Baud rate, if not the file's own.")] = None,
    as_json: AsJson = False,
) -> int:
    """Tell how long the meter's memory lasts at an interval, and which interval a visit needs.

    Starts from an empty memory. Sends nothing. Exit status 1 where the memory ends before the visit does, or
    the meter does not take the interval.
    """
    from readout.plan.recording import LOG_INTERVAL, intervals_of, memory_of, retrieval_s, setting_of

    every_s = None if every is None else Fraction(milliseconds(every, "--every"), 1000)
    needed_s = None if duration is None else Fraction(milliseconds(duration, "--for"), 1000)
    if every_s is None and needed_s is None:
        raise WrongUse("give --every DURATION, --for DURATION, or both, such as --every 5s --for 9d")
    found, line = _map_and_line(file, baud)
    memory = memory_of(found.log_memory, str(file))
    intervals = intervals_of(setting_of(found.settings, LOG_INTERVAL))
    plan = _planned(memory, intervals, every_s, needed_s)
    seconds = retrieval_s(memory, found.wire, line, plan.records)
    if as_json:
        tell_json(_document(plan, seconds))
    else:
        for sentence in (*_lasting(plan, needed_s, memory), *_consequences(memory)):
            tell(sentence)
        tell(_retrieving(plan, seconds, line))
    taken = every_s is None or _warned_of_interval(every_s, intervals)
    enough = needed_s is None or _warned_of_end(plan, memory, intervals, needed_s)
    return 0 if taken and enough else 1


def _map_and_line(file: Path, baud: int | None) -> "tuple[RegisterMap, SerialFormat]":
    """The map and the line's settings, from a point file or from a map alone."""
    from dataclasses import replace

    from readout.cli.files import load_map, read_bytes
    from readout.measuring_point.load import factory_format, load_point

    if not _IS_POINT.search(read_bytes(file)):
        found = load_map(file)
        return found, factory_format(found, baud)
    loaded = load_point(file)
    if loaded.point is None:
        raise WrongUse("the point file has faults:\n" + "\n".join(str(fault) for fault in loaded.faults))
    line = loaded.point.serial_format
    return loaded.point.map, line if baud is None else replace(line, baud_rate=baud)


def _planned(
    memory: "LogMemory", intervals: "Intervals", every_s: Fraction | None, needed_s: Fraction | None
) -> "Endurance":
    """At the interval given, else at the shortest that lasts long enough."""
    from readout.plan.endurance import Endurance, shortest_interval

    if every_s is None:
        assert needed_s is not None
        every_s = intervals.no_shorter(shortest_interval(memory.capacity, needed_s))
    lasts = memory.capacity * every_s
    return Endurance(memory.capacity, every_s, lasts if needed_s is None else needed_s)


def _document(plan: "Endurance", seconds: float) -> dict[str, Any]:
    return {
        "records": plan.records,
        "interval_s": _number(plan.interval_s),
        "lasts_s": _number(plan.lasts_s),
        "retrieval_s": round(seconds, 1),
    }


def _number(seconds: Fraction) -> int | float:
    return int(seconds) if seconds.denominator == 1 else float(seconds)


def _seconds(seconds: Fraction) -> str:
    return f"{float(seconds):.6g} s"


def _lasting(plan: "Endurance", needed_s: Fraction | None, memory: "LogMemory") -> list[str]:
    from readout.plan.endurance import in_words

    said = [f"{plan.capacity} records every {_seconds(plan.interval_s)} last {in_words(plan.lasts_s)}"]
    if needed_s is not None and plan.is_enough:
        asked = duration_words(int(needed_s * 1000))
        said.append(f"{asked} make {plan.records} records, with {in_words(plan.spare_s)} to spare")
    if memory.holds is not None:
        of = "taken at" if memory.holds == "sample" else "over its interval, marked at"
        said.append(f"a record is the {memory.holds} {of} the interval's {memory.marked_at}")
    return said


def _consequences(memory: "LogMemory") -> list[str]:
    """What happens when the memory is full and when the supply fails, in plain words."""
    from protocols.register_map.memory_model import AfterPowerLoss

    full = (
        "when full: the oldest records are overwritten, so that the newest remain"
        if memory.is_ring
        else "when full: recording stops, and what comes after is not recorded"
    )
    own_time = memory.record.time is not None
    after = {
        None: "the map does not say whether recording goes on (after_power_loss); try it first",
        AfterPowerLoss.STOPS: "recording stops until somebody starts it again; see to it that it records",
        AfterPowerLoss.NEW_SESSION: "recording goes on in a new session with a start of its own",
        AfterPowerLoss.RESUMES: "recording goes on"
        if own_time
        else "recording goes on in the same session, and its records have no time of their own: every time "
        "after the failure is early by as long as it lasted, and nothing shows it",
    }[memory.after_power_loss]
    return [full, f"after a power failure: {after}"]


def _retrieving(plan: "Endurance", seconds: float, line: "SerialFormat") -> str:
    from readout.cli.find import in_words

    return (
        f"retrieving {plan.records} records takes about {in_words(seconds)} at {line} "
        "(without faults; the meter's turnaround is a guess)"
    )


def _warned_of_interval(every_s: Fraction, intervals: "Intervals") -> bool:
    """Whether the meter takes this interval, as far as the map says."""
    if not intervals.told:
        say("the map has no setting log_interval: which intervals the meter takes is for its manual to say")
        return True
    if intervals.takes(every_s):
        return True
    say(f"caution: this meter does not take {_seconds(every_s)}; it takes {intervals}")
    return False


def _warned_of_end(
    plan: "Endurance", memory: "LogMemory", intervals: "Intervals", needed_s: Fraction
) -> bool:
    """Whether the memory lasts as long as the visit; says what to do where it does not, or only just."""
    from readout.plan.endurance import MARGIN, in_words, shortest_interval

    asked = duration_words(int(needed_s * 1000))
    if not plan.is_enough:
        lost = in_words(-plan.spare_s)
        what = (
            f"the first {lost} will have been overwritten"
            if memory.is_ring
            else f"nothing is recorded in the last {lost}"
        )
        say(f"WARNING: the memory ends before the visit does: of {asked}, {what}")
        needed = shortest_interval(memory.capacity, needed_s)
        say(f"{asked} need records {_seconds(needed)} apart or more; {_offer(intervals, needed, memory)}")
        return False
    if not plan.has_margin:
        longer = needed_s * (1 + MARGIN)
        needed = shortest_interval(memory.capacity, longer)
        say(
            f"caution: a visit that slips by a tenth ({in_words(needed_s * MARGIN)}) would find the memory "
            f"full; with that margin {_offer(intervals, needed, memory)}"
        )
    return True


def _offer(intervals: "Intervals", needed_s: Fraction, memory: "LogMemory") -> str:
    """The interval this meter then offers, and how long it lasts."""
    from readout.plan.endurance import in_words

    try:
        offered = intervals.no_shorter(needed_s)
    except WrongUse as error:
        return f"no interval is long enough: {error}"
    return f"this meter then offers {_seconds(offered)}, which lasts {in_words(memory.capacity * offered)}"
