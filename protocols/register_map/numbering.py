"""The number that a map prints for an address: the way back from what is sent to what the manual says."""

from protocols.modbus.tables import Table
from protocols.register_map.build.numbers import TABLE_DIGITS
from protocols.register_map.grammar.line import Numbering


def as_printed(table: Table, address: int, numbering: str) -> int:
    """The register number of `address` (as sent, from 0) under a map's `numbering`.

    With a table digit in five digits as far as they reach, else in six.
    """
    if numbering == Numbering.FROM_1:
        return address + 1
    if numbering != Numbering.TABLE_DIGIT:
        return address
    digit, place = TABLE_DIGITS[table], address + 1
    return place + digit * (10_000 if place <= 9_999 else 100_000)
