"""Space kept back on the disk, given up when the disk is full so that what was begun can be ended.

`journal/reserve` holds nothing. It is as large as what an ending needs: the ledger's last lines, the
journal's last rows. It is filled again when there is room. And how much room there is.
"""

import os
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

#: Bytes kept back: the rows that wait in memory take about 100 bytes each in the journal.
MOST_BYTES = 4 << 20
#: Never more than this share of the file system, and filled only where this many times as much is free.
_SHARE, _TIMES_FREE = 64, 4
_PIECE = 1 << 16
#: Little room is left below this share of the file system, or below this many bytes where it is large; too
#: little for anything that can wait below half of either.
_LOW_SHARE, _LOW_BYTES = 10, 1 << 30


@dataclass(frozen=True)
class Room:
    """What is free on a file system, and its size, in bytes."""

    free: int
    total: int

    @property
    def percent(self) -> int:
        """How much of it is free, rounded down."""
        return self.free * 100 // max(1, self.total)

    @property
    def is_low(self) -> bool:
        """Whether someone should make room soon."""
        return self.free < min(_LOW_BYTES, self.total // _LOW_SHARE)

    @property
    def is_scarce(self) -> bool:
        """Whether what can wait should."""
        return self.free < min(_LOW_BYTES, self.total // _LOW_SHARE) // 2


def room_on(path: Path) -> Room:
    """The room on the file system of `path`; plenty where it cannot be asked."""
    try:
        disk = shutil.disk_usage(path)
    except OSError:
        return Room(_LOW_BYTES, _LOW_BYTES)
    return Room(disk.free, disk.total)


class Reserve:
    """The file `path`, made by the archive's one writer. None of its failures matters: it is only a help."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def fill(self) -> None:
        """Keep space back if there is plenty; nothing happens where it is kept already."""
        with suppress(OSError):
            disk = shutil.disk_usage(self.path.parent)
            size = min(MOST_BYTES, disk.total // _SHARE)
            if self.path.exists() or disk.free < _TIMES_FREE * size:
                return
            try:
                _allocate(self.path, size)
            except OSError:
                self.path.unlink(missing_ok=True)
                raise

    def release(self) -> bool:
        """Give the space up; False where none was kept."""
        try:
            self.path.unlink()
        except OSError:
            return False
        return True


def _allocate(path: Path, size: int) -> None:
    """Take `size` bytes of the disk for good: a file with a hole in it would keep nothing back."""
    with path.open("wb") as file:
        if hasattr(os, "posix_fallocate"):
            os.posix_fallocate(file.fileno(), 0, size)
            return
        for _ in range(size // _PIECE):
            file.write(bytes(_PIECE))
