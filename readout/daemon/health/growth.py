"""How long the room on the disk lasts, by what an archive's last week took."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from readout.clock import ms_of
from storage.archive import SealedFile
from storage.archive.layout import SUPERSEDED
from storage.reserve import Room

#: Looked back at [d]; and the least span to go by [ms]: files of a few rows are all head.
DAYS, LEAST_MS = 7, 3_600_000
_DAY_MS = 86_400_000


def full_in_s(root: Path, files: Sequence[SealedFile], room: Room, now_ms: int) -> float | None:
    """Seconds until the disk is full, by the last week's files; None without growth, or in the first hour.

    Files that were replaced by a day's joined one are kept, and count as well.
    """
    since = now_ms - DAYS * _DAY_MS
    lately = [file for file in files if file.first is not None and ms_of(file.first) >= since]
    if not lately:
        return None
    began = min(ms_of(str(file.first)) for file in lately)
    size = sum(file.bytes for file in lately) + sum(_replaced(root, began, now_ms))
    return room.free * (now_ms - began) / 1000 / size if size and now_ms - began >= LEAST_MS else None


def _replaced(root: Path, began: int, now_ms: int) -> Iterable[int]:
    """Sizes of the replaced files of these days."""
    first = datetime.fromtimestamp(began / 1000, UTC).date()
    days = (datetime.fromtimestamp(now_ms / 1000, UTC).date() - first).days
    folders = [*(root / SUPERSEDED).glob("point=*/source=*")]
    for day in range(days + 1):
        for folder in folders:
            for file in (folder / f"date={first + timedelta(day)}").glob("*.parquet"):
                yield file.stat().st_size
