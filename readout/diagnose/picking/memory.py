"""Whether the registers of a log memory hold what a memory of that map could tell."""

from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import RegisterMap
from readout.diagnose.picking.planning import COUNT, NEXT, OLDEST, SESSIONS, WIDTH

_OF_MEMORY = (COUNT, OLDEST, NEXT, SESSIONS, WIDTH)


def oddity_of(register_map: RegisterMap, name: str, found: object) -> str | None:
    """Why a memory's register cannot be right, "" where it can; None for whatever else, or tells nothing."""
    memory = register_map.log_memory
    if memory is None or name not in _OF_MEMORY or not isinstance(found, int):
        return None
    if name in (OLDEST, NEXT):
        return None  # any number may be: records are counted on for ever
    most, what = _most(memory, name)
    if most is None:
        return None
    if name == WIDTH and found != most:
        return f"its log memory tells {found} registers a record, the map says {most}"
    return f"its log memory tells {found} {what}, the map says at most {most}" if found > most else ""


def extent_oddity(register_map: RegisterMap, oldest: object, following: object) -> str | None:
    """The same of `oldest` and `next` together: as many records lie between them as the memory can hold.

    Numbers that have started again at 0 are counted on; None where one of the two was not read.
    """
    memory = register_map.log_memory
    if memory is None or memory.next is None or not isinstance(oldest, int) or not isinstance(following, int):
        return None
    held = (following - oldest) % memory.modulus(memory.next)
    if held <= memory.capacity:
        return ""
    return (
        f"its log memory tells {oldest} as the oldest record and {following} as the next: {held} records, "
        f"the map says at most {memory.capacity}"
    )


def _most(memory: LogMemory, name: str) -> tuple[int | None, str]:
    if name == WIDTH:
        return (memory.record.registers if memory.record.stated else None), "registers a record"
    if name == SESSIONS:
        return (None if memory.sessions is None else memory.sessions.most), "sessions"
    return memory.capacity, "records"
