"""Words → values, as the map says: one row or fifty thousand by the same code.

value = (raw × scale + offset + Σ plus) × 10^exponent. Each value comes with where it is available and
with one flag. Nothing here fails because of what a meter sent.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import ceil, floor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protocols.modbus.crc import crc16_rows
from protocols.register_map.model import Column, Kind, Number, Span, ToldUnit, Value
from protocols.values.exact import Term, combined
from protocols.values.flags import Flag
from protocols.values.moments import from_calendar, from_unix
from protocols.values.types import is_as_sent
from protocols.values.words import WordTable, raw_numbers, texts

Mask = NDArray[np.bool_]
Flags = NDArray[np.uint8]

#: Exponents that a meter can mean; anything beyond is a register that holds none (65535, 32768, …).
LARGEST_EXPONENT = 10


@dataclass(frozen=True, slots=True)
class Words:
    """One register over `n` rows: `data` uint16 [n] as sent (bits 0 or 1), `present` bool [n]: received."""

    data: NDArray[np.uint16]
    present: Mask


@dataclass(frozen=True, slots=True)
class Decoded:
    """One value over `n` rows.

    `data` [n] has the type of `output_type`: text as `str` objects, moments as int64 ms since 1970 UTC;
    where `available` [n] is False it holds a filler that means nothing. `flag` uint8 [n] holds `Flag`s.
    `unit` [n] is the unit told by the meter, str or None, as objects; None where the map states the unit.
    """

    data: NDArray[Any]
    available: Mask
    flag: Flags
    unit: NDArray[np.object_] | None = None


def decode(value: Value, words: Mapping[Column, Words], unsteady: Mask | None = None) -> Decoded:
    """The value in every row of `words`.

    A word that was not received, or that `words` does not have at all (an older plan did not read it),
    makes the value unavailable without a flag: the row's status tells why. `unsteady` [n] marks rows in
    which parts that were read apart did not agree.
    """
    rows = len(next(iter(words.values())).data) if words else 0
    present = np.ones(rows, np.bool_)
    for column in value.columns():
        present &= words[column].present if column in words else False
    data, lost = _data(value, words, rows)
    lost = np.where(declared(value, words, rows), Flag.NOT_AVAILABLE, lost)
    if unsteady is not None:
        lost = np.where(unsteady, Flag.UNSTEADY, lost)
    doubt = _doubt(value, data)
    unit = None
    if value.told_unit is not None:
        unit, known = _unit(value.told_unit, words, rows)
        doubt = np.where(known, doubt, Flag.UNKNOWN_UNIT)
        unit[~present] = None
    flag = np.where(present, np.where(lost != Flag.NONE, lost, doubt), Flag.NONE)
    return Decoded(data, present & (lost == Flag.NONE), flag.astype(np.uint8), unit)


def record_check(check: Value, words: Mapping[Column, Words]) -> Mask:
    """Where [n] a log record's own check agrees with the record's words before it, all of them received.

    The check is the CRC-16 of Modbus (Serial Line V1.02, 6.2.2) over the words as sent, high byte of each
    first; the low byte of the CRC comes first as in a frame, unless the map says `order: high first`.
    """
    found = decode(check, words)
    nothing = Words(np.zeros(len(found.data), np.uint16), np.zeros(len(found.data), np.bool_))
    before = [words.get(Column(None, address), nothing) for address in range(check.number.address)]
    complete = found.available & np.logical_and.reduce([word.present for word in before])
    sent = np.stack([word.data for word in before], axis=1).astype(">u2").view(np.uint8)
    return np.asarray(complete & (crc16_rows(sent) == found.data))


def _table(number: Number, words: Mapping[Column, Words], rows: int) -> WordTable:
    """The number's words [rows, words] in the order sent; zeros for words never read."""
    nothing = np.zeros(rows, np.uint16)
    return np.stack(
        [words[column].data if column in words else nothing for column in number.columns()], axis=1
    )


def _raw(value: Value, number: Number, words: Mapping[Column, Words], rows: int) -> tuple[NDArray[Any], Mask]:
    """Raw numbers [rows] and where they are some; a check's byte order is the check's own."""
    byte_order = number.byte_order
    if number.kind is Kind.CRC16:
        byte_order = value.crc_order
    return raw_numbers(_table(number, words, rows), number.kind, number.word_order, byte_order)


def _data(value: Value, words: Mapping[Column, Words], rows: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """The value's data [rows], and the flag that takes it away, or `NONE`."""
    number = value.number
    if number.kind is Kind.TEXT:
        found, good = texts(_table(number, words, rows), number.byte_order)
        return found, np.where(good, Flag.NONE, Flag.NOT_AVAILABLE)
    if number.kind is Kind.CALENDAR:
        table = _table(number, words, rows)
        moments, good = from_calendar(table, value.layout, value.coding or "bcd", number.byte_order)
        return moments, np.where(good, Flag.NONE, Flag.INVALID_TIME)
    raw, good = _raw(value, number, words, rows)
    if number.kind is Kind.UNIX_TIME:
        return from_unix(raw), np.full(rows, Flag.NONE)
    lost = np.where(good, Flag.NONE, _no_number(number.kind))
    if is_as_sent(value):
        return np.where(good, raw, raw.dtype.type(0)), lost
    return _combined(value, words, rows)


def _combined(value: Value, words: Mapping[Column, Words], rows: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """A scaled or combined value: all its parts, times its power of ten."""
    lost = np.full(rows, Flag.NONE)
    terms = []
    for number in (value.number, *value.plus):
        raw, good = _raw(value, number, words, rows)
        lost = np.where(good, lost, _no_number(number.kind))
        terms.append(Term(np.where(good, raw, raw.dtype.type(0)), number.scale, number.offset))
    exponent = None
    if value.times_ten_to is not None:
        exponent, good = _exponent(value, value.times_ten_to, words, rows)
        lost = np.where(good, lost, Flag.NOT_AVAILABLE)
    found = combined(terms, exponent)
    lost = np.where(np.isfinite(found) | (lost != Flag.NONE), lost, Flag.NOT_A_NUMBER)
    return np.where(lost == Flag.NONE, found, 0.0), lost


def _exponent(
    value: Value, number: Number, words: Mapping[Column, Words], rows: int
) -> tuple[NDArray[np.int64], Mask]:
    """The power of ten [rows], and where there is one: a whole number from -10 to 10."""
    raw, good = _raw(value, number, words, rows)
    found = combined([Term(np.where(good, raw, raw.dtype.type(0)), number.scale, number.offset)])
    good = good & (np.abs(found) <= LARGEST_EXPONENT) & (found == np.rint(found))
    return np.where(good, found, 0.0).astype(np.int64), good


def _no_number(kind: Kind) -> Flag:
    """The flag of words that are no number of this kind."""
    return Flag.NOT_A_NUMBER if kind in (Kind.FLOAT32, Kind.FLOAT64) else Flag.NOT_AVAILABLE


def declared(value: Value, words: Mapping[Column, Words], rows: int) -> Mask:
    """Where [rows] the main number's raw form is one of those that the map declares as "no reading"."""
    found = np.zeros(rows, np.bool_)
    number = value.number
    if value.not_available.words:
        table = _table(number, words, rows)
        for pattern in value.not_available.words:
            found |= (table == np.array(pattern, dtype=np.uint16)).all(axis=1)
    if value.not_available.numbers and number.kind not in (Kind.TEXT, Kind.CALENDAR):
        raw, good = _raw(value, number, words, rows)
        for wanted in value.not_available.numbers:
            found |= good & _equal(raw, wanted)
    return found


def _equal(raw: NDArray[Any], wanted: Decimal) -> Mask:
    """Where a raw number is the declared one: as the kind can hold it, so that 9999.9 finds its float32."""
    if raw.dtype.kind == "f":
        with np.errstate(over="ignore"):
            return np.asarray(raw == raw.dtype.type(float(wanted)))
    low, high = _whole_limits(raw)
    if wanted != int(wanted) or not low <= wanted <= high:
        return np.zeros(len(raw), np.bool_)
    return np.asarray(raw == raw.dtype.type(int(wanted)))


def _doubt(value: Value, data: NDArray[Any]) -> NDArray[Any]:
    """The flag [rows] that stands beside a kept value, or `NONE`."""
    doubt = np.full(len(data), Flag.NONE)
    if data.dtype.kind not in "iuf":
        return doubt
    if value.range is not None:
        below, above = _outside(data, value.range)
        doubt = np.where(below, Flag.BELOW_RANGE, np.where(above, Flag.ABOVE_RANGE, doubt))
    if value.codes:
        known = np.logical_or.reduce([_equal(data, Decimal(code)) for code in value.codes])
        doubt = np.where(known, doubt, Flag.UNKNOWN_CODE)
    return doubt


def _outside(data: NDArray[Any], span: Span) -> tuple[Mask, Mask]:
    """Below and above the span [rows]. Floats are held against the ends as their own type can hold them,
    so that a meter which sends its full scale as 0.1 in float32 is at the end, not past it."""
    if data.dtype.kind == "f":
        with np.errstate(over="ignore"):
            low, high = data.dtype.type(float(span.low)), data.dtype.type(float(span.high))
        return data < low, data > high
    least, most = _whole_limits(data)
    lowest, highest = ceil(span.low), floor(span.high)
    nowhere, everywhere = np.zeros(len(data), np.bool_), np.ones(len(data), np.bool_)
    below = everywhere if lowest > most else nowhere if lowest <= least else data < lowest
    above = everywhere if highest < least else nowhere if highest >= most else data > highest
    return below, above


def _whole_limits(numbers: NDArray[Any]) -> tuple[int, int]:
    if numbers.dtype.kind == "b":
        return 0, 1
    limits = np.iinfo(numbers.dtype)
    return int(limits.min), int(limits.max)


def _unit(told: ToldUnit, words: Mapping[Column, Words], rows: int) -> tuple[NDArray[np.object_], Mask]:
    """The unit's text [rows], and where the map lists one for the number told; None elsewhere."""
    number = told.number
    raw, good = raw_numbers(_table(number, words, rows), number.kind, number.word_order, number.byte_order)
    code = combined([Term(np.where(good, raw, raw.dtype.type(0)), number.scale, number.offset)])
    unit = np.full(rows, None, dtype=object)
    known = np.zeros(rows, np.bool_)
    for listed, text in told.codes.items():
        found = good & (code == listed)
        unit[found] = text
        known |= found
    return unit, known
