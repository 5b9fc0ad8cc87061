"""Bytes that survive a power cut: the only caller of os.replace and os.fsync in the project.

A new file is written aside, flushed, renamed to its name, and the folders concerned are flushed: a reader
sees the whole file or none, before and after a crash at any instant. A rename alone is not enough: the
name may reach the disk before the bytes do.

Everything that changes the disk tells `step` what was just done. A crash test kills the process there;
in use it does nothing.
"""

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from storage import platform
from storage.errors import ArchiveDenied, DiskFull, StorageError

Step = Callable[[str], None]

_FULL = {errno.ENOSPC, errno.EDQUOT}
_DENIED = {errno.EACCES, errno.EPERM, errno.EROFS}


def no_step(_: str) -> None:
    """The step that does nothing."""


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn the system's refusals into sentences about `path`: DiskFull, ArchiveDenied, StorageError.

    FileNotFoundError passes: what an absent file means is for the caller to say.
    """
    try:
        yield
    except FileNotFoundError:
        raise
    except OSError as error:
        if error.errno in _FULL:
            raise DiskFull(
                path, f"No space left to write {path}: free some, nothing else is needed."
            ) from error
        if error.errno in _DENIED:
            raise ArchiveDenied(
                path,
                f"{path} cannot be read or written ({error.strerror}): check whose it is, and its mount.",
            ) from error
        raise StorageError(path, f"{path} could not be read or written ({error.strerror}).") from error


def _flush(descriptor: int) -> None:
    if not platform.flush_drive(descriptor):
        os.fsync(descriptor)


def _write_all(descriptor: int, data: bytes, offset: int) -> None:
    """Write everything at `offset`; a short write is continued, not taken for the end."""
    view = memoryview(data)
    os.lseek(descriptor, offset, os.SEEK_SET)
    while view:
        view = view[os.write(descriptor, view) :]


@dataclass(frozen=True)
class Disk:
    """The writer's hand. `temporary` is a folder on the same file system as every target."""

    temporary: Path
    step: Step = no_step

    def make_folder(self, folder: Path) -> None:
        """Make a folder and its parents; each new name is flushed in the folder above it."""
        if folder.is_dir():
            return
        self.make_folder(folder.parent)
        with told(folder):
            folder.mkdir(exist_ok=True)
        self.sync_folder(folder.parent)
        self.step(f"folder {folder.name}: made")

    def sync_folder(self, folder: Path) -> None:
        """Flush the names in a folder; nothing to do on Windows."""
        descriptor = platform.open_folder(folder)
        if descriptor is None:
            return
        try:
            with told(folder):
                _flush(descriptor)
        finally:
            os.close(descriptor)

    def write_aside(self, name: str, data: bytes, what: str) -> Path:
        """Write and flush `temporary/NAME.part`, a name that no reader of Parquet picks up.

        A disk that fills meanwhile leaves nothing behind. `what` names the file in steps.
        """
        aside = self.temporary / f"{name}.part"
        try:
            with told(aside):
                descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
                try:
                    _write_all(descriptor, data, 0)
                    self.step(f"{what}: written aside")
                    _flush(descriptor)
                finally:
                    os.close(descriptor)
        except DiskFull:
            with suppress(OSError):
                aside.unlink()
            raise
        self.step(f"{what}: flushed")
        return aside

    def place(self, aside: Path, target: Path, what: str) -> None:
        """Rename to the final name and flush both folders; an existing target is replaced whole."""
        with told(target):
            os.replace(aside, target)  # noqa: PTH105  (one name to search the project for)
        self.step(f"{what}: renamed")
        self.sync_folder(target.parent)
        if aside.parent != target.parent:
            self.sync_folder(aside.parent)
        self.step(f"{what}: folder flushed")

    def write_file(self, target: Path, data: bytes, what: str) -> None:
        """A small file at once: aside, flush, rename, flush the folder."""
        self.place(self.write_aside(target.name, data, what), target, what)

    def append(self, path: Path, data: bytes, offset: int, what: str) -> None:
        """Write `data` at `offset` and flush; whatever stood behind `offset` is gone.

        The offset makes a second try after a failure write the same place again, never behind a torn
        piece. A failure cuts the file back to `offset`. A new file's name is flushed before the first
        bytes: nothing can fail any more once the bytes are durable.
        """
        if not path.exists():
            with told(path):
                path.touch()
            self.sync_folder(path.parent)
            self.step(f"{what}: file made")
        with told(path):
            descriptor = os.open(path, os.O_WRONLY)
            try:
                os.ftruncate(descriptor, offset)
                _write_all(descriptor, data, offset)
                self.step(f"{what}: written")
                _flush(descriptor)
            except OSError:
                with suppress(OSError):
                    os.ftruncate(descriptor, offset)
                raise
            finally:
                os.close(descriptor)
        self.step(f"{what}: flushed")

    def remove(self, path: Path, what: str) -> None:
        """Unlink and flush the folder; an absent file is removed already."""
        with told(path):
            path.unlink(missing_ok=True)
        self.step(f"{what}: removed")
        self.sync_folder(path.parent)

    def empty_temporary(self) -> None:
        """Remove what a crash left half written; only the one writer may, before it starts."""
        for leftover in sorted(self.temporary.iterdir()):
            if leftover.is_file():
                self.remove(leftover, f"leftover {leftover.name}")
