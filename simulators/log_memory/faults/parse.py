"""A text to memory faults: "window lags 2 at 40; busy x3 at 100; clock step -3600 at 250"."""

import difflib
import re

from protocols.modbus.exceptions import ExceptionCode
from protocols.register_map.memory_model import ByFiles, ByQueue, ByRegisters, ByWindow, LogMemory
from simulators.errors import WrongFaults
from simulators.log_memory.faults.kinds import KINDS, Fault, MemoryFault, Needs

_FAULT = re.compile(
    r"(?P<name>[a-z]+(?: [a-z]+)*?)(?: (?P<number>-?\d+(?:\.\d+)?))?"
    r"(?: x(?P<times>\d+|\*))?(?: at (?P<at>\d+))?",
    re.ASCII,
)
_SPELLING = 'write them as in "window lags 2 at 40; busy x3 at 100"'


def parse_memory_faults(text: str, memory: LogMemory) -> tuple[MemoryFault, ...]:
    """The faults of a text, separated by semicolons or line ends; after # comes a remark.

    WrongFaults with every mistake, one sentence each: an unknown name, a number that is missing or means
    nothing, or a fault that this memory cannot have.
    """
    found: list[MemoryFault] = []
    wrong: list[str] = []
    for line in text.splitlines():
        for part in line.partition("#")[0].split(";"):
            words = " ".join(part.split())
            if words:
                try:
                    found.append(_one(words, memory))
                except WrongFaults as why:
                    wrong.append(str(why))
    if wrong:
        raise WrongFaults("\n".join(wrong))
    return tuple(found)


def _one(words: str, memory: LogMemory) -> MemoryFault:
    match = _FAULT.fullmatch(words)
    if match is None:
        raise WrongFaults(f"'{words}' is no memory fault; {_SPELLING}.")
    fault = _named(match["name"])
    kind = KINDS[fault]
    number = kind.usual if match["number"] is None else float(match["number"])
    if match["number"] is not None and not kind.number:
        raise WrongFaults(f"'{words}': {fault} takes no number; {match['number']} means nothing here.")
    if number is None and kind.number:
        raise WrongFaults(f"'{words}': {fault} wants a number of {kind.number} behind its name.")
    if match["times"] == "0":
        raise WrongFaults(f"'{words}' never happens; take it out.")
    if match["at"] is None and kind.recorded:
        raise WrongFaults(f"'{words}': {fault} wants the record it strikes, as in '{fault} … at 40'.")
    if not _has(memory, kind.needs):
        raise WrongFaults(f"'{words}': the map lacks {kind.needs}, so this cannot be played.")
    _check_number(words, fault, number or 0.0)
    times: int | None = 1
    if match["times"] is not None:
        times = None if match["times"] == "*" else int(match["times"])
    at = None if match["at"] is None else int(match["at"])
    return MemoryFault(fault, number or 0.0, at, None if kind.for_ever else times)


def _check_number(words: str, fault: Fault, number: float) -> None:
    if fault is Fault.LAYOUT and not 1 <= number <= 125:
        raise WrongFaults(f"'{words}': a record has 1 to 125 registers, not {number:g}.")
    if fault is Fault.REFUSED and number not in list(ExceptionCode):
        codes = ", ".join(str(int(code)) for code in ExceptionCode)
        raise WrongFaults(f"'{words}': exceptions are {codes}, not {number:g}.")
    if fault is Fault.CLOCK_RESET and not 1970 <= number <= 2099:
        raise WrongFaults(f"'{words}': a meter's clock starts in 1970 to 2099, not in {number:g}.")


def _named(name: str) -> Fault:
    try:
        return Fault(name)
    except ValueError:
        near = difflib.get_close_matches(name, [fault.value for fault in Fault], 1)
        hint = f"did you mean '{near[0]}'?" if near else f"there are {', '.join(Fault)}."
        raise WrongFaults(f"There is no memory fault '{name}'; {hint}") from None


def _has(memory: LogMemory, needs: Needs) -> bool:
    way, record = memory.reached_by, memory.record
    match needs:
        case Needs.POINTER:
            banks = isinstance(way, ByRegisters) and way.bank is not None
            return banks or isinstance(way, ByWindow) or (isinstance(way, ByQueue) and not way.advance)
        case Needs.ADVANCE:
            return isinstance(way, ByWindow | ByQueue) and way.advance
        case Needs.FILES:
            return isinstance(way, ByFiles)
        case Needs.QUEUE:
            return isinstance(way, ByQueue)
        case Needs.TIME:
            return record.time is not None
        case Needs.CHECK:
            return record.check is not None
        case Needs.EMPTY:
            return bool(record.empty)
    return True
