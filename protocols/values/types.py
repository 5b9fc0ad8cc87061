"""The type of a value's column: decided by the map, never by the data."""

from collections.abc import Mapping
from enum import StrEnum

import numpy as np

from protocols.register_map.model import Kind, Value


class ColumnType(StrEnum):
    """Types of value columns; the word is the name of the type in Arrow, but for `timestamp`."""

    BOOL = "bool"
    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"
    INT64 = "int64"
    UINT64 = "uint64"
    FLOAT32 = "float32"
    FLOAT64 = "float64"
    STRING = "string"
    TIMESTAMP = "timestamp"  # milliseconds, UTC

    @property
    def dtype(self) -> "np.dtype[np.generic]":
        """The numpy type that holds it: str objects for text, int64 ms since 1970 UTC for moments."""
        if self is ColumnType.STRING:
            return np.dtype(object)
        if self is ColumnType.TIMESTAMP:
            return np.dtype(np.int64)
        return np.dtype(self.value)


#: The smallest type that holds every value of a kind exactly.
_EXACT: Mapping[Kind, ColumnType] = {
    Kind.BIT: ColumnType.BOOL,
    Kind.INT16: ColumnType.INT16,
    Kind.UINT16: ColumnType.UINT16,
    Kind.INT32: ColumnType.INT32,
    Kind.UINT32: ColumnType.UINT32,
    Kind.INT48: ColumnType.INT64,
    Kind.UINT48: ColumnType.UINT64,
    Kind.INT64: ColumnType.INT64,
    Kind.UINT64: ColumnType.UINT64,
    Kind.FLOAT32: ColumnType.FLOAT32,
    Kind.FLOAT64: ColumnType.FLOAT64,
    Kind.BCD16: ColumnType.UINT16,
    Kind.BCD32: ColumnType.UINT32,
    Kind.SIGN16: ColumnType.INT16,
    Kind.TEXT: ColumnType.STRING,
    Kind.UNIX_TIME: ColumnType.TIMESTAMP,
    Kind.CALENDAR: ColumnType.TIMESTAMP,
    Kind.CRC16: ColumnType.UINT16,
}


#: Kinds that are no quantity: scale and offset mean nothing to them.
_NEVER_SCALED = frozenset({Kind.BIT, Kind.TEXT, Kind.UNIX_TIME, Kind.CALENDAR, Kind.CRC16})


def output_type(value: Value) -> ColumnType:
    """The type of the value's column.

    A plain register keeps the exact type of its kind; a scaled or combined value is float64, also where
    every number in it is whole, because a double is what its readers then expect of a physical quantity.
    Bits and codes stay the integer that was sent.
    """
    return _EXACT[value.number.kind] if is_as_sent(value) else ColumnType.FLOAT64


def is_as_sent(value: Value) -> bool:
    """Whether the value is the number (or text, or moment) of one register run, nothing done to it."""
    number = value.number
    plain = number.scale == 1 and number.offset == 0 and not value.plus and value.times_ten_to is None
    return plain or bool(value.codes) or bool(value.bits) or number.kind in _NEVER_SCALED
