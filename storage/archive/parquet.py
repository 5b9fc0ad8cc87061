"""A table as the bytes of a Parquet file, and back. The only place that decides how rows are encoded."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from storage.archive.columns import column_types, digest
from storage.errors import ArchiveDamaged
from storage.ledger import iso

if TYPE_CHECKING:
    import pyarrow as pa

_ZSTD_LEVEL = 3
#: Rows a row group: a week of one row a second is one group, a reader skips by it.
_ROWS_A_GROUP = 524_288
#: A moment column that says when a row was: the first one there is.
_MOMENTS = ("due", "time")


def encode(table: "pa.Table", metadata: Mapping[str, str]) -> bytes:
    """The file's bytes, whole in memory: what is written, hashed and read back are then the same bytes.

    Whole numbers and moments as differences (they count up: sequence, due, totals), everything else by
    dictionary (raw words and sensors' values repeat), zstd over both, a checksum on each page.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    kept = {**(table.schema.metadata or {}), **{k.encode(): v.encode() for k, v in metadata.items()}}
    counted = {field.name: "DELTA_BINARY_PACKED" for field in table.schema if _counts(field)}
    named = [name for name in table.column_names if name not in counted]
    sink = pa.BufferOutputStream()
    pq.write_table(
        table.replace_schema_metadata(kept),
        sink,
        compression="zstd",
        compression_level=_ZSTD_LEVEL,
        use_dictionary=named,  # type: ignore[arg-type]  # the stubs know only yes and no, not names
        column_encoding=counted,
        row_group_size=_ROWS_A_GROUP,
        write_page_checksum=True,
    )
    return sink.getvalue().to_pybytes()


def _counts(field: "pa.Field[Any]") -> bool:
    """Whether a column is stored as differences: moments, and whole numbers over 16 bits, raw words not."""
    import pyarrow as pa

    kind = field.type
    wide = pa.types.is_integer(kind) and kind.bit_width > 16
    return bool(pa.types.is_timestamp(kind) or wide)


def decode(data: bytes) -> "pa.Table":
    """Read the bytes of a file back, without taking columns from its folders' names."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    return pq.ParquetFile(pa.BufferReader(data)).read()


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
    return sequence.null_count == 0 and bool(np.all(np.diff(held) > 0))
