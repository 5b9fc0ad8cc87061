"""One writer an archive: a lock on `journal/lock` that dies with its process.

The file holds the writer's process number as text, so that a refusal can name it. The number is only a
name: what counts is the lock, and a leftover file without one stops nobody.
"""

import os
import time
from pathlib import Path
from types import TracebackType

from storage import platform
from storage.durable import told
from storage.errors import ArchiveHeld

#: A reader asking who writes holds a shared lock for microseconds; a writer that meets it tries again
#: for this long [s] before it believes that another writer is there.
PATIENCE = 0.25
_PAUSE = 0.01


class ArchiveLock:
    """Held from `take` to `release`, or to the end of the process, however it ends."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self.path = path
        self._descriptor: int | None = descriptor

    @property
    def is_in_place(self) -> bool:
        """Whether the file at `path` is still the one that is held: its folder may have gone elsewhere."""
        try:
            there = self.path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return False
        except OSError:
            return True  # a disk in trouble is still the same disk
        return self._descriptor is not None and os.path.samestat(there, os.fstat(self._descriptor))

    def release(self) -> None:
        """Give it back; a second call does nothing."""
        if self._descriptor is not None:
            platform.unlock(self._descriptor)
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> "ArchiveLock":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def take(path: Path) -> ArchiveLock:
    """Become the one writer; raises ArchiveHeld with the holder's process number where there is one."""
    with told(path):
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        deadline = time.monotonic() + PATIENCE
        with told(path):
            while not platform.try_lock(descriptor, platform.Share.ALONE):
                if time.monotonic() > deadline:
                    raise ArchiveHeld(path.parent.parent, _named(descriptor))
                time.sleep(_PAUSE)
            os.ftruncate(descriptor, 0)
            os.lseek(descriptor, 0, os.SEEK_SET)
            os.write(descriptor, f"{os.getpid()}\n".encode())
    except BaseException:
        os.close(descriptor)
        raise
    return ArchiveLock(path, descriptor)


def is_held(path: Path) -> bool:
    """Whether a writer is at work now. Needs only the right to read; an absent file is not held."""
    try:
        descriptor = os.open(path, os.O_RDONLY)
    except OSError:
        return False
    try:
        return not platform.try_lock(descriptor, platform.Share.TOGETHER)
    finally:
        os.close(descriptor)


def holder(path: Path) -> int | None:
    """Process number of the writer at work now, None where there is none or it cannot be told."""
    if not is_held(path):
        return None
    try:
        descriptor = os.open(path, os.O_RDONLY)
    except OSError:
        return None
    try:
        return _named(descriptor)
    finally:
        os.close(descriptor)


def _named(descriptor: int) -> int | None:
    """The process number in the file, if such a process runs: an older one's is not passed on."""
    os.lseek(descriptor, 0, os.SEEK_SET)
    text = os.read(descriptor, 32).decode("ascii", "replace").strip()
    if not text.isdecimal():
        return None
    return int(text) if platform.is_running(int(text)) else None
