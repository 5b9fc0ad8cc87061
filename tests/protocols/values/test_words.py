"""Numbers in every kind and order of words and bytes, against struct, pymodbus and published bytes."""

import struct
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.client import ModbusTcpClient

from protocols.register_map.model import WORDS, Kind, Order
from protocols.values.words import WHOLE_LIMITS, raw_numbers, raw_words, text_words, texts

HIGH, LOW = Order.HIGH_FIRST, Order.LOW_FIRST
ORDERS = {"ABCD": (HIGH, HIGH), "CDAB": (LOW, HIGH), "BADC": (HIGH, LOW), "DCBA": (LOW, LOW)}
STRUCT = {
    Kind.INT16: ">h", Kind.UINT16: ">H", Kind.INT32: ">i", Kind.UINT32: ">I", Kind.INT64: ">q",
    Kind.UINT64: ">Q", Kind.FLOAT32: ">f", Kind.FLOAT64: ">d", Kind.UNIX_TIME: ">I",
}  # fmt: skip


def table(*rows: bytes) -> np.ndarray:
    return np.array([np.frombuffer(row, ">u2") for row in rows]).astype(np.uint16)


def sent(words: np.ndarray) -> bytes:
    return words.astype(">u2").tobytes()


# (value, kind, {order: bytes on the wire}). 123.456 and -2.5: pymodbus and minimalmodbus agree on all four;
# 123456.789 as a double: ABCDEFGH and GHEFCDAB computed with struct (constructed).
PUBLISHED: list[tuple[float, Kind, dict[str, str]]] = [
    (123.456, Kind.FLOAT32, {"ABCD": "42F6E979", "CDAB": "E97942F6", "BADC": "F64279E9", "DCBA": "79E9F642"}),
    (-2.5, Kind.FLOAT32, {"ABCD": "C0200000", "CDAB": "0000C020", "BADC": "20C00000", "DCBA": "000020C0"}),
    (25.5, Kind.FLOAT32, {"ABCD": "41CC0000", "CDAB": "000041CC", "BADC": "CC410000", "DCBA": "0000CC41"}),
    (1.0, Kind.FLOAT32, {"ABCD": "3F800000", "CDAB": "00003F80", "BADC": "803F0000", "DCBA": "0000803F"}),
    (123456.789, Kind.FLOAT32,
     {"ABCD": "47F12065", "CDAB": "206547F1", "BADC": "F1476520", "DCBA": "6520F147"}),
    (123456.789, Kind.FLOAT64, {"ABCD": "40FE240C9FBE76C9", "CDAB": "76C99FBE240C40FE"}),
]  # fmt: skip


@pytest.mark.parametrize(("value", "kind", "orders"), PUBLISHED)
def test_a_value_is_the_same_in_all_orders_and_goes_back_to_the_same_bytes(
    value: float, kind: Kind, orders: dict[str, str]
) -> None:
    wanted = struct.unpack(STRUCT[kind], struct.pack(STRUCT[kind], value))[0]
    for name, wire in orders.items():
        raw, good = raw_numbers(table(bytes.fromhex(wire)), kind, *ORDERS[name])
        assert good.all()
        assert raw[0] == wanted, name
        assert sent(raw_words(raw, kind, *ORDERS[name])) == bytes.fromhex(wire), name


def test_two_orders_live_side_by_side_in_one_meter() -> None:
    """A float in CDAB at 0 and a count in ABCD at 8: neither order leaks into the other (constructed)."""
    flow, _ = raw_numbers(table(bytes.fromhex("206547F1")), Kind.FLOAT32, LOW, HIGH)
    count, _ = raw_numbers(table(bytes.fromhex("206547F1")), Kind.UINT32, HIGH, HIGH)
    assert flow[0] == np.float32(123456.789)
    assert count[0] == 0x206547F1


@given(data=st.binary(min_size=8, max_size=8), kind=st.sampled_from(sorted(STRUCT)))
def test_any_bytes_read_as_the_standard_library_reads_them(data: bytes, kind: Kind) -> None:
    data = data[: 2 * WORDS[kind]]
    raw, good = raw_numbers(table(data), kind, HIGH, HIGH)
    wanted = struct.unpack(STRUCT[kind], data)[0]
    assert raw.astype(raw.dtype.newbyteorder(">")).tobytes() == data
    assert good[0] == bool(np.isfinite(np.float64(wanted)))
    if good[0]:
        assert raw[0] == wanted


@pytest.mark.parametrize("word_order", [HIGH, LOW])
@given(number=st.data())
def test_pymodbus_converts_to_the_same_registers_and_back(word_order: Order, number: st.DataObject) -> None:
    """pymodbus 3.16.1's converters; its word order "little" is low first; it has no byte order."""
    kind = number.draw(st.sampled_from([k for k in STRUCT if k is not Kind.UNIX_TIME]))
    strategy: st.SearchStrategy[Any] = (
        st.floats(width=32 if kind is Kind.FLOAT32 else 64, allow_nan=False, allow_infinity=False)
        if kind in (Kind.FLOAT32, Kind.FLOAT64)
        else st.integers(*WHOLE_LIMITS[kind])
    )
    value = number.draw(strategy)
    theirs = ModbusTcpClient.DATATYPE[kind.name]
    order: Any = "big" if word_order is HIGH else "little"
    registers = ModbusTcpClient.convert_to_registers(value, theirs, word_order=order)
    dtype = {Kind.FLOAT32: np.float32, Kind.FLOAT64: np.float64}.get(
        kind, np.int64 if value < 0 else np.uint64
    )
    words = raw_words(np.array([value], dtype=dtype), kind, word_order, HIGH)
    assert words[0].tolist() == registers
    back = ModbusTcpClient.convert_from_registers(words[0].tolist(), theirs, word_order=order)
    assert raw_numbers(words, kind, word_order, HIGH)[0][0] == back


@given(data=st.binary(min_size=6, max_size=6), orders=st.sampled_from(sorted(ORDERS)))
def test_48_bits_read_as_big_integers(data: bytes, orders: str) -> None:
    a, b, c = data[:2], data[2:4], data[4:]
    words = (a, b, c) if ORDERS[orders][0] is HIGH else (c, b, a)
    wire = b"".join(word if ORDERS[orders][1] is HIGH else word[::-1] for word in words)
    for kind, signed in ((Kind.INT48, True), (Kind.UINT48, False)):
        raw, _ = raw_numbers(table(wire), kind, *ORDERS[orders])
        assert raw[0] == int.from_bytes(data, "big", signed=signed)
        assert sent(raw_words(raw, kind, *ORDERS[orders])) == wire


@given(digits=st.text("0123456789", min_size=8, max_size=8))
def test_binary_coded_decimal_reads_as_its_hex_digits(digits: str) -> None:
    raw, good = raw_numbers(table(bytes.fromhex(digits)), Kind.BCD32, HIGH, HIGH)
    assert (raw[0], raw.dtype, good[0]) == (int(digits), np.uint32, True)
    assert sent(raw_words(raw, Kind.BCD32, HIGH, HIGH)).hex() == digits
    short, _ = raw_numbers(table(bytes.fromhex(digits[:4])), Kind.BCD16, HIGH, HIGH)
    assert (short[0], short.dtype) == (int(digits[:4]), np.uint16)


@pytest.mark.parametrize("wire", ["00A0", "A000", "FFFF", "123F"])
def test_a_digit_above_nine_is_no_number(wire: str) -> None:
    raw, good = raw_numbers(table(bytes.fromhex(wire)), Kind.BCD16, HIGH, HIGH)
    assert (raw[0], good[0]) == (0, False)


# Sign and magnitude (common practice, no source): bit 15 is the sign, and there are two zeros.
@pytest.mark.parametrize(
    ("wire", "wanted"), [("800A", -10), ("000A", 10), ("8000", 0), ("FFFF", -32767), ("7FFF", 32767)]
)
def test_sign_and_magnitude(wire: str, wanted: int) -> None:
    raw, good = raw_numbers(table(bytes.fromhex(wire)), Kind.SIGN16, HIGH, HIGH)
    assert (raw[0], raw.dtype, good[0]) == (wanted, np.int16, True)
    if wanted:
        assert sent(raw_words(raw, Kind.SIGN16, HIGH, HIGH)).hex().upper() == wire


# Constructed: padded with NUL and rubbish behind it, bytes swapped, Latin-1, a control byte, blanks.
TEXTS = [
    ("484D2D33303030005859", HIGH, "HM-3000"),
    ("4D48332D30300030", LOW, "HM-3000"),
    ("6DB32020", HIGH, "m³"),
    ("41074200", HIGH, "A\\x07B"),
    ("20204142", HIGH, "AB"),
    ("00000000", HIGH, ""),
    ("FF412020", HIGH, "ÿA"),
]


@pytest.mark.parametrize(("wire", "byte_order", "wanted"), TEXTS)
def test_text_is_cut_and_stripped_and_never_fails(wire: str, byte_order: Order, wanted: str) -> None:
    found, there = texts(table(bytes.fromhex(wire)), byte_order)
    assert (found[0], there[0]) == (wanted, True)


def test_text_of_nothing_but_ff_is_none() -> None:
    assert not texts(table(bytes.fromhex("FFFFFFFF")), HIGH)[1][0]


@given(rows=st.lists(st.binary(min_size=4, max_size=4), max_size=5))
def test_rows_of_text_keep_their_order_and_none_fails(rows: list[bytes]) -> None:
    words = table(*rows) if rows else np.zeros((0, 2), np.uint16)
    found, there = texts(words, HIGH)
    alone = [texts(table(row), HIGH) for row in rows]
    assert found.tolist() == [each[0][0] for each in alone]
    assert there.tolist() == [each[1][0] for each in alone]
    for row, text in zip(rows, found, strict=True):
        if row.isascii() and row.decode().isprintable():
            assert text == row.decode().strip(" ")


def test_short_text_is_filled_with_nul() -> None:
    assert sent(text_words(b"HM-3", 3, HIGH)) == b"HM-3\0\0"
    assert sent(text_words(b"HM-3", 3, LOW)) == b"MH3-\0\0"
