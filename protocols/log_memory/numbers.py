"""Record numbers that start again at 0 on the wire, and go on here; and ranges of them.

All arithmetic on told numbers is serial: on the declared width, as RFC 1982 does it for a power of two.
A range is a `range` with step 1, its end not included.
"""

from collections.abc import Iterable

from protocols.register_map.memory_model import LogMemory


def extended(told: int, modulus: int, at_least: int) -> int:
    """The smallest number from `at_least` on that shows as `told` on the wire."""
    return at_least + (told - at_least) % modulus


def held(oldest: int, following: int, modulus: int, capacity: int, count: int | None = None) -> int:
    """How many records lie from `oldest` up to, not including, `following`, both as told.

    Where they are equal, `count` decides between none and all; without it a memory whose numbers cannot go
    round within its capacity is empty, any other one taken as full: its empty places are then found empty.
    """
    between = (following - oldest) % modulus
    if between or count == 0 or (count is None and modulus > capacity):
        return between
    return count or min(modulus, capacity)


def memory_modulus(memory: LogMemory) -> int | None:
    """Where the memory's numbers start again at 0; None where no register limits them."""
    first = None if memory.sessions is None else memory.sessions.fields.get("first")
    told = memory.next or memory.oldest or (first.number if first is not None else None)
    if told is None and memory.is_ring and memory.sessions is None and memory.record.number is not None:
        told = memory.record.number.number
    return memory.number_wraps_at if told is None else memory.modulus(told)


def without(whole: range, taken: Iterable[range]) -> list[range]:
    """What is left of `whole`, in order."""
    left: list[range] = []
    start = whole.start
    for each in merged(taken):
        if each.stop <= start or each.start >= whole.stop:
            continue
        if each.start > start:
            left.append(range(start, each.start))
        start = max(start, each.stop)
    if start < whole.stop:
        left.append(range(start, whole.stop))
    return left


def merged(ranges: Iterable[range]) -> list[range]:
    """The same numbers in as few ranges as possible, in order; empty ones fall out."""
    found: list[range] = []
    for each in sorted((one for one in ranges if one), key=lambda one: one.start):
        if found and each.start <= found[-1].stop:
            found[-1] = range(found[-1].start, max(found[-1].stop, each.stop))
        else:
            found.append(each)
    return found
