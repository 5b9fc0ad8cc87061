"""One Parquet file of all rows, raw registers too, with units and reference conditions of each column."""

from pathlib import Path
from typing import Any

from readout.export.table import Stream


def write_parquet(stream: Stream, file: Path) -> int:
    """Write all rows; returns how many."""
    import pyarrow.parquet as pq

    written, schema = 0, _schema(stream)
    with pq.ParquetWriter(file, schema, compression="zstd") as writer:
        for table in stream.tables:
            writer.write_table(table.cast(schema))
            written += table.num_rows
    return written


def _schema(stream: Stream) -> Any:
    """Fields with their unit and reference; the file with point, site, meter and serial number."""
    import pyarrow as pa

    fields = []
    for column in stream.columns:
        about = {"unit": column.unit, "reference": column.reference}
        told = {key: text for key, text in about.items() if text}
        fields.append(pa.field(column.name, column.type, metadata=told))
    who = stream.about
    file = {
        "point": who.point, "source": who.source, "site": who.site, "time_zone": who.zone.key,
        "meter": who.meter, "serial_number": who.serial_number or "",
    }  # fmt: skip
    return pa.schema(fields, metadata={f"pipeledger.export.{key}": text for key, text in file.items()})
