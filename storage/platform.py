"""Everything that differs between operating systems: locks, and what a flush reaches.

Linux and macOS lock a whole file with flock(2); Windows locks bytes with LockFile, of which one far
behind the text is taken, so that others can still read who holds it.
"""

import os
import sys
from enum import Enum
from pathlib import Path

if sys.platform == "win32":
    import msvcrt

    _LOCKED_BYTE = 1 << 30
else:
    import fcntl


class Share(Enum):
    """How a lock is taken: by one alone, or together with other readers."""

    ALONE = "alone"
    TOGETHER = "together"


def try_lock(descriptor: int, share: Share) -> bool:
    """Take the lock without waiting; False where another process has it. It dies with its process."""
    try:
        if sys.platform == "win32":
            os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            kind = fcntl.LOCK_EX if share is Share.ALONE else fcntl.LOCK_SH
            fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def unlock(descriptor: int) -> None:
    """Give the lock back; closing the descriptor does the same."""
    if sys.platform == "win32":
        os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_UNLCK, 1)
    else:
        fcntl.flock(descriptor, fcntl.LOCK_UN)


def is_running(pid: int) -> bool:
    """Whether a process of this number exists. Windows has no harmless question: there, taken as yes."""
    if sys.platform == "win32":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def flush_drive(descriptor: int) -> bool:
    """Flush through the drive's own cache where a plain fsync does not (macOS); False where it does."""
    if sys.platform == "darwin":
        fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
        return True
    return False


def open_folder(folder: Path) -> int | None:
    """A descriptor to fsync a folder by, or None on Windows, which has no such thing."""
    if sys.platform == "win32":
        return None
    return os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
