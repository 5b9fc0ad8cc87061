"""New values from the raw registers that a file kept, by a corrected map.

Nothing is read from a meter again. Words, moments, clock and status stay bit for bit; values, flags and
units are decoded anew; a register that was not read at the time gives nulls. What a round knew beyond its
words, that parts read apart did not agree, is carried over from the old flags. Of a log record its time,
session, number and the verdict of its own check stay as they were when it was retrieved.
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from protocols.modbus.tables import Table
from protocols.register_map.model import Column, RegisterMap, Value
from protocols.values.decode import Words
from protocols.values.flags import FLAG_WORDS, Flag
from readout.errors import WrongUse
from readout.plan.plan import raw_name
from readout.sealing.memory import table as memory
from readout.sealing.record import Record
from readout.sealing.table import map_of, readings_of, schema_of
from storage.archive import Archive, Replacement, SealedFile
from storage.archive.parquet import read_metadata
from storage.ledger import Kind

if TYPE_CHECKING:
    from pathlib import Path

_FIXED = ("sequence", "due", "time", "clock", "status")
_RAW = re.compile(r"raw_(coil|discrete|input|holding)_(\d+)(?:_(\d+))?")
_RAW_WORD = re.compile(r"raw_(\d+)")
_MAP, _SHA256, _REDECODED = "pipeledger.map", "pipeledger.map_sha256", "pipeledger.redecoded"


@dataclass(frozen=True, slots=True)
class NewValues:
    """What a redecoding did: the files that hold now, and those whose place they took."""

    files: tuple[SealedFile, ...]
    replaced: tuple[SealedFile, ...]


def stays(name: str, source: str = "live") -> bool:
    """Whether a column is one that no decoding may change: what was read, and when."""
    if source == memory.SOURCE:
        return name in memory.KEPT or _RAW_WORD.fullmatch(name) is not None
    return name in _FIXED or _RAW.fullmatch(name) is not None


def to_decode(root: "Path", files: list[SealedFile], sha256: str) -> list[SealedFile]:
    """Those of `files` whose values come from another map than the one of this SHA-256."""
    return [file for file in files if map_sha256(read_metadata(root / file.file)) != sha256]


def map_sha256(metadata: Mapping[str, str]) -> str:
    """SHA-256 of the map that a file's values come from; WrongUse for a file that says none."""
    try:
        return str(json.loads(metadata[_SHA256]))
    except (KeyError, ValueError) as error:
        raise WrongUse("a file of this archive does not say its map: it cannot be decoded again") from error


def map_text(metadata: Mapping[str, str]) -> str:
    """The map that a file's values come from."""
    return str(json.loads(metadata[_MAP]))


def map_of_file(path: "Path") -> RegisterMap:
    """The map that a file's values come from, understood."""
    return map_of(map_text(read_metadata(path)))


def redecode(archive: Archive, files: list[SealedFile], new: RegisterMap, version: str) -> NewValues:
    """Replace `files`, all of one point and source, by files with the new map's values: all or none.

    Raises `StorageError`; `SealingRefused` where a column would have two types among the point's files.
    """
    before = sorted({map_sha256(read_metadata(archive.root / file.file)) for file in files})
    if not files:
        return NewValues((), ())

    def replacements() -> Iterator[Replacement]:
        for file in files:
            table = archive.read(file)
            yield Replacement((file,), table, *redecoded(table, new, version))

    found = archive.replace(
        Kind.REDECODED,
        replacements(),
        unchanged=lambda name: stays(name, files[0].source),
        content={
            "point": files[0].point,
            "source": files[0].source,
            "map_sha256": new.sha256,
            "map_sha256_before": before,
        },
    )
    return NewValues(tuple(found), tuple(files))


def redecoded(table: pa.Table, new: RegisterMap, version: str) -> tuple[pa.Table, dict[str, str]]:
    """A sealed file's rows with the values that `new` gives them, and the new file's metadata."""
    metadata = {key.decode(): text.decode() for key, text in (table.schema.metadata or {}).items()}
    record = _record(table.schema.names, metadata, new)
    made = _records(table, record) if record.source == memory.SOURCE else _rounds(table, record, metadata)
    earlier = json.loads(metadata.get(_REDECODED, "{}")).get("from", [])
    metadata |= {
        _MAP: json.dumps(new.text, ensure_ascii=False),
        _SHA256: json.dumps(new.sha256),
        _REDECODED: json.dumps(
            {"from": [*earlier, map_sha256(metadata)], "version": version}, sort_keys=True
        ),
    }
    return made, metadata


def _rounds(table: pa.Table, record: Record, metadata: Mapping[str, str]) -> pa.Table:
    words = {column: _words(table[raw_name(column)]) for column in record.columns}
    old = map_of(map_text(metadata))
    arrays: dict[str, Any] = {name: table[name] for name in _FIXED}
    arrays |= readings_of(record, words, lambda value: _unsteady(value, old, table))
    arrays |= {raw_name(column): table[raw_name(column)] for column in record.columns}
    schema = schema_of(record)
    return pa.Table.from_arrays([arrays[name] for name in schema.names], schema=schema)


def _records(table: pa.Table, record: Record) -> pa.Table:
    """Log records; WrongUse where they have fewer registers than the map's."""
    wanted, there = memory.memory_of(record).record.registers, len(record.columns)
    if wanted > there:
        raise WrongUse(
            f"the log records kept of {record.name} have {there} registers, those of the new map {wanted}: "
            "what was not retrieved cannot be decoded. See `record` under `log_memory` in the map."
        )
    words = {column: _words(table[f"raw_{column.address}"]) for column in record.columns}
    return memory.decoded_again(record, table, words)


def not_read(table: pa.Table, new: RegisterMap) -> list[str]:
    """Names of readings of `new` that need a register which the file's rounds did not read: all nulls."""
    there = set(table.column_names)
    if "record" in there and "status" not in there:  # log records are whole
        return []
    return [
        value.name
        for value in new.readings
        if any(raw_name(column) not in there for column in value.columns())
    ]


def _record(names: list[str], metadata: Mapping[str, str], new: RegisterMap) -> Record:
    """What a file tells of its rows, under the new map."""
    entries = {key.removeprefix("pipeledger."): json.loads(text) for key, text in metadata.items()}
    point = dict(entries["point"])
    if point["source"] == memory.SOURCE:
        columns = tuple(Column(None, int(found[1])) for name in names if (found := _RAW_WORD.fullmatch(name)))
    else:
        columns = tuple(
            Column(Table(found[1]), int(found[2]), int(found[3] or 1) - 1)
            for name in names
            if (found := _RAW.fullmatch(name))
        )
    return Record(
        name=point.pop("name"), source=point.pop("source"), columns=columns, map_text=new.text,
        map_sha256=new.sha256, point=point, plan=entries["plan"], meter=entries["meter"],
        settings=entries["settings"], line=entries["line"], version=entries["version"],
        clock_offset=entries["clock_offset"],
    )  # fmt: skip


def _words(column: "pa.ChunkedArray[Any]") -> Words:
    data = column.fill_null(pa.scalar(0, pa.uint16())).to_numpy()
    return Words(np.ascontiguousarray(data, np.uint16), column.is_valid().to_numpy().astype(np.bool_))


def _unsteady(value: Value, old: RegisterMap, table: pa.Table) -> NDArray[np.bool_] | None:
    """Where the old values from the same registers, or of the same name, were flagged unsteady."""
    mine = set(value.columns())
    for reading in old.readings:
        flag = f"{reading.name}_flag"
        alike = reading.name == value.name or set(reading.columns()) == mine
        if alike and flag in table.column_names:
            found = pc.is_in(table[flag], pa.array([FLAG_WORDS[Flag.UNSTEADY]]))
            return np.asarray(found.to_numpy(), np.bool_)
    return None
