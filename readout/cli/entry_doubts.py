"""What looks like a slip of the pen in an entry of the log book: nothing takes it out of the ledger again."""

from pathlib import Path

#: So far two computers' clocks may be apart before an entry is one of the future [ms].
_APART_MS = 60_000


def doubts(archive: Path, point: str, last_ms: int, now_ms: int) -> list[str]:
    """Sentences on an entry about `point` that reaches to `last_ms` [ms since 1970 UTC].

    Empty without an archive: what then keeps the entry from being made tells it.
    """
    from readout.clock import iso
    from storage.archive import ArchiveReader, is_archive
    from storage.errors import StorageError

    told = []
    if last_ms > now_ms + _APART_MS:
        told.append(f"it reaches to {iso(last_ms / 1000)}, which is still to come by this computer's clock")
    try:
        reader = ArchiveReader(archive) if is_archive(archive) else None
        there = {} if reader is None else {name: None for name, _ in reader.streams()}
        firsts = [] if reader is None else [file.first for file in reader.files() if file.point == point]
    except StorageError:
        return told
    began = min((first for first in firsts if first is not None), default=None)
    if reader is not None and point not in there:
        have = f"only of {', '.join(there)}" if there else "nor of any other"
        told.append(f"{archive} has no rows of {point} so far, {have}")
    elif began is not None and iso(last_ms / 1000) < began:
        told.append(f"it lies before the first row of {point}, which was due at {began}")
    return told
