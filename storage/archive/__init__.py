"""The archive: a folder of sealed Parquet files, the journal of what is not sealed yet, and the ledger.

`Archive` is its one writer, `ArchiveReader` reads beside it. Neither imports pyarrow before the first
table is sealed or read, so that a recorder starts at once.
"""

from storage.archive.columns import Clash, column_types
from storage.archive.files import Replacement, SealedFile
from storage.archive.layout import file_name, is_archive
from storage.archive.reader import ArchiveReader, Held
from storage.archive.writer import Archive

__all__ = [
    "Archive",
    "ArchiveReader",
    "Clash",
    "Held",
    "Replacement",
    "SealedFile",
    "column_types",
    "file_name",
    "is_archive",
]
