"""What a setting is to become: the user's words to a quantity that its register takes, or a refusal."""

import difflib
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from decimal import Decimal

import numpy as np

from protocols.errors import RequestError
from protocols.register_map.model import Column, Kind, Number, RegisterMap, Value
from protocols.units import Quantity, quantity_of
from protocols.values.encode import encode_exactly
from protocols.values.words import raw_numbers
from readout.errors import WrongUse
from readout.measuring_point.conversion import converted
from readout.measuring_point.model import MeasuringPoint, Owner

_NUMBER = re.compile(r"[-+]?(?:0|[1-9]\d{0,18})(?:\.\d{1,18})?(?:[eE][-+]?\d{1,2})?", re.ASCII)
_ON, _OFF = ("on", "true", "yes", "1"), ("off", "false", "no", "0")

Wanted = Decimal | int | str | bool


def ours(point: MeasuringPoint) -> None:
    """WrongUse for a customer's meter: nothing is ever written to it."""
    if point.meter.owner is Owner.CUSTOMER:
        raise WrongUse(
            f"{point.name}: the point file says owner: customer, so nothing is written to this meter. Ask "
            "its owner to do it; if the meter is yours, the point file must say owner: ours."
        )


def writable_setting(register_map: RegisterMap, name: str) -> Value:
    """The setting of that name; WrongUse where there is none, or the map does not let it be written."""
    settings = {setting.name: setting for setting in register_map.settings}
    found = settings.get(name)
    if found is None:
        known = ", ".join(settings) or "none"
        raise WrongUse(f"no such setting: {name}{nearest(name, settings)}. The map has: {known}.")
    if not found.writable:
        raise WrongUse(
            f"{name} is not to be written: the map does not say write: allowed for it (line {found.line}). "
            "Set it at the meter, or add the key if the meter's manual says that it can be written."
        )
    return found


def nearest(word: str, known: Iterable[str]) -> str:
    """`; did you mean inside_diameter`, or nothing where no known word is near."""
    found = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.5)
    return f"; did you mean {found[0]}" if found else ""


def wanted(setting: Value, text: str, unit: str | None) -> Wanted:
    """The quantity that `text` means for this setting, in `unit`, the setting's own or as the meter tells it.

    Raises:
        WrongUse: it is none, has another unit than can be converted, or is not among the steps or in the
            range that the map allows.
    """
    written = text.strip()
    if setting.codes:
        return _code(setting, written)
    if setting.bits:
        return _bits(setting, written)
    if setting.number.kind is Kind.BIT:
        return _switch(setting, written)
    if setting.number.kind is Kind.TEXT:
        return written
    number = _number(setting, written, unit)
    _check_steps(setting, number, unit)
    span = setting.range
    if span is not None and not span.low <= number <= span.high:
        raise WrongUse(
            f"{setting.name} {_with(number, unit)} is outside what the map allows: {_with(span.low, unit)} "
            f"to {_with(span.high, unit)}."
        )
    return number


def words_for(setting: Value, quantity: Wanted, before: Mapping[Column, int]) -> dict[Column, int]:
    """The words to be written so that the setting tells exactly this; `before` is what it tells now.

    A power of ten in a register of its own stays where it can: meters let it be written less often. Parts
    that are the same before and after are left out. WrongUse where it could be held only rounded, or not.
    """
    words = None
    if setting.times_ten_to is not None:
        with suppress(RequestError):
            words = encode_exactly(setting, quantity, exponent=_whole(setting.times_ten_to, before))
    try:
        words = words or encode_exactly(setting, quantity)
    except RequestError as error:
        raise WrongUse(str(error)) from error
    changed = [
        part for part in setting.parts() if any(words.get(c, before[c]) != before[c] for c in part.columns())
    ]
    return {column: words[column] for part in changed for column in part.columns()}


def _whole(number: Number, words: Mapping[Column, int]) -> int:
    """What a register of whole numbers tells."""
    sent = np.array([[words[column] for column in number.columns()]], np.uint16)
    raw, _ = raw_numbers(sent, number.kind, number.word_order, number.byte_order)
    return round(int(raw[0]) * number.scale + number.offset)


def _code(setting: Value, text: str) -> str | int:
    words = {word.lower(): word for word in setting.codes.values()}
    if text.lower() in words:
        return words[text.lower()]
    if text.isdecimal() and int(text) in setting.codes:
        return setting.codes[int(text)]
    known = ", ".join(setting.codes.values())
    raise WrongUse(f"{setting.name} cannot be '{text}'{nearest(text, words)}; its words are: {known}.")


def _bits(setting: Value, text: str) -> int:
    """`sensor fault, supply low`, or `none`."""
    if text.lower() == "none":
        return 0
    numbers = {word.lower(): bit for bit, word in setting.bits.items()}
    raw = 0
    for word in (part.strip().lower() for part in text.split(",")):
        if word not in numbers:
            known = ", ".join(setting.bits.values())
            raise WrongUse(
                f"{setting.name} has no '{word}'{nearest(word, numbers)}; none, or some of: {known}."
            )
        raw |= 1 << numbers[word]
    return raw


def _switch(setting: Value, text: str) -> bool:
    if text.lower() in (*_ON, *_OFF):
        return text.lower() in _ON
    raise WrongUse(f"{setting.name} is a switch: write on or off, not '{text}'.")


def _number(setting: Value, text: str, unit: str | None) -> Decimal:
    if unit is None:
        if not _NUMBER.fullmatch(text):
            raise WrongUse(f"{setting.name} has no unit in the map: write a number alone, not '{text}'.")
        return Decimal(text)
    target = quantity_of(f"1 {unit}")
    if isinstance(target, str):  # a unit that only the map knows
        own = text.removesuffix(unit).rstrip()
        if own == text or not _NUMBER.fullmatch(own):
            raise WrongUse(
                f"{setting.name} is in '{unit}', which no other unit is converted to; write it so."
            )
        return Decimal(own)
    found = quantity_of(text)
    if isinstance(found, str):
        raise WrongUse(f"{setting.name} '{text}': {found}; this setting is in {unit}.")
    _check_side(setting, found, target)
    return converted(found, target.unit)


def _check_side(setting: Value, found: Quantity, target: Quantity) -> None:
    """Gauge and absolute pressures differ by the weather: neither is taken for the other."""
    gauge = True if setting.gauge else target.gauge
    if gauge == found.gauge or (not gauge and found.gauge is None) or (gauge is None and not found.gauge):
        return
    side = "(g), above the air around it" if gauge else "(a), absolute"
    raise WrongUse(f"{setting.name} is a pressure {side}; write such as 1 {target.unit.word}{side[:3]}.")


def _check_steps(setting: Value, number: Decimal, unit: str | None) -> None:
    if not setting.steps or number in setting.steps:
        return
    near = min(setting.steps, key=lambda step: abs(step - number))
    known = ", ".join(f"{step:f}" for step in setting.steps)
    raise WrongUse(
        f"{setting.name} takes only {known}{f' {unit}' if unit else ''}; {_with(number, unit)} is not among "
        f"them, the nearest is {_with(near, unit)}."
    )


def _with(number: Decimal, unit: str | None) -> str:
    return f"{number:f} {unit}" if unit else f"{number:f}"
