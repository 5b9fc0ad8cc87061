"""What can go wrong with kept data. Every text is a sentence with the path, and what to try.

All carry `path`, the file or folder concerned, so that a caller can name it in its own words.
"""

from pathlib import Path


class StorageError(Exception):
    """Root of what `storage` raises."""

    def __init__(self, path: Path, text: str) -> None:
        super().__init__(text)
        self.path = path


class ArchiveHeld(StorageError):  # noqa: N818  (named for what the user sees)
    """Another process writes this archive. `pid` is its number, None where it could not be told."""

    def __init__(self, path: Path, pid: int | None) -> None:
        holder = f"process {pid}" if pid else "another process"
        super().__init__(
            path, f"{path} is being written by {holder}: stop that one first, or name another archive."
        )
        self.pid = pid


class ArchiveAbsent(StorageError):  # noqa: N818
    """There is no archive here, or something that is none."""


class ArchiveDenied(StorageError):  # noqa: N818
    """The operating system refuses: permissions, or a file system mounted read-only."""


class ArchiveDamaged(StorageError):  # noqa: N818
    """Something kept is no longer as it was written. Nothing is repaired by guessing."""


class ArchiveTooNew(StorageError):  # noqa: N818
    """Written in a format that this version does not know."""


class DiskFull(StorageError):  # noqa: N818
    """No space left. What was kept before is untouched; the same call works once space is free."""


class SealingRefused(StorageError):  # noqa: N818
    """The rows given are not the rows to be sealed: nothing was written."""
