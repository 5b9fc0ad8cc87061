"""What an exception reply means, in words for a technician.

Source: MODBUS Application Protocol V1.1b3, 7, p. 48-49. There is no 07 and no 09.
"""

from collections.abc import Mapping
from enum import IntEnum
from typing import NamedTuple


class ExceptionCode(IntEnum):
    """The codes that the specification defines."""

    ILLEGAL_FUNCTION = 1
    ILLEGAL_DATA_ADDRESS = 2
    ILLEGAL_DATA_VALUE = 3
    DEVICE_FAILURE = 4
    ACKNOWLEDGE = 5
    BUSY = 6
    MEMORY_PARITY = 8
    GATEWAY_PATH = 10
    GATEWAY_TARGET = 11


class Meaning(NamedTuple):
    """The specification's name of a code, and what it tells somebody at the pipe."""

    name: str
    words: str


MEANINGS: Mapping[int, Meaning] = {
    1: Meaning(
        "illegal function",
        "the meter does not know this function; the registers may lie in its other table",
    ),
    2: Meaning(
        "illegal data address",
        "the meter has no such register, or not so many from there on",
    ),
    3: Meaning(
        "illegal data value",
        "the meter does not take this request; mostly too many registers at once",
    ),
    4: Meaning("server device failure", "the meter failed while it did what was asked"),
    5: Meaning("acknowledge", "the meter has begun, and needs time before it answers"),
    6: Meaning("server device busy", "the meter is busy; ask again later"),
    8: Meaning("memory parity error", "the meter's own memory failed its check"),
    10: Meaning("gateway path unavailable", "the gateway has no way to this meter; see its settings"),
    11: Meaning(
        "gateway target device failed to respond",
        "the gateway answered, the meter behind it did not",
    ),
}


def meaning(code: int) -> Meaning:
    """Name and words of a code; for one outside the specification, that it is not in it."""
    unknown = Meaning("not in the specification", "the maker's own code; the meter's manual may tell")
    return MEANINGS.get(code, unknown)


def describe(code: int) -> str:
    """One line: `exception 02, illegal data address: the meter has no such register, …`."""
    name, words = meaning(code)
    return f"exception {code:02X}, {name}: {words}"
