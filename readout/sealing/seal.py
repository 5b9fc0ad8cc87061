"""Everything the journal holds becomes sealed files, a stretch a file."""

from typing import TYPE_CHECKING

import pyarrow as pa

from readout.sealing.record import Record
from readout.sealing.table import metadata_of, schema_of, table_of
from storage.archive.columns import column_types

if TYPE_CHECKING:
    from collections.abc import Callable

    from storage.archive import Archive, SealedFile
    from storage.journal import ClockNow, Journal, Row


def seal_journal(archive: "Archive", now: "ClockNow") -> list["SealedFile"]:
    """Seal every stretch that the journal holds now; rows that come meanwhile stay for the next time.

    Times from before the clock was set are put right first; rows whose time may still become known stay too.

    Raises `StorageError` where the disk refuses: what is sealed stays sealed, the rest stays in the journal.
    """
    archive.journal.correct_times(now)
    sealed = []
    for stretch in archive.journal.stretches(now=now):
        record = Record.from_text(archive.journal.plan_text(stretch.plan))
        rows = list(archive.journal.rows(stretch.point, stretch.source, stretch.first, stretch.last))
        sealed.append(
            archive.seal(
                table_of(record, rows),
                point=stretch.point,
                source=stretch.source,
                date=stretch.date,
                first_sequence=stretch.first,
                last_sequence=stretch.last,
                metadata=metadata_of(record, rows),
            )
        )
    return sealed


def decoder(journal: "Journal") -> "Callable[[str, list[Row]], pa.Table]":
    """What turns rows still in the journal into the table they will be sealed as, by the id of their plan."""

    def decode(plan: str, rows: "list[Row]") -> pa.Table:
        return table_of(Record.from_text(journal.plan_text(plan)), rows)

    return decode


def column_types_of(record: Record) -> dict[str, str]:
    """Name → type of the columns that rows of this record are sealed with."""
    return column_types(schema_of(record))
