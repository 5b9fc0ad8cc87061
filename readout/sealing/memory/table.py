"""Records of a meter's memory → an Arrow table, as sealed.

Columns: sequence, time, meter_time, time_flag, session, record; for each value of the record its value, flag
and told unit as with readings; `check_flag` (`mismatch`) where records have a check of their own; then every
word of the record as `raw_<n>`, n counted from 0.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from protocols.log_memory.records import columns as words_by_column
from protocols.log_memory.times import Times, flag_words
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Column
from protocols.values.decode import Words
from readout.sealing.arrays import numbers, texts
from readout.sealing.record import Record
from readout.sealing.table import TIME, columns_of, map_of, value_fields

SOURCE = "memory"
CHECK_FLAG, MISMATCH = "check_flag", "mismatch"

Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]

_FIXED: list[tuple[str, pa.DataType]] = [
    ("sequence", pa.int64()),
    ("time", TIME),
    ("meter_time", TIME),
    ("time_flag", pa.string()),
    ("session", pa.int64()),
    ("record", pa.int64()),
]

#: Columns that say which record it was, when, and what its own check said: told once, when it was retrieved.
KEPT = frozenset({name for name, _ in _FIXED} | {CHECK_FLAG})


@dataclass(frozen=True, slots=True)
class Rows:
    """Records [n] as they will be sealed: `words` uint16 [n, registers], `fits` their own check.

    `told_ms` is the meter's time where `told`; `read_at_ms` when they were retrieved, UTC.
    """

    session: Whole
    record: Whole
    words: NDArray[np.uint16]
    fits: Mask
    told_ms: Whole
    told: Mask
    times: Times
    read_at_ms: Whole

    def __len__(self) -> int:
        return len(self.record)

    def taken(self, rows: NDArray[Any]) -> "Rows":
        """Some of them, in the order of `rows`."""
        times = Times(self.times.utc_ms[rows], self.times.known[rows], self.times.flag[rows])
        return Rows(
            self.session[rows], self.record[rows], self.words[rows], self.fits[rows], self.told_ms[rows],
            self.told[rows], times, self.read_at_ms[rows],
        )  # fmt: skip

    def days(self) -> Whole:
        """UTC days since 1970 [n] of their times; of the retrieval where there is none."""
        moment = np.where(self.times.known, self.times.utc_ms, self.read_at_ms)
        return np.asarray(moment // 86_400_000, np.int64)


def memory_of(record: Record) -> LogMemory:
    """The memory that the record's map describes; ValueError where it describes none."""
    memory = map_of(record.map_text).log_memory
    if memory is None:
        raise ValueError(f"the map kept with records of {record.name} describes no log memory")
    return memory


def schema_of(record: Record) -> pa.Schema:
    """The table's columns; `record.columns` are the record's words."""
    memory = memory_of(record)
    fields = [pa.field(name, kind) for name, kind in _FIXED]
    fields += value_fields(memory.record.values, record)
    if memory.record.check is not None:
        fields.append(pa.field(CHECK_FLAG, pa.string()))
    fields += [pa.field(f"raw_{column.address}", pa.uint16()) for column in record.columns]
    return pa.schema(fields)


def table_of(record: Record, rows: Rows, first_sequence: int) -> pa.Table:
    """The rows as a table, numbered from `first_sequence` on."""
    schema = schema_of(record)
    times = rows.times
    sequence = np.arange(first_sequence, first_sequence + len(rows), dtype=np.int64)
    arrays: dict[str, pa.Array[Any]] = {
        "sequence": numbers(sequence, pa.int64()),
        "time": numbers(times.utc_ms, TIME, times.known),
        "meter_time": numbers(rows.told_ms, TIME, rows.told),
        "time_flag": texts(flag_words(times.flag.tolist())),
        "session": numbers(rows.session, pa.int64()),
        "record": numbers(rows.record, pa.int64()),
        CHECK_FLAG: texts([None if good else MISMATCH for good in rows.fits.tolist()]),
    }
    arrays |= columns_of(memory_of(record).record.values, words_by_column(rows.words))
    arrays |= {
        f"raw_{column.address}": numbers(np.ascontiguousarray(rows.words[:, column.address]), pa.uint16())
        for column in record.columns
    }
    return pa.Table.from_arrays([arrays[name] for name in schema.names], schema=schema)


def decoded_again(record: Record, table: pa.Table, words: Mapping[Column, Words]) -> pa.Table:
    """A sealed table's records with the values that the record's map gives their words."""
    schema = schema_of(record)
    arrays: dict[str, Any] = {name: table[name] for name in table.column_names if name in KEPT}
    if CHECK_FLAG not in arrays:  # records are judged when they are retrieved, not later
        arrays[CHECK_FLAG] = pa.nulls(table.num_rows, pa.string())
    arrays |= columns_of(memory_of(record).record.values, words)
    arrays |= {f"raw_{column.address}": table[f"raw_{column.address}"] for column in record.columns}
    return pa.Table.from_arrays([arrays[name] for name in schema.names], schema=schema)


def flagged(table: pa.Table) -> Mask:
    """Where [n] a row carries a flag: of its time, its check or one of its values."""
    found = np.zeros(table.num_rows, np.bool_)
    for name in table.column_names:
        if name.endswith("_flag"):
            found |= np.array([flag is not None for flag in table[name].to_pylist()], np.bool_)
    return found


def metadata_of(record: Record, rows: Mapping[str, Any], memory: Mapping[str, Any]) -> dict[str, str]:
    """The metadata of the file; `memory` tells of sessions, clock and what a record is."""
    import json

    return record.metadata(rows) | {"pipeledger.memory": json.dumps(memory, sort_keys=True)}
