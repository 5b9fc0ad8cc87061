"""Rows of the journal → an Arrow table with readings, flags, units and raw words, as sealed.

Column types come from the map, never from the data. Columns: sequence, due, time, clock, status; for each
reading its value, `<name>_flag` where it can carry a flag, `<name>_unit` where the meter tells its unit;
then every word read as `raw_<table>_<address>`.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from protocols.register_map.model import Column, Condition, Number, Reference, RegisterMap, Value
from protocols.register_map.parse import parse_map
from protocols.values.decode import Words, decode
from protocols.values.flags import FLAG_WORDS, Flag, can_be_flagged
from protocols.values.types import ColumnType, output_type
from readout.clock import iso
from readout.plan.plan import condition_name, raw_name
from readout.sealing.arrays import numbers, texts, words_of
from readout.sealing.record import UNSTEADY, Record
from storage.journal import UNSET

if TYPE_CHECKING:
    from storage.journal import Row

TIME = pa.timestamp("ms", tz="UTC")

_ARROW: dict[ColumnType, pa.DataType] = {
    ColumnType.BOOL: pa.bool_(),
    ColumnType.INT16: pa.int16(),
    ColumnType.UINT16: pa.uint16(),
    ColumnType.INT32: pa.int32(),
    ColumnType.UINT32: pa.uint32(),
    ColumnType.INT64: pa.int64(),
    ColumnType.UINT64: pa.uint64(),
    ColumnType.FLOAT32: pa.float32(),
    ColumnType.FLOAT64: pa.float64(),
    ColumnType.STRING: pa.string(),
    ColumnType.TIMESTAMP: TIME,
}

#: What a flag column holds, by the flag's number.
_FLAGS: list[str | None] = [FLAG_WORDS.get(flag) for flag in sorted(Flag)]

_FIXED: list[tuple[str, pa.DataType]] = [
    ("sequence", pa.int64()),
    ("due", TIME),
    ("time", TIME),
    ("clock", pa.string()),
    ("status", pa.string()),
]


@lru_cache(maxsize=32)
def map_of(text: str) -> RegisterMap:
    """The register map of that text, which was without faults when its rows were measured.

    Raises:
        ValueError: it has a fault by now.
    """
    parsed = parse_map(text.encode(), "map")
    if parsed.map is None:
        raise ValueError(f"the map kept with the rows is not understood: {parsed.faults[0]}")
    return parsed.map


def schema_of(record: Record) -> pa.Schema:
    """The table's columns with their metadata (unit, quantity, reference, register, words)."""
    fields = [pa.field(name, kind) for name, kind in _FIXED]
    fields += value_fields(map_of(record.map_text).readings, record)
    fields += [pa.field(raw_name(column), pa.uint16()) for column in record.columns]
    return pa.schema(fields)


def value_fields(values: Sequence[Value], record: Record) -> "list[pa.Field[Any]]":
    """The columns of values, their flags and units, with what the map says of them."""
    fields: list[pa.Field[Any]] = []
    for value in values:
        fields.append(pa.field(value.name, _ARROW[output_type(value)], metadata=_about(value, record)))
        if can_be_flagged(value):
            fields.append(pa.field(f"{value.name}_flag", pa.string()))
        if value.told_unit is not None:
            fields.append(pa.field(f"{value.name}_unit", pa.string()))
    return fields


def table_of(record: Record, rows: Sequence["Row"]) -> pa.Table:
    """The rows of one stretch, in their order, as a table."""
    words = unpacked(record.columns, rows)
    timed = np.array([row.is_timed for row in rows], np.bool_)
    replied = timed & np.array([row.time is not None for row in rows], np.bool_)
    arrays: dict[str, pa.Array[Any]] = {
        "sequence": numbers(np.array([row.sequence for row in rows], np.int64), pa.int64()),
        "due": numbers(np.array([row.due for row in rows], np.int64), TIME, timed),
        "time": numbers(np.array([row.time or 0 for row in rows], np.int64), TIME, replied),
        "clock": texts([row.clock for row in rows]),
        "status": texts([row.status for row in rows]),
    }

    def unsteady(value: Value) -> NDArray[np.bool_] | None:
        if not value.apart:
            return None
        return np.array([value.name in unsteady_names(row.cause) for row in rows], np.bool_)

    arrays |= readings_of(record, words, unsteady)
    for column in record.columns:
        held = words[column]
        arrays[raw_name(column)] = numbers(held.data, pa.uint16(), held.present)
    schema = schema_of(record)
    return pa.Table.from_arrays([arrays[name] for name in schema.names], schema=schema)


def metadata_of(record: Record, rows: Sequence["Row"]) -> dict[str, str]:
    """The metadata of the file that holds these rows (at least one)."""
    entry: dict[str, Any] = {
        "count": len(rows),
        "first_sequence": rows[0].sequence,
        "last_sequence": rows[-1].sequence,
        "first_due": iso(rows[0].due / 1000) if rows[0].is_timed else None,
        "last_due": iso(rows[-1].due / 1000) if rows[-1].is_timed else None,
    }
    if before_set := _before_set(rows):
        entry["clock_unset"] = before_set
    return record.metadata(entry)


def _before_set(rows: Sequence["Row"]) -> list[dict[str, Any]]:
    """Runs of rows measured before the clock was set: what it said, and the seconds added to put it right."""
    runs = groupby(rows, lambda row: (row.clock == UNSET, row.boot, row.shifted))
    found = []
    for (unset, _, shifted), held in runs:
        if unset:
            run = list(held)
            seconds = None if shifted is None else shifted / 1000
            found.append(
                {
                    "first_sequence": run[0].sequence,
                    "last_sequence": run[-1].sequence,
                    "first_told": iso((run[0].due - (shifted or 0)) / 1000),
                    "last_told": iso((run[-1].due - (shifted or 0)) / 1000),
                    "seconds_added": seconds,
                }
            )
    return found


def unpacked(columns: Sequence[Column], rows: Sequence["Row"]) -> dict[Column, Words]:
    """The packed words of the rows as one array a column; rows without words count as not received."""
    width = len(columns)
    data = np.zeros((len(rows), width), "<u2")
    present = np.zeros((len(rows), width), np.bool_)
    whole = np.array([len(row.words) == 2 * width for row in rows], np.bool_)
    if whole.any() and width:  # all at once: row by row it would take seven times as long
        words = b"".join(row.words for row, held in zip(rows, whole, strict=True) if held)
        bits = b"".join(row.present for row, held in zip(rows, whole, strict=True) if held)
        data[whole] = np.frombuffer(words, "<u2").reshape(-1, width)
        octets = np.frombuffer(bits, np.uint8).reshape(-1, (width + 7) // 8)
        present[whole] = np.unpackbits(octets, axis=1, bitorder="little", count=width).astype(np.bool_)
    return {
        column: Words(np.ascontiguousarray(data[:, i]).astype(np.uint16), np.ascontiguousarray(present[:, i]))
        for i, column in enumerate(columns)
    }


def unsteady_names(cause: str) -> frozenset[str]:
    """The values that a row's cause names as unsteady."""
    _, found, names = cause.partition(UNSTEADY)
    return frozenset(names.split()) if found else frozenset()


def readings_of(
    record: Record, words: Mapping[Column, Words], unsteady: "Callable[[Value], NDArray[np.bool_] | None]"
) -> "dict[str, pa.Array[Any]]":
    """Every reading's columns: values, flags, units. `unsteady` [n]: parts read apart did not agree."""
    return columns_of(map_of(record.map_text).readings, words, unsteady)


def columns_of(
    values: Sequence[Value],
    words: Mapping[Column, Words],
    unsteady: "Callable[[Value], NDArray[np.bool_] | None]" = lambda _: None,
) -> "dict[str, pa.Array[Any]]":
    """The columns of `value_fields`, decoded from the words."""
    arrays: dict[str, pa.Array[Any]] = {}
    for value in values:
        decoded = decode(value, words, unsteady(value))
        kind = _ARROW[output_type(value)]
        if kind == pa.string():
            held = zip(decoded.data, decoded.available, strict=True)
            arrays[value.name] = texts([str(text) if there else None for text, there in held])
        else:
            arrays[value.name] = numbers(decoded.data, kind, decoded.available)
        if can_be_flagged(value):
            arrays[f"{value.name}_flag"] = words_of(decoded.flag, _FLAGS)
        if decoded.unit is not None:
            arrays[f"{value.name}_unit"] = texts(list(decoded.unit))
    return arrays


def _about(value: Value, record: Record) -> dict[str, str]:
    """A reading's column metadata; only what the map says, and what the meter told of its reference."""
    unit = value.unit if value.told_unit is None else f"see {value.name}_unit"
    about: dict[str, Any] = {
        "unit": _unit(unit, gauge=value.gauge),
        "quantity": value.quantity,
        "basis": value.basis,
        "reference": _reference(value.reference, record),
        "register": ", ".join(_register(part) for part in value.parts()),
        "words": _words(value),
    }
    return {key: text for key, text in about.items() if text}


def _unit(unit: str | None, *, gauge: bool) -> str | None:
    return f"{unit}(g)" if unit and gauge and not unit.endswith("(g)") else unit


def _reference(reference: Reference | None, record: Record) -> str | None:
    """Temperature and pressure; told ones as the meter told them, with the register that tells them."""
    if reference is None:
        return None
    return ", ".join(_condition(one, record) for one in (reference.temperature, reference.pressure))


def _condition(condition: Condition, record: Record) -> str:
    if condition.told is None:
        return condition.text or "not stated"
    told = record.settings.get(condition_name(condition.told), {})
    where = f"told by {_register(condition.told.number)}"
    if told.get("value") is None:
        return f"not read, {where}"
    return f"{told['value']} {told['unit'] or ''}".strip() + f" ({where})"


def _register(number: Number) -> str:
    return f"{number.table or 'record'} {number.address} {number.kind}"


def _words(value: Value) -> str | None:
    """The words of codes or bits as JSON text: {"codes": {number: word}} or {"bits": {bit: word}}."""
    kind, listed = ("codes", value.codes) if value.codes else ("bits", value.bits)
    if not listed:
        return None
    return json.dumps({kind: {str(n): word for n, word in listed.items()}}, ensure_ascii=False)
