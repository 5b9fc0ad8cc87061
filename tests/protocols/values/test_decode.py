"""What a reader is told about words that a meter sent: value, missing or doubtful, and why."""

import sys
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from crccheck.crc import CrcModbus

from protocols.modbus.tables import Table
from protocols.register_map.model import Column, Kind, NotAvailable, Number, Order, Span, ToldUnit, Value
from protocols.values.decode import Words, decode, record_check
from protocols.values.flags import Flag

LOW = Order.LOW_FIRST


# Signed, unsigned, sign and magnitude: two's complement checked by hand, constructed.
@pytest.mark.parametrize(
    ("kind", "scale", "wire", "wanted"),
    [
        (Kind.INT16, "0.1", "FFF6", -1.0),
        (Kind.UINT16, "0.1", "FFF6", 6552.6),
        (Kind.SIGN16, "1", "800A", -10),
        (Kind.INT32, "1", "FFFFFFFF", -1),
        (Kind.UINT64, "1", "0020000000000001", 9007199254740993),
        (Kind.UINT32, "1", "FFFFFFF0", 4294967280),  # a total just before it rolls over is told as it is
    ],
)
def test_reverse_flow_is_negative_and_a_total_is_exact(
    make: Any, kind: Kind, scale: str, wire: str, wanted: float
) -> None:
    assert make.read(make.value(kind, scale), wire) == (wanted, None)


# Power of ten in the next register, signed (constructed): 100 × 10^-2, × 10^3, × 10^-1, none, none.
@pytest.mark.parametrize(
    ("wire", "wanted"),
    [
        ("0064 FFFE", (1.0, None)),
        ("0064 0003", (100000.0, None)),
        ("0064 FFFF", (10.0, None)),
        ("0064 000A", (1e12, None)),
        ("0064 8000", (None, "not available")),
        ("0064 0040", (None, "not available")),
        ("0064 000B", (None, "not available")),
    ],
)
def test_a_power_of_ten_comes_from_its_register(make: Any, wire: str, wanted: Any) -> None:
    value = make.value(Kind.UINT16, times_ten_to=make.number(Kind.INT16, 1))
    assert make.read(value, wire) == wanted


def test_a_power_of_ten_read_unsigned_is_none_rather_than_a_number_of_65535_digits(make: Any) -> None:
    value = make.value(Kind.UINT16, times_ten_to=make.number(Kind.UINT16, 1))
    assert make.read(value, "0064 FFFF") == (None, "not available")


NUMBERS: list[tuple[Kind, str, str, list[str]]] = [
    (Kind.INT16, "-32768", "8000", ["7FFF", "8001", "0000"]),
    (Kind.UINT16, "65535", "FFFF", ["FFFE", "0000", "7FFF"]),
    (Kind.INT32, "-2147483648", "80000000", ["7FFFFFFF", "00000000"]),
    (Kind.UINT32, "4294967295", "FFFFFFFF", ["FFFFFFFE", "00000000"]),
    (Kind.FLOAT32, "9999.9", "461C3F9A", ["461C3F99"]),
    (Kind.FLOAT32, "3.4028235e38", "7F7FFFFF", ["7F7FFFFE"]),
]


@pytest.mark.parametrize(("kind", "number", "wire", "neighbours"), NUMBERS)
@pytest.mark.parametrize("word_order", list(Order))
@pytest.mark.parametrize("scale", ["1", "0.1"])
def test_a_declared_raw_number_is_no_reading_in_either_word_order_before_any_scale(
    make: Any, kind: Kind, number: str, wire: str, neighbours: list[str], word_order: Order, scale: str
) -> None:
    value = make.value(kind, scale, word_order=word_order, not_available=NotAvailable((Decimal(number),)))

    def as_sent(text: str) -> str:
        return text[4:] + text[:4] if word_order is LOW else text

    assert make.read(value, as_sent(wire)) == (None, "not available")
    for neighbour in neighbours:
        told, flag = make.read(value, as_sent(neighbour))
        assert (told is None, flag) == (False, None), neighbour


def test_declared_words_are_held_against_the_words_as_sent(make: Any) -> None:
    """7F7F FFFF is FLT_MAX with its words as this meter sends them, low word first (constructed)."""
    value = make.value(Kind.FLOAT32, word_order=LOW, not_available=NotAvailable(words=((0xFFFF, 0x7F7F),)))
    assert make.read(value, "FFFF 7F7F") == (None, "not available")
    assert make.read(value, "FFFE 7F7F")[1] is None


# IEEE 754: exponent all ones is NaN or infinity, whatever the rest; 7FBFFF80 was met in the field.
@pytest.mark.parametrize("wire", ["7FC00000", "7FBFFF80", "FFFFFFFF", "7F800000", "FF800000", "7F800001"])
@pytest.mark.parametrize("word_order", list(Order))
@pytest.mark.parametrize("scale", ["1", "0.1"])
def test_no_pattern_of_nan_or_infinity_becomes_a_number(
    make: Any, wire: str, word_order: Order, scale: str
) -> None:
    wire = wire[4:] + wire[:4] if word_order is LOW else wire
    assert make.read(make.value(Kind.FLOAT32, scale, word_order=word_order), wire) == (None, "not a number")


def test_nan_in_eight_bytes_and_in_a_further_part_takes_the_value_away(make: Any) -> None:
    assert make.read(make.value(Kind.FLOAT64), "7FF0000000000001") == (None, "not a number")
    value = make.value(Kind.UINT16, plus=(make.number(Kind.FLOAT32, 1),))
    assert make.read(value, "0005 7FC00000") == (None, "not a number")
    assert make.read(value, "0005 3F000000") == (5.5, None)


def test_digits_that_are_none_take_the_value_away(make: Any) -> None:
    assert make.read(make.value(Kind.BCD16, "0.1"), "1234") == (123.4, None)
    assert make.read(make.value(Kind.BCD16, "0.1"), "12A4") == (None, "not available")


def test_a_total_in_pairs_and_groups_is_exact(make: Any) -> None:
    """Whole and thousandths; groups to base 1000, lowest first; a power of ten; count and fraction."""
    number = make.number
    pair = make.value(Kind.UINT32, plus=(number(Kind.UINT16, 2, "0.001"),))
    assert make.read(pair, "0000 3039 02A6") == (12345.678, None)
    groups = make.value(Kind.UINT16, plus=(number(Kind.UINT16, 1, "1000"), number(Kind.UINT16, 2, "1000000")))
    assert make.read(groups, "01F4 000F 006F") == (111015500.0, None)
    power = make.value(Kind.UINT16, times_ten_to=number(Kind.INT16, 1))
    assert make.read(power, "270F FFFE") == (99.99, None)
    half = make.value(Kind.UINT32, plus=(number(Kind.FLOAT32, 2),))
    assert make.read(half, "0100 0001 3F00 0000") == (16777217.5, None)


@pytest.mark.parametrize(
    ("kind", "scale", "span", "wire", "flag"),
    [
        (Kind.FLOAT32, "1", ("0.4", "160"), "3ECCCCCC", "below range"),
        (Kind.FLOAT32, "1", ("0.4", "160"), "3ECCCCCD", None),  # float32 nearest to 0.4
        (Kind.FLOAT32, "1", ("0.1", "0.9"), "3F666666", None),  # float32 nearest to 0.9
        (Kind.FLOAT32, "1", ("0.4", "160"), "43200001", "above range"),
        (Kind.INT16, "0.1", ("-20", "60"), "FF38", None),
        (Kind.INT16, "0.1", ("-20", "60"), "FF37", "below range"),
        (Kind.UINT16, "1", ("0.5", "9.5"), "0000", "below range"),
        (Kind.UINT16, "1", ("0.5", "9.5"), "000A", "above range"),
        (Kind.UINT16, "1", ("-5", "70000"), "FFFF", None),
        (Kind.UINT16, "1", ("70000", "80000"), "FFFF", "below range"),
        (Kind.UINT64, "1", ("0", "18446744073709551614"), "FFFFFFFFFFFFFFFF", "above range"),
    ],
)
def test_outside_its_range_a_value_is_flagged_and_kept(
    make: Any, kind: Kind, scale: str, span: tuple[str, str], wire: str, flag: str | None
) -> None:
    told, why = make.read(make.value(kind, scale, range=Span(Decimal(span[0]), Decimal(span[1]))), wire)
    assert told is not None
    assert why == flag


def test_an_unlisted_code_is_flagged_and_kept_and_bits_are_the_number(make: Any) -> None:
    state = make.value(Kind.UINT16, codes={0: "idle", 1: "recording"})
    assert make.read(state, "0011") == (17, "unknown code")
    assert make.read(state, "0001") == (1, None)
    alarms = make.value(Kind.UINT16, bits={0: "sensor fault", 2: "supply low", 15: "memory full"})
    assert make.read(alarms, "8205") == (0x8205, None)  # bit 9 has no name and is not dropped


def test_a_unit_told_by_the_meter_goes_with_each_value(make: Any) -> None:
    """1234 m3, then 1234000 L after someone used the keypad, then a code that no manual lists."""
    told = ToldUnit(make.number(Kind.UINT16, 2), {5: "m3", 2: "L"})
    value = make.value(Kind.UINT32, told_unit=told)
    decoded = decode(value, make.words("0000 04D2 0005", "0012 D450 0002", "0000 0007 0009"))
    assert decoded.unit is not None
    assert decoded.unit.tolist() == ["m3", "L", None]
    assert [make.told(decoded, row) for row in range(3)] == [
        (1234, None),
        (1234000, None),
        (7, "unknown unit"),
    ]


def test_a_coil_is_true_or_false(make: Any) -> None:
    coil = Value("valve", Number(Table.COIL, 3, Kind.BIT, 1, 1))
    rows = {Column(Table.COIL, 3): Words(np.array([0, 1], np.uint16), np.ones(2, bool))}
    decoded = decode(coil, rows)
    assert decoded.data.dtype == np.bool_
    assert decoded.data.tolist() == [False, True]


def test_a_register_that_did_not_arrive_leaves_no_value_and_no_flag(make: Any) -> None:
    """Even where the word in its place would be a declared one: the row's status tells why."""
    value = make.value(
        Kind.UINT32, not_available=NotAvailable((Decimal(0),)), range=Span(Decimal(1), Decimal(2))
    )
    rows = make.words("0000 0000", "0000 0000", "0000 0001")
    rows[Column(Table.INPUT, 1)] = Words(rows[Column(Table.INPUT, 1)].data, np.array([True, False, True]))
    decoded = decode(value, rows)
    assert [make.told(decoded, row) for row in range(3)] == [(None, "not available"), (None, None), (1, None)]
    del rows[Column(Table.INPUT, 1)]
    assert not decode(value, rows).available.any()
    assert not decode(value, rows).flag.any()


def test_parts_read_apart_that_do_not_agree_are_unsteady(make: Any) -> None:
    value = make.value(Kind.UINT16, plus=(make.number(Kind.UINT16, 1, "0.001"),), apart=True)
    decoded = decode(value, make.words("0005 0001", "0005 0001"), np.array([False, True]))
    assert [make.told(decoded, row) for row in range(2)] == [(5.001, None), (None, "unsteady")]


def test_the_strongest_reason_is_told_where_several_hold(make: Any) -> None:
    told = ToldUnit(make.number(Kind.UINT16, 2), {5: "m3"})
    value = make.value(
        Kind.FLOAT32,
        range=Span(Decimal(0), Decimal(1)),
        told_unit=told,
        not_available=NotAvailable(words=((0x7FC0, 0),)),
    )
    decoded = decode(value, make.words("4000 0000 0009", "7FC0 0000 0009", "7FC0 0001 0009"))
    assert [Flag(flag) for flag in decoded.flag] == [
        Flag.UNKNOWN_UNIT,
        Flag.NOT_AVAILABLE,
        Flag.NOT_A_NUMBER,
    ]


@pytest.mark.parametrize("order", list(Order))
def test_a_records_check_is_the_modbus_crc_over_the_bytes_before_it(order: Order) -> None:
    """crccheck computes the CRC; low byte first as in a frame unless the map says high first."""
    records = [
        bytes.fromhex("1068 1C25 00D7"),
        bytes.fromhex("0000 0000 0000"),
        bytes.fromhex("1068 1C25 00D8"),
    ]
    crcs = [CrcModbus.calc(records[0]), CrcModbus.calc(records[1]), CrcModbus.calc(records[0])]
    wire = [
        r + c.to_bytes(2, "little" if order is LOW else "big") for r, c in zip(records, crcs, strict=True)
    ]
    table = np.array([np.frombuffer(each, ">u2") for each in wire]).astype(np.uint16)
    there = np.ones(3, np.bool_)
    words = {Column(None, i): Words(table[:, i], there) for i in range(4)}
    check = Value("check", Number(None, 3, Kind.CRC16, 1, 1), crc_order=order)
    assert record_check(check, words).tolist() == [True, True, False]
    assert decode(check, words).data.tolist() == crcs
    words[Column(None, 1)] = Words(table[:, 1], np.array([True, False, True]))
    assert record_check(check, words).tolist() == [True, False, False]
    del words[Column(None, 0)]
    assert not record_check(check, words).any()


def test_four_bytes_behind_one_address_are_one_value() -> None:
    """200.0 behind address 7006, as a meter with 32 bits a register answers it."""
    number = Number(Table.HOLDING, 7006, Kind.FLOAT32, words=2, addresses=1)
    there = np.ones(1, np.bool_)
    words = {
        Column(Table.HOLDING, 7006, 0): Words(np.array([0x4348], np.uint16), there),
        Column(Table.HOLDING, 7006, 1): Words(np.array([0], np.uint16), there),
    }
    assert decode(Value("flow", number), words).data.tolist() == [200.0]


@pytest.mark.parametrize("rows", [0, 1, 50_000])
def test_one_record_and_fifty_thousand_are_decoded_by_as_many_calls(make: Any, rows: int) -> None:
    """The count of Python calls does not grow with the rows: nothing on the plain path is done by row."""
    fields = [
        make.value(Kind.FLOAT32),
        make.value(Kind.UINT32, "0.1", not_available=NotAvailable((Decimal(4294967295),))),
        make.value(Kind.UINT16, "0.001", range=Span(Decimal(0), Decimal(16))),
        make.value(Kind.UINT16, codes={n: str(n) for n in range(4)}),
        make.value(Kind.UINT32, plus=(make.number(Kind.UINT16, 2, "0.001"),)),
    ]
    table = np.random.default_rng(7).integers(0, 0x7F00, (rows, 3), dtype=np.uint16)
    words = make.rows(table)
    if rows == 0:
        assert all(len(decode(field, words).data) == 0 for field in fields)
        return
    one = _calls(lambda: [decode(field, make.rows([[1, 2, 3]])) for field in fields])
    many = _calls(lambda: [decode(field, words) for field in fields])
    assert many <= one + 10  # some words of row one are special, so that a branch less is taken


def _calls(work: Callable[[], Any]) -> int:
    """Python calls made by `work`."""
    count = 0

    def seen(frame: Any, event: str, argument: Any) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(seen)
    try:
        work()
    finally:
        sys.setprofile(None)
    return count
