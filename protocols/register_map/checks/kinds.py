"""What the raw number of each type can hold."""

from collections.abc import Mapping
from decimal import Decimal

from protocols.register_map.model import Kind, Value

#: Lowest and highest raw number of every integer type.
LIMITS: Mapping[Kind, tuple[int, int]] = {
    Kind.INT16: (-(2**15), 2**15 - 1), Kind.UINT16: (0, 2**16 - 1),
    Kind.INT32: (-(2**31), 2**31 - 1), Kind.UINT32: (0, 2**32 - 1),
    Kind.INT48: (-(2**47), 2**47 - 1), Kind.UINT48: (0, 2**48 - 1),
    Kind.INT64: (-(2**63), 2**63 - 1), Kind.UINT64: (0, 2**64 - 1),
    Kind.BCD16: (0, 9_999), Kind.BCD32: (0, 99_999_999),
    Kind.SIGN16: (-(2**15 - 1), 2**15 - 1),
    Kind.UNIX_TIME: (0, 2**32 - 1),
    Kind.BIT: (0, 1),
}  # fmt: skip
#: Largest finite number of the two IEEE 754 formats.
_LARGEST = {Kind.FLOAT32: Decimal("3.4028235e38"), Kind.FLOAT64: Decimal("1.7976931348623157e308")}
_TWOS_COMPLEMENT = {Kind.INT16: 16, Kind.INT32: 32, Kind.INT48: 48, Kind.INT64: 64}
_UNSIGNED = {Kind.UINT16: 16, Kind.UINT32: 32, Kind.UINT48: 48, Kind.UINT64: 64}

INTEGERS = frozenset(LIMITS) - {Kind.BIT, Kind.UNIX_TIME}
FLOATS = frozenset(_LARGEST)
NUMBERS = INTEGERS | FLOATS
UNSIGNED = frozenset(_UNSIGNED) | {Kind.BCD16, Kind.BCD32}


def begins_again_at(value: Value) -> Decimal | None:
    """Where the registers of a total begin again, in its unit; None where not all are whole numbers."""
    numbers = (value.number, *value.plus)
    if value.times_ten_to is not None or any(one.kind not in INTEGERS or one.scale <= 0 for one in numbers):
        return None
    return sum(
        (LIMITS[one.kind][1] * one.scale + one.offset for one in numbers), min(one.scale for one in numbers)
    )


def holds(kind: Kind, raw: Decimal) -> str:
    """What keeps a raw number out of this type, or nothing."""
    if kind in _LARGEST:
        return "" if abs(raw) <= _LARGEST[kind] else f"{kind} cannot hold {raw}"
    if kind not in LIMITS or kind is Kind.BIT:
        return f"a {kind} has no raw number; write its register words in hex, such as 'FFFF FFFF'"
    low, high = LIMITS[kind]
    if raw != raw.to_integral_value():
        return f"{raw} is no raw number of {kind}: raw numbers are whole; scaling comes after"
    if low <= raw <= high:
        return ""
    return f"{kind} cannot hold {raw}, only {low} to {high}{_same_bits(kind, int(raw))}"


def _same_bits(kind: Kind, raw: int) -> str:
    bits = _TWOS_COMPLEMENT.get(kind)
    if bits and 0 <= raw < 2**bits:
        return f"; the same bits read as {kind} are {raw - 2**bits}"
    bits = _UNSIGNED.get(kind)
    if bits and -(2 ** (bits - 1)) <= raw < 0:
        return f"; the same bits read as {kind} are {raw + 2**bits}"
    return ""
