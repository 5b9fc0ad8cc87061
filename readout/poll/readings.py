"""The values of one round as JSON types, by name: what `read` shows and what a meter's introduction keeps."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np

from protocols.register_map.model import Column, Condition, RegisterMap, Value
from protocols.values.decode import Words, decode
from protocols.values.flags import FLAG_WORDS
from protocols.values.types import ColumnType, output_type
from readout.clock import iso
from readout.plan.plan import RoundPlan
from readout.poll.round import Round


def readings_of(plan: RoundPlan, found: Round, values: Sequence[Value]) -> dict[str, dict[str, Any]]:
    """Values of one round by name: {value, unit, flag}; value null where it is not available.

    Number, word for codes ("unknown(17)" where the map does not list it), list of words for bits, text,
    ISO time in UTC, true or false for coils and discrete inputs.
    """
    return readings_in(_sent(plan, found), values, found.unsteady)


def readings_in(
    sent: Mapping[Column, int | None], values: Sequence[Value], unsteady: Collection[str] = ()
) -> dict[str, dict[str, Any]]:
    """As `readings_of`, from a round's words as they were kept; None where a word did not come.

    `unsteady` names the values whose parts were read apart and do not belong together.
    """
    row = np.ones(1, np.bool_)
    words = {
        column: Words(np.array([word or 0], np.uint16), row & (word is not None))
        for column, word in sent.items()
    }
    return {value.name: _reading(value, words, value.name in unsteady) for value in values}


def _sent(plan: RoundPlan, found: Round) -> dict[Column, int | None]:
    return dict(zip(plan.columns, found.words or (None,) * len(plan.columns), strict=True))


def as_told(value: Value, sent: Mapping[Column, int]) -> dict[str, Any]:
    """One value of its words as sent: {value, unit, flag}, as `readings_of` gives them."""
    here = np.ones(1, np.bool_)
    words = {column: Words(np.array([word], np.uint16), here) for column, word in sent.items()}
    return _reading(value, words, unsteady=False)


def _reading(value: Value, words: Mapping[Column, Words], unsteady: bool) -> dict[str, Any]:  # noqa: FBT001
    decoded = decode(value, words, np.array([unsteady]) if value.apart else None)
    unit = value.unit
    if decoded.unit is not None:
        unit = decoded.unit[0]
    shown: Any = None
    if decoded.available[0]:
        shown = _plain(value, decoded.data[0])
    return {"value": shown, "unit": unit, "flag": FLAG_WORDS.get(decoded.flag[0].item())}


def _plain(value: Value, datum: Any) -> Any:
    """One decoded datum as a JSON type that loses nothing."""
    kind = output_type(value)
    if value.codes:
        return value.codes.get(int(datum), f"unknown({int(datum)})")
    if value.bits:
        return value.set_bits(int(datum), value.number.words)
    if kind is ColumnType.STRING:
        return str(datum)
    if kind is ColumnType.BOOL:
        return bool(datum)
    if kind is ColumnType.TIMESTAMP:
        return iso(int(datum) / 1000)
    if kind is ColumnType.FLOAT32:
        return float(str(np.float32(datum)))  # the shortest decimal that gives back the float32
    if kind is ColumnType.FLOAT64:
        return float(datum)
    return int(datum)


def conditions_of(plan: RoundPlan, found: Round, register_map: RegisterMap) -> dict[str, str]:
    """Reading name → its reference conditions in words ("20 degC, 1 bar"), told ones as just read.

    A condition that the meter tells and that was not read is "not read".
    """
    return conditions_in(_sent(plan, found), register_map)


def conditions_in(sent: Mapping[Column, int | None], register_map: RegisterMap) -> dict[str, str]:
    """As `conditions_of`, from a round's words as they were kept."""
    conditions: dict[str, str] = {}
    for value in register_map.readings:
        if value.reference is not None:
            pair = (value.reference.temperature, value.reference.pressure)
            conditions[value.name] = ", ".join(_condition(one, sent) for one in pair)
    return conditions


def _condition(condition: Condition, sent: Mapping[Column, int | None]) -> str:
    if condition.told is None:
        return condition.text or "not stated"
    reading = readings_in(sent, [condition.told])[condition.told.name]
    if reading["value"] is None:
        return "not read"
    return f"{reading['value']} {reading['unit'] or ''}".strip()
