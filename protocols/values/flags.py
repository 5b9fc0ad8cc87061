"""Why a value is missing or doubtful: the flag that stands beside it in the archive."""

from collections.abc import Mapping
from enum import IntEnum

from protocols.register_map.model import Kind, Value


class Flag(IntEnum):
    """One flag for each value of each row; the archive keeps its word (`FLAG_WORDS`), null for `NONE`.

    `NOT_AVAILABLE`, `NOT_A_NUMBER`, `INVALID_TIME` and `UNSTEADY` take the value away (null); the others
    stand beside a value that is kept. A value that is missing because its registers were never received
    has no flag: the status of the row tells why.
    """

    NONE = 0
    NOT_AVAILABLE = 1  # the meter told a form that means "no reading", or digits that are none
    NOT_A_NUMBER = 2  # NaN or infinity, in any bit pattern
    BELOW_RANGE = 3
    ABOVE_RANGE = 4
    UNKNOWN_CODE = 5  # a number that the map's `codes` do not list
    UNKNOWN_UNIT = 6  # the unit's register holds a number that the map does not list
    INVALID_TIME = 7  # a calendar that names no day or no time of day
    UNSTEADY = 8  # parts read apart did not agree


#: The words kept in the archive's `<name>_flag` columns.
FLAG_WORDS: Mapping[Flag, str] = {
    flag: flag.name.lower().replace("_", " ") for flag in Flag if flag is not Flag.NONE
}

#: Kinds with patterns that are no value: NaN and infinity, a digit above 9, FF FF …, month 13.
_WITH_BAD_PATTERNS = frozenset({Kind.FLOAT32, Kind.FLOAT64, Kind.BCD16, Kind.BCD32, Kind.TEXT, Kind.CALENDAR})


def can_be_flagged(value: Value) -> bool:
    """Whether any words at all could give this value a flag: then it has a flag column, else none.

    Decided from the map alone, so that a file's columns do not depend on what the meter happened to send.
    """
    return bool(
        any(number.kind in _WITH_BAD_PATTERNS for number in (value.number, *value.plus))
        or value.not_available.numbers
        or value.not_available.words
        or value.times_ten_to is not None
        or value.told_unit is not None
        or value.range is not None
        or value.codes
        or value.apart
    )
