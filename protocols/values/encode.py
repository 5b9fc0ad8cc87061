"""Values → words: the inverse of `decode`, for simulated meters and for writing settings.

`encode` rounds to what the meter can hold (a sensor's resolution); `encode_exactly` refuses to round, for
settings, where 0.5 s must not silently become 0 s.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np

from protocols.errors import RequestError
from protocols.register_map.model import Column, Kind, Number, Value
from protocols.values.decode import LARGEST_EXPONENT, Words, declared
from protocols.values.exact import nearest
from protocols.values.moments import CENTURY, to_calendar, to_unix
from protocols.values.words import WHOLE_LIMITS, ordered, raw_words, text_words

Quantity = float | int | Decimal | str | bool | datetime | None
Raw = int | float

_FLOATS: Mapping[Kind, type[np.floating[Any]]] = {Kind.FLOAT32: np.float32, Kind.FLOAT64: np.float64}
#: What every float register can hold without a look.
_PLAIN = float(np.finfo(np.float32).max)
#: The words of kinds that have a form of their own for "no reading": quiet NaN, or all ones.
_NO_READING: Mapping[Kind, tuple[int, ...]] = {
    Kind.FLOAT32: (0x7FC0, 0),
    Kind.FLOAT64: (0x7FF8, 0, 0, 0),
    Kind.BCD16: (0xFFFF,),
    Kind.BCD32: (0xFFFF, 0xFFFF),
}


def encode(
    value: Value, quantity: Quantity, *, exponent: int | None = None, unit: str | None = None
) -> dict[Column, int]:
    """The words that tell `quantity`, rounded to the nearest that the meter can hold.

    `quantity`: a number in the value's unit; a word of `codes`; text; True or False for a coil; a datetime
    with a time zone for a moment; None for the first form that means "no reading". `exponent` is the power
    of ten that the meter stands at; without it the one that loses least is chosen, the one nearest to 0
    among equals. `unit` sets the unit's register too, where the meter tells it.

    Raises RequestError where no words of this value can tell the quantity.
    """
    return _encoded(value, quantity, exponent, unit)[0]


def encode_exactly(
    value: Value, quantity: Quantity, *, exponent: int | None = None, unit: str | None = None
) -> dict[Column, int]:
    """As `encode`, and raises RequestError too where the meter could hold the quantity only rounded.

    A float register holds any number of its span: rounding to the next float is not counted.
    """
    words, error = _encoded(value, quantity, exponent, unit)
    if error:
        raise RequestError(
            f"{_what(value, quantity)} would be rounded to {_plain(_fraction(quantity) - error)} by "
            f"{_where(value)}: give a number that the register can hold."
        )
    return words


def _encoded(
    value: Value, quantity: Quantity, exponent: int | None, unit: str | None
) -> tuple[dict[Column, int], Fraction]:
    """The words, and what rounding took from the quantity."""
    error = Fraction(0)
    if quantity is None:
        words = _no_reading(value)
    elif value.number.kind is Kind.TEXT:
        words = _text(value, quantity)
    elif value.number.kind in (Kind.UNIX_TIME, Kind.CALENDAR):
        words = _moment(value, quantity)
    else:
        words, error = _number(value, quantity, exponent)
    if quantity is not None:
        _refuse_declared(value, quantity, words)
    if unit is not None:
        words |= _unit(value, unit)
    return words, error


# ---- numbers


def _number(value: Value, quantity: Quantity, exponent: int | None) -> tuple[dict[Column, int], Fraction]:
    """Words of the best split over the parts, over all powers of ten that may be used."""
    if isinstance(quantity, float) and abs(quantity) <= _PLAIN and _is_plain_float(value):
        return _words(value, value.number, quantity + 0.0), Fraction(0)  # no zero is negative
    wanted = _fraction(_code(value, quantity))
    best: tuple[Fraction, int, list[Raw]] | None = None
    for power in _powers(value, exponent):
        raws, error = _split(value, wanted / Fraction(10) ** power)
        error *= Fraction(10) ** power
        if raws is not None and (best is None or abs(error) < abs(best[0])):
            best = (error, power, raws)
        if best is not None and best[0] == 0:
            break
    if best is None:
        raise RequestError(f"{_what(value, quantity)} cannot be told by {_where(value)}{_span(value)}.")
    error, power, raws = best
    words: dict[Column, int] = {}
    for number, raw in zip((value.number, *value.plus), raws, strict=True):
        words |= _words(value, number, raw)
    if value.times_ten_to is not None:
        words |= _words(value, value.times_ten_to, _power_raw(value.times_ten_to, power))
    return words, error


def _is_plain_float(value: Value) -> bool:
    """Whether the registers hold the quantity itself, so that the next float is all there is to find."""
    number = value.number
    alone = not value.plus and value.times_ten_to is None
    return number.kind in _FLOATS and alone and number.scale == 1 and number.offset == 0


def _code(value: Value, quantity: Quantity) -> Quantity:
    """The number of a word of `codes`; other quantities as they are."""
    if not isinstance(quantity, str):
        return quantity
    for number, word in value.codes.items():
        if word == quantity:
            return number
    known = ", ".join(value.codes.values()) or "none; give a number"
    raise RequestError(f"{_what(value, quantity)} is no word of {_where(value)}; its words are {known}.")


def _fraction(quantity: Quantity) -> Fraction:
    """The quantity as the decimal it is written as: the float 0.1 means one tenth."""
    if isinstance(quantity, int | np.integer):
        return Fraction(int(quantity))
    decimal = None
    if isinstance(quantity, Decimal):
        decimal = quantity
    elif isinstance(quantity, float | np.floating):
        decimal = Decimal(repr(float(quantity)))
    if decimal is None or not decimal.is_finite():
        raise RequestError(
            f"{quantity} is not a number that words can tell; for no reading give none at all."
        )
    return Fraction(decimal)


def _powers(value: Value, exponent: int | None) -> Sequence[int]:
    """Powers of ten that may be used, the nearest to 0 first."""
    if value.times_ten_to is None:
        return (0,)
    wanted = sorted(range(-LARGEST_EXPONENT, LARGEST_EXPONENT + 1), key=abs)
    if exponent is not None:
        wanted = [exponent] if abs(exponent) <= LARGEST_EXPONENT else []
    register = value.times_ten_to
    held = [power for power in wanted if _fits(register, (power - Fraction(register.offset)))]
    if not held:
        raise RequestError(
            f"{value.name} cannot stand at 10^{exponent}: {_named(register)} holds a power of ten from "
            f"-{LARGEST_EXPONENT} to {LARGEST_EXPONENT} at most."
        )
    return held


def _fits(number: Number, scaled: Fraction) -> bool:
    """Whether raw × scale can be exactly `scaled`."""
    raw = scaled / Fraction(number.scale)
    if number.kind in _FLOATS:
        return True
    low, high = WHOLE_LIMITS[number.kind]
    return raw.denominator == 1 and low <= raw <= high


def _power_raw(number: Number, power: int) -> Raw:
    raw = (power - Fraction(number.offset)) / Fraction(number.scale)
    return float(raw) if number.kind in _FLOATS else int(raw)


def _split(value: Value, wanted: Fraction) -> tuple[list[Raw] | None, Fraction]:
    """Raw numbers of the main part and of `plus` that add up to `wanted`, and what is then missing.

    Whole numbers of the coarsest scale take what they can, rounded down, so that the next finer part is
    left with less than one step of the coarser and never below 0; the finest is rounded to nearest.
    """
    parts = (value.number, *value.plus)
    rest = wanted - sum(Fraction(part.offset) for part in parts)
    order = sorted(range(len(parts)), key=lambda i: (parts[i].kind in _FLOATS, -abs(parts[i].scale)))
    finest = parts[order[-1]]
    error = Fraction(0)
    if finest.kind not in _FLOATS:
        step = abs(Fraction(finest.scale))
        rounded = round(rest / step) * step
        error, rest = rest - rounded, rounded
    raws: list[Raw] = [0] * len(parts)
    for i in order:
        raw = _taken(parts[i], rest / Fraction(parts[i].scale))
        if raw is None:
            return None, rest
        raws[i] = raw
        rest -= Fraction(raw) * Fraction(parts[i].scale)
    if finest.kind in _FLOATS:
        return raws, error  # the next float is near enough
    return (raws, error) if not rest else (None, rest)


def _taken(number: Number, wanted: Fraction) -> Raw | None:
    """The raw number of one part that comes nearest to `wanted` from below; None beyond all floats."""
    if number.kind in _FLOATS:
        with np.errstate(over="ignore"):
            raw = float(_FLOATS[number.kind](nearest(wanted)))
        return raw if np.isfinite(raw) else None
    low, high = WHOLE_LIMITS[number.kind]
    return min(max(wanted.__floor__(), low), high)


def _words(value: Value, number: Number, raw: Raw) -> dict[Column, int]:
    byte_order = value.crc_order if number.kind is Kind.CRC16 else number.byte_order
    dtype = _FLOATS.get(number.kind) or (np.int64 if raw < 0 else np.uint64)
    words = raw_words(np.array([raw], dtype=dtype), number.kind, number.word_order, byte_order)
    return dict(zip(number.columns(), words[0].tolist(), strict=True))


# ---- text, moments, units, no reading


def _text(value: Value, quantity: Quantity) -> dict[Column, int]:
    number = value.number
    room = 2 * number.words
    try:
        text = str(quantity).encode("latin-1")
    except UnicodeEncodeError as why:
        raise RequestError(
            f"{_what(value, quantity)} has a character that Latin-1 lacks: {str(quantity)[why.start]!r}."
        ) from why
    if len(text) > room:
        raise RequestError(f"{_what(value, quantity)} is too long for {_where(value)}: {room} characters.")
    if text == b"\xff" * room:
        raise RequestError(
            f"{_what(value, quantity)} would fill {_where(value)} with FF: that means no text."
        )
    words = text_words(text, number.words, number.byte_order)
    return dict(zip(number.columns(), words[0].tolist(), strict=True))


def _moment(value: Value, quantity: Quantity) -> dict[Column, int]:
    number = value.number
    if not isinstance(quantity, datetime) or quantity.tzinfo is None:
        raise RequestError(f"{_what(value, quantity)} is no moment: give a date and time with its zone.")
    moment = quantity.astimezone(UTC)
    if number.kind is Kind.UNIX_TIME:
        seconds = to_unix(moment)
        if not 0 <= seconds <= WHOLE_LIMITS[Kind.UNIX_TIME][1]:
            raise RequestError(f"{_what(value, quantity)} is outside unix time: 1970 to February 2106.")
        return _words(value, number, seconds)
    if not CENTURY <= moment.year < CENTURY + 100:
        raise RequestError(f"{_what(value, quantity)} is outside a two-digit year: 2000 to 2099.")
    words = to_calendar(moment, value.layout, value.coding or "bcd", number.byte_order)
    return dict(zip(number.columns(), words[0].tolist(), strict=True))


def _unit(value: Value, unit: str) -> dict[Column, int]:
    told = value.told_unit
    codes = {} if told is None else {text: code for code, text in told.codes.items()}
    if told is None or unit not in codes:
        raise RequestError(
            f"{value.name} cannot be told in {unit}: its units are {', '.join(codes) or 'the map to state'}."
        )
    raw = (codes[unit] - Fraction(told.number.offset)) / Fraction(told.number.scale)
    return _words(value, told.number, int(raw))


def _no_reading(value: Value) -> dict[Column, int]:
    """The first declared form, else the kind's own; further parts 0, the power of ten 0."""
    number = value.number
    words: dict[Column, int] = {}
    for part in (*value.plus, *([value.times_ten_to] if value.times_ten_to else [])):
        words |= _words(value, part, 0)
    if value.not_available.numbers:
        declared = value.not_available.numbers[0]
        return words | _words(value, number, float(declared) if number.kind in _FLOATS else int(declared))
    if value.not_available.words:
        pattern = value.not_available.words[0]
    elif number.kind in (Kind.TEXT, Kind.CALENDAR):
        pattern = (0xFFFF,) * number.words
    elif number.kind in _NO_READING:
        raw = np.array([_NO_READING[number.kind]], dtype=np.uint16)
        pattern = tuple(ordered(raw, number.word_order, number.byte_order)[0].tolist())
    else:
        raise RequestError(
            f"{value.name} has no form for no reading: the map's not_available would say which words mean it."
        )
    return words | dict(zip(number.columns(), pattern, strict=True))


def _refuse_declared(value: Value, quantity: Quantity, words: Mapping[Column, int]) -> None:
    """Refuse words that a reader of this map would take for "no reading"."""
    if not (value.not_available.words or value.not_available.numbers):
        return
    row = {column: Words(np.array([word], np.uint16), np.ones(1, np.bool_)) for column, word in words.items()}
    if declared(value, row, 1)[0]:
        raise RequestError(
            f"{_what(value, quantity)} would be told by words that mean no reading in {_where(value)}."
        )


# ---- sentences


def _what(value: Value, quantity: Quantity) -> str:
    return f"{value.name} = {quantity}{f' {value.unit}' if value.unit else ''}"


def _where(value: Value) -> str:
    return " with ".join(_named(number) for number in (value.number, *value.plus))


def _named(number: Number) -> str:
    """A register run as the map names it: "input 22 (uint32 × 0.1)"."""
    place = "record word" if number.table is None else number.table.value
    scale = "" if number.scale == 1 else f" × {number.scale}"
    offset = "" if number.offset == 0 else f" {number.offset:+}"
    return f"{place} {number.address} ({number.kind.value}{scale}{offset})"


def _span(value: Value) -> str:
    """What the main number can hold, in the value's unit, where that is all there is."""
    number = value.number
    if value.plus or value.times_ten_to or number.kind not in WHOLE_LIMITS:
        return ""
    ends = [end * Fraction(number.scale) + Fraction(number.offset) for end in WHOLE_LIMITS[number.kind]]
    return f", which holds {_plain(min(ends))} to {_plain(max(ends))}"


def _plain(number: Fraction) -> str:
    return str(int(number)) if number.denominator == 1 else f"{float(number):.15g}"
