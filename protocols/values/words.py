"""Numbers and text ↔ words, in every order of words and bytes, for any count of rows at once.

The orders, by the four bytes of a 32-bit value A B C D (A the most significant) as they arrive:

    word order    byte order    bytes on the wire      123.456 = 42 F6 E9 79
    high first    high first    A B | C D              42 F6 | E9 79
    low first     high first    C D | A B              E9 79 | 42 F6
    high first    low first     B A | D C              F6 42 | 79 E9
    low first     low first     D C | B A              79 E9 | F6 42

Six and eight bytes go the same way: ABCDEFGH, GHEFCDAB, BADCFEHG, HGFEDCBA. A word is a register as its
16-bit number: its first byte on the wire is the high half (Modbus Application Protocol V1.1b3, 4.2).
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.model import WORDS, Kind, Order

WordTable = NDArray[np.uint16]  # [rows, words of the number], columns in the order sent

_FORMATS: Mapping[Kind, str] = {
    Kind.INT16: ">i2", Kind.UINT16: ">u2", Kind.CRC16: ">u2", Kind.INT32: ">i4", Kind.UINT32: ">u4",
    Kind.UNIX_TIME: ">u4", Kind.INT64: ">i8", Kind.UINT64: ">u8", Kind.INT48: ">i8", Kind.UINT48: ">u8",
    Kind.FLOAT32: ">f4", Kind.FLOAT64: ">f8", Kind.BCD16: ">u2", Kind.BCD32: ">u4", Kind.SIGN16: ">u2",
}  # fmt: skip

#: Whole numbers that each kind can hold, both ends included.
WHOLE_LIMITS: Mapping[Kind, tuple[int, int]] = {
    **{kind: (-(1 << (16 * WORDS[kind] - 1)), (1 << (16 * WORDS[kind] - 1)) - 1)
       for kind in (Kind.INT16, Kind.INT32, Kind.INT48, Kind.INT64)},
    **{kind: (0, (1 << (16 * WORDS[kind])) - 1)
       for kind in (Kind.UINT16, Kind.UINT32, Kind.UINT48, Kind.UINT64, Kind.UNIX_TIME, Kind.CRC16)},
    Kind.BCD16: (0, 9999), Kind.BCD32: (0, 99_999_999), Kind.SIGN16: (-32767, 32767), Kind.BIT: (0, 1),
}  # fmt: skip

_MAGNITUDE = 0x7FFF  # sign16: bit 15 is the sign, the rest the magnitude


def ordered(words: WordTable, word_order: Order, byte_order: Order) -> WordTable:
    """The words with the most significant first and each with its high byte high. Its own inverse."""
    if word_order is Order.LOW_FIRST:
        words = words[:, ::-1]
    return words.byteswap() if byte_order is Order.LOW_FIRST else words


def raw_numbers(
    words: WordTable, kind: Kind, word_order: Order, byte_order: Order
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """The raw numbers [rows], and where they are numbers: False for a digit above 9, NaN and infinity.

    Raw means before any scale. The type is the smallest that is exact for the kind; bits give bool.
    """
    if kind is Kind.BIT:
        return words[:, 0] != 0, np.ones(len(words), np.bool_)
    words = ordered(words, word_order, byte_order)
    if kind in (Kind.INT48, Kind.UINT48):
        sign = (words[:, :1] >> 15) * np.uint16(0xFFFF) if kind is Kind.INT48 else np.zeros_like(words[:, :1])
        words = np.concatenate([sign, words], axis=1)
    stored = np.ascontiguousarray(words, dtype=">u2").view(_FORMATS[kind])[:, 0]
    raw: NDArray[Any] = stored.astype(stored.dtype.newbyteorder("="))
    if kind in (Kind.FLOAT32, Kind.FLOAT64):
        return raw, np.isfinite(raw)
    if kind in (Kind.BCD16, Kind.BCD32):
        return _from_digits(raw)
    if kind is Kind.SIGN16:
        magnitude = (raw & _MAGNITUDE).astype(np.int16)
        raw = np.where(raw > _MAGNITUDE, -magnitude, magnitude)
    return raw, np.ones(len(raw), np.bool_)


def raw_words(raw: NDArray[Any], kind: Kind, word_order: Order, byte_order: Order) -> WordTable:
    """The words [rows, words] of raw numbers [rows] that are within `WHOLE_LIMITS`, as they are sent."""
    if kind is Kind.BIT:
        return raw.astype(np.uint16)[:, np.newaxis]
    if kind in (Kind.BCD16, Kind.BCD32):
        raw = _to_digits(raw.astype(np.uint32), digits=4 * WORDS[kind])
    elif kind is Kind.SIGN16:
        raw = np.where(raw < 0, _MAGNITUDE + 1 - raw.astype(np.int32), raw)
    stored = raw.astype(_FORMATS[kind])[:, np.newaxis]
    words = stored.view(">u2").astype(np.uint16)[:, -WORDS[kind] :]
    return ordered(words, word_order, byte_order)


def _from_digits(packed: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Binary-coded decimal, four bits a digit, to numbers, and where all digits are digits."""
    number = np.zeros_like(packed)
    good = np.ones(len(packed), np.bool_)
    for shift in range(8 * packed.itemsize - 4, -4, -4):
        digit = (packed >> shift) & 0xF
        good &= digit <= 9
        number = number * 10 + digit
    return np.where(good, number, 0).astype(packed.dtype), good


def _to_digits(number: NDArray[np.uint32], digits: int) -> NDArray[np.uint32]:
    packed = np.zeros_like(number)
    for place in range(digits):
        packed |= ((number // 10**place) % 10 << (4 * place)).astype(np.uint32)
    return packed


def texts(words: WordTable, byte_order: Order) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Text [rows] of two characters a word, and where there is one: all FF means none.

    Latin-1, cut at the first NUL, blanks at both ends taken off; control bytes, which no meter means,
    are shown as \\xNN. Equal rows are worked out once: a serial number seldom changes.
    """
    different, which = np.unique(ordered(words, Order.HIGH_FIRST, byte_order), axis=0, return_inverse=True)
    sent = [row.astype(">u2").tobytes() for row in different]
    found = np.array([_text(each) for each in sent] + [""], dtype=object)[:-1]
    there = np.array([each.strip(b"\xff") != b"" for each in sent], np.bool_)
    which = which.reshape(-1)
    return found[which], there[which]


def _text(sent: bytes) -> str:
    characters = sent.partition(b"\0")[0].decode("latin-1").strip(" ")
    return "".join(c if c.isprintable() or c in "\xa0\xad" else f"\\x{ord(c):02X}" for c in characters)


def text_words(text: bytes, words: int, byte_order: Order) -> WordTable:
    """The words [1, words] of Latin-1 text that fits, the rest NUL."""
    padded = np.frombuffer(text.ljust(2 * words, b"\0"), dtype=">u2").astype(np.uint16)
    return ordered(padded[np.newaxis, :], Order.HIGH_FIRST, byte_order)
