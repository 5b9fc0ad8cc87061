"""A table as the bytes of a Parquet file, and back. The only place that decides how rows are encoded."""

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from storage.archive.columns import column_types, digest
from storage.errors import ArchiveDamaged, SealingRefused
from storage.ledger import iso

if TYPE_CHECKING:
    import pyarrow as pa

#: Above 6 a day of seconds gets 0.02 % smaller for 5 % more time, at 15 and 19 2 % for three and five times.
_ZSTD_LEVEL = 6
#: The trial that chooses encodings: which one is smaller does not depend on the level, its time does.
_TRIAL_LEVEL = 1
#: Rows from which on a quarter of them is tried: enough to tell, see `_smaller`.
_TRIED_WHOLE = 40_000
#: Fewer rows than this are not tried: the metadata around them is larger than what they could save.
_TRIED_FROM = 500
#: Rows a row group: a week of one row a second is one group, a reader skips by it.
_ROWS_A_GROUP = 524_288
#: A moment column that says when a row was: the first one there is.
_MOMENTS = ("due", "time")
_DELTA, _SPLIT = "DELTA_BINARY_PACKED", "BYTE_STREAM_SPLIT"


@dataclass(frozen=True)
class Proven:
    """A file's bytes, from which the rows were read back, and what the ledger tells of them."""

    data: bytes
    sha256: str
    described: dict[str, object]


def proven(
    table: "pa.Table", metadata: Mapping[str, str], path: Path, known: Mapping[str, str | None] | None = None
) -> tuple[Proven, "pa.Table"]:
    """The bytes of the file to be at `path`, and its rows as read back from them; SealingRefused if other."""
    data = encode(table, metadata, known)
    back = decode(data)
    if not back.equals(table):
        raise SealingRefused(
            path, f"{path.name} does not read back as the rows given: a missing value must be null."
        )
    return Proven(data, hashlib.sha256(data).hexdigest(), described(table)), back


def encode(
    table: "pa.Table", metadata: Mapping[str, str], known: Mapping[str, str | None] | None = None
) -> bytes:
    """The file's bytes, whole in memory: what is written, hashed and read back are then the same bytes.

    What counts up (moments, whole numbers over 16 bits) as differences; short whole numbers and floats by
    dictionary or by their other encoding, whichever these very rows need less space for; texts by
    dictionary. zstd over all, a checksum on each page. `known` are columns whose encoding is known to be
    the smaller one, as `encodings` gives it.
    """
    kept = {**(table.schema.metadata or {}), **{k.encode(): v.encode() for k, v in metadata.items()}}
    counted = {field.name: _DELTA for field in table.schema if _counts(field)}
    given = {name: how for name, how in (known or {}).items() if how is not None and name not in counted}
    plain = table.replace_schema_metadata(None)
    tried = plain.select([name for name in plain.column_names if name not in (known or {})])
    # As the table's metadata it is kept twice, the second time within `ARROW:schema`, where readers of Arrow
    # look first; without it there they say that there is none.
    how = counted | given | _smaller(tried)
    return _written(table.replace_schema_metadata(kept), how, _ZSTD_LEVEL)


def _written(table: "pa.Table", encodings: Mapping[str, str], level: int) -> bytes:
    """Columns that `encodings` does not name are written by dictionary."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    named = [name for name in table.column_names if name not in encodings]
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(
        sink,
        table.schema,
        compression="zstd",
        compression_level=level,
        use_dictionary=named,  # type: ignore[arg-type]  # the stubs know only yes and no, not names
        column_encoding=dict(encodings),
        write_page_checksum=True,
    ) as writer:
        writer.write_table(table, row_group_size=_ROWS_A_GROUP)
    return sink.getvalue().to_pybytes()


def _smaller(table: "pa.Table") -> dict[str, str]:
    """The columns that are smaller otherwise than by dictionary, and how, tried on these rows.

    High words of floats change by little: differences. Measured values with noise in every digit hardly
    repeat: byte by byte. Which it is depends on the meter and on the day. Of many rows the middle quarter is
    tried: on days of seconds it gave what all rows give; an eighth has the dictionary weigh too much.
    """
    others = {field.name: other for field in table.schema if (other := _other(field))}
    if not others or table.num_rows < _TRIED_FROM:
        return {}
    tried = table.select(list(others))
    if (rows := table.num_rows) >= _TRIED_WHOLE:
        tried = tried.slice(rows * 3 // 8, rows // 4)
    by_dictionary = _sizes(_written(tried, {}, _TRIAL_LEVEL))
    otherwise = _sizes(_written(tried, others, _TRIAL_LEVEL))
    return {name: how for name, how in others.items() if otherwise[name] < by_dictionary[name]}


def encodings(path: Path, names: Collection[str]) -> dict[str, str | None]:
    """How each of these columns is encoded in a file, as `encode` takes it; None is by dictionary."""
    import pyarrow.parquet as pq

    meta = pq.read_metadata(path)
    if not meta.num_row_groups:
        return {}
    group = meta.row_group(0)
    chunks = {group.column(index).path_in_schema: group.column(index) for index in range(group.num_columns)}
    return {
        name: next((how for how in (_DELTA, _SPLIT) if how in chunks[name].encodings), None)
        for name in names
        if name in chunks
    }


def _sizes(data: bytes) -> dict[str, int]:
    """Compressed bytes of each column of a file."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    meta = pq.read_metadata(pa.BufferReader(data))
    sizes: dict[str, int] = {}
    for group in range(meta.num_row_groups):
        for index in range(meta.num_columns):
            chunk = meta.row_group(group).column(index)
            sizes[chunk.path_in_schema] = sizes.get(chunk.path_in_schema, 0) + chunk.total_compressed_size
    return sizes


def _counts(field: "pa.Field[Any]") -> bool:
    """Whether a column is stored as differences: moments, and whole numbers over 16 bits, raw words not."""
    import pyarrow as pa

    kind = field.type
    wide = pa.types.is_integer(kind) and kind.bit_width > 16
    return bool(pa.types.is_timestamp(kind) or wide)


def _other(field: "pa.Field[Any]") -> str | None:
    """What a column may be smaller by than by dictionary.

    Only what readers have known for long: differences of whole numbers since Parquet 2.2, floats byte by
    byte since 2.8; whole numbers byte by byte (2.11, 8 % smaller for words of pure noise) are not used.
    """
    import pyarrow as pa

    if pa.types.is_floating(field.type):
        return _SPLIT
    return _DELTA if pa.types.is_integer(field.type) and not _counts(field) else None


def decode(data: bytes) -> "pa.Table":
    """Read the bytes of a file back, without taking columns from its folders' names."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    # Threads of its own cost a small file more than they bring, and large ones come several at a time.
    return pq.ParquetFile(pa.BufferReader(data), pre_buffer=False).read(use_threads=False)


def read_metadata(path: Path) -> dict[str, str]:
    """The `pipeledger.…` entries of a file's footer, each a JSON text; ArchiveDamaged where there is none."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        found = pq.read_metadata(path).metadata or {}
    except (pa.ArrowException, OSError) as error:
        raise ArchiveDamaged(path, f"{path} cannot be read ({error}): verify the archive.") from error
    return {key.decode(): text.decode() for key, text in found.items() if key.startswith(b"pipeledger.")}


def described(table: "pa.Table") -> dict[str, object]:
    """What the ledger tells of a table: rows, sequences, moments, digest of its columns."""
    import pyarrow as pa
    import pyarrow.compute as pc

    sequence = table["sequence"]
    moments = next((table[name] for name in _MOMENTS if name in table.column_names), None)
    first = last = None
    if moments is not None:
        span = pc.min_max(moments.cast(pa.int64()))
        first, last = span["min"].as_py(), span["max"].as_py()
    return {
        "rows": table.num_rows,
        "first_sequence": sequence[0].as_py(),
        "last_sequence": sequence[-1].as_py(),
        "first": None if first is None else iso(first),
        "last": None if last is None else iso(last),
        "schema": digest(column_types(table.schema)),
    }


def ascending(table: "pa.Table") -> bool:
    """Whether `sequence` is there, never null, and grows with every row."""
    import numpy as np
    import pyarrow as pa

    if "sequence" not in table.column_names or table.schema.field("sequence").type != pa.int64():
        return False
    sequence = table["sequence"].combine_chunks()
    # The numbers from their buffer: to_numpy would import pandas where it is installed.
    held = np.frombuffer(memoryview(sequence.buffers()[1] or b""), np.int64)[sequence.offset :][
        : len(sequence)
    ]
    return sequence.null_count == 0 and bool(np.all(held[1:] > held[:-1]))
