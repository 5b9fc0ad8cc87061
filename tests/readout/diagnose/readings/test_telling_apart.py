"""Numbers (in the long tests a thousand), packed by `struct`, are found again by what a display shows."""

import random
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Column, Kind, Number, Order, Value
from readout.diagnose.readings.display import read_off
from readout.diagnose.readings.judging import tried

NOW_MS = 1_780_000_000_000
#: Kinds with the format that `struct` knows, how many words, and whether a scale of the map is applied.
FORMATS = {
    Kind.INT16: ">h", Kind.UINT16: ">H", Kind.INT32: ">i", Kind.UINT32: ">I", Kind.INT64: ">q",
    Kind.UINT64: ">Q", Kind.FLOAT32: ">f", Kind.FLOAT64: ">d",
}  # fmt: skip
CLAIMED = (Kind.INT16, Kind.UINT16, Kind.INT32, Kind.UINT32, Kind.FLOAT32)
ORDERS = tuple(Order)
AT = 100


@dataclass(frozen=True)
class Case:
    """What is in the registers, and what a map with one or more mistakes says of it."""

    value: Value
    registers: dict[Column, int]
    shown: str
    kind: Kind
    orders: tuple[Order, Order]
    table: Table
    address: int


def cases(seed: int, count: int) -> Iterator[Case]:
    chance = random.Random(seed)
    for _ in range(count):
        kind = chance.choice(list(FORMATS))
        size = struct.calcsize(FORMATS[kind])
        claimed = chance.choice(CLAIMED)
        scale = Decimal(chance.choice(("1", "0.1", "0.001")))
        shown, data = _number(chance, kind, size, Decimal(1) if kind.value.startswith("float") else scale)
        pairs = [data[i : i + 2] for i in range(0, size, 2)]
        word, byte = orders = chance.choice(ORDERS), chance.choice(ORDERS)
        words = [int.from_bytes(pair, "little" if byte is Order.LOW_FIRST else "big") for pair in pairs]
        if word is Order.LOW_FIRST:
            words.reverse()
        table, address = chance.choice((Table.INPUT, Table.HOLDING)), AT + chance.choice((-1, 0, 1))
        registers = {
            Column(each, place): chance.randrange(1 << 16)  # neighbours are other values' words
            for each in (Table.INPUT, Table.HOLDING)
            for place in range(AT - 1, AT + 6)
        }
        registers |= {Column(table, address + i): each for i, each in enumerate(words)}
        width = struct.calcsize(FORMATS[claimed]) // 2
        number = Number(Table.INPUT, AT, claimed, width, width, scale=scale)
        yield Case(Value("flow", number, unit="m3/h"), registers, shown, kind, orders, table, address)


def _number(chance: random.Random, kind: Kind, size: int, scale: Decimal) -> tuple[str, bytes]:
    """A number that uses its whole width, as a display shows it, and its bytes: high byte and word first."""
    if kind in (Kind.FLOAT32, Kind.FLOAT64):
        packed = struct.pack(FORMATS[kind], chance.uniform(1, 10) * 10 ** chance.randint(-1, 5))
        number = struct.unpack(FORMATS[kind], packed)[0]
        return f"{Decimal(number):.{max(0, 5 - Decimal(number).adjusted())}f}", packed  # six digits
    filled = bytearray(chance.randbytes(size))
    filled[0] |= 0x80  # the highest bit: a negative number of a signed kind, a large one of another
    return f"{struct.unpack(FORMATS[kind], filled)[0] * scale:f}", bytes(filled)


def is_true(case: Case, way: object) -> bool:
    """Whether a way reads the case's words as they were written; one word has no word order."""
    form, place = way.form, way.place  # type: ignore[attr-defined]
    orders_fit = form.byte_order is case.orders[1] and (
        struct.calcsize(FORMATS[case.kind]) == 2 or form.word_order is case.orders[0]
    )
    there = (place.table, AT + place.shift) == (case.table, case.address)
    return form.kind is case.kind and orders_fit and there


@pytest.mark.parametrize("count", [250, pytest.param(1000, marks=pytest.mark.long)])
def test_the_true_reading_is_nearly_always_among_the_first_three_and_mostly_alone(count: int) -> None:
    among = alone = 0
    for case in cases(seed=20260503, count=count):
        first = tried(case.value, case.registers, read_off(case.value, case.shown), NOW_MS).first
        assert all(one.fit is first[0].fit for one in first), "equals come first, and nothing else"
        true = [one for one in first if any(is_true(case, way) for way in one.ways)]
        among += bool(true) and len(first) <= 3
        alone += bool(true) and len(first) == 1 and len(first[0].ways) == 1
    assert among >= 0.95 * count, among
    assert alone >= 0.80 * count, alone
