"""What differs between operating systems: locks, who holds a port, which group owns it, how it was set.

Nowhere else in this room is the operating system asked what it is.
"""

import errno
import os
import socket
import stat
import struct
import sys
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

POSIX = os.name == "posix"

if sys.platform != "win32":
    import fcntl
    import grp
    import pwd
    import termios

    #: What a vanished port raises besides OSError; on Windows nothing does.
    ERRORS: tuple[type[Exception], ...] = (OSError, termios.error)
else:
    ERRORS = (OSError,)

#: Character devices with these major numbers are Unix98 pseudo-terminals (Linux, Documentation/admin-guide/
#: devices.txt: 136 to 143).
_PSEUDO_TERMINALS = range(136, 144)
_ABSENT = {errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO, errno.ECONNREFUSED, errno.EHOSTUNREACH}
_DENIED = {errno.EACCES, errno.EPERM}
_NO_TERMINAL = {errno.ENOTTY, errno.EISDIR}
_HELD = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK, errno.EADDRINUSE}
#: An address's lock begins so: a name of Linux's that is no file, and is gone with its process; see unix(7).
_LOCK = "\0pipeledger line "
#: Others that were refused and may have asked who holds it, before that is no longer told.
_ASKED = 1000


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has a port open: its id, and its command line as far as it may be seen."""

    pid: int
    command: str

    def __str__(self) -> str:
        return f"process {self.pid} ({self.command})" if self.command else f"process {self.pid}"


def kind_of(number: int | None) -> str:
    """absent, denied, held, no serial port or settings: what an error number means when a port is opened."""
    if number in _DENIED:
        return "denied"
    if number in _HELD:
        return "held"
    if number in _NO_TERMINAL:
        return "no serial port"
    return "absent" if number in _ABSENT or number is None else "settings"


def is_pseudo_terminal(name: str) -> bool:
    """Whether the port is one end of a pair made by software: it has a baud rate, and no parity."""
    if not sys.platform.startswith("linux"):
        return False
    try:
        status = Path(name).stat()
    except (OSError, ValueError):
        return False
    return stat.S_ISCHR(status.st_mode) and os.major(status.st_rdev) in _PSEUDO_TERMINALS


def forbid_others(descriptor: int) -> None:
    """Make every later open of this terminal fail (TIOCEXCL), for programs that do not ask for the lock.

    The super-user opens past it; against another of our own kind, and against root, the lock (flock) helps.
    The flag stays until the last one who has the terminal open has closed it, so it is not for
    pseudo-terminals: their far end may keep ours open, and a killed recorder could not come back.
    """
    if sys.platform != "win32" and os.isatty(descriptor):
        fcntl.ioctl(descriptor, termios.TIOCEXCL)


def allow_others(descriptor: int) -> None:
    """Take `forbid_others` back, before closing: another program that had the terminal open may keep it."""
    if sys.platform != "win32" and os.isatty(descriptor):
        fcntl.ioctl(descriptor, termios.TIOCNXCL)


def hold_address(host: str, port: int) -> socket.socket | None:
    """A lock on a device server's address, held until it is closed; None where the system has no such lock.

    Only programs of ours on this computer ask for it. OSError (EADDRINUSE) where one holds it, and where the
    host's name cannot be resolved.
    """
    if not sys.platform.startswith("linux"):
        return None
    lock = socket.socket(socket.AF_UNIX)
    try:
        lock.bind(_lock_name(host, port))
        lock.listen(_ASKED)
    except OSError:
        lock.close()
        raise
    return lock


def _lock_name(host: str, port: int) -> str:
    """One for all names of a host."""
    (*_, address), *_ = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return f"{_LOCK}{address[0]} {port}"


def _address_holder(name: str) -> Holder | None:
    """Whoever holds the lock of a socket:// port: the system tells who listens, SO_PEERCRED of socket(7)."""
    parts = urlsplit(name)
    with suppress(OSError, ValueError), closing(socket.socket(socket.AF_UNIX)) as asking:
        asking.setblocking(False)  # noqa: FBT003  (its only form)
        asking.connect(_lock_name(parts.hostname or "", parts.port or 0))
        told = asking.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
        pid, _, _ = struct.unpack("3i", told)
        return Holder(pid, _command(pid))
    return None


def holder(name: str) -> Holder | None:
    """Who has the port open: the owner of its lock, else any process with it among its open files.

    Seen are processes of the same user, and the lock's owner whoever runs it. None where nobody can be seen.
    """
    if name.lower().startswith("socket://") and sys.platform.startswith("linux"):
        return _address_holder(name)
    try:
        device = Path(name).stat()
    except (OSError, ValueError):
        return None
    if not stat.S_ISCHR(device.st_mode):
        return None
    pid = next(_lockers(device), None) or next(_openers(device), None)
    return None if pid is None else Holder(pid, _command(pid))


def _lockers(device: os.stat_result) -> Iterator[int]:
    """Owners of a whole-file lock, from lines like `2: FLOCK  ADVISORY  WRITE 708 00:16:5 0 EOF`."""
    wanted = f"{os.major(device.st_dev):02x}:{os.minor(device.st_dev):02x}:{device.st_ino}"
    with suppress(OSError):
        for line in Path("/proc/locks").read_text().splitlines():
            words = line.split()
            if wanted in words and "FLOCK" in words:
                pid = words[words.index(wanted) - 1]
                if pid.isdigit() and pid != "0":
                    yield int(pid)


def _openers(device: os.stat_result) -> Iterator[int]:
    for process in Path("/proc").glob("[0-9]*"):
        if process.name == str(os.getpid()):
            continue
        with suppress(OSError):
            for opened in (process / "fd").iterdir():
                with suppress(OSError):
                    found = opened.stat()
                    if stat.S_ISCHR(found.st_mode) and found.st_rdev == device.st_rdev:
                        yield int(process.name)


def _command(pid: int) -> str:
    try:
        words = Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
    except OSError:
        return ""
    return b" ".join(words).decode(errors="replace").strip()[:120]


def how_to_be_allowed(name: str) -> str:
    """Two sentences: which group owns the port, and the one command that lets this user in."""
    if sys.platform == "win32":
        return "Another program may have it open; close that one and try again."
    try:
        status = Path(name).stat()
        owner = grp.getgrgid(status.st_gid)
        user = pwd.getpwuid(os.getuid()).pw_name
    except (OSError, KeyError):
        return "Ask the administrator of this computer for access to it."
    group = owner.gr_name
    if user in owner.gr_mem and owner.gr_gid not in os.getgroups():
        return f"{user} has been taken into its group {group} since logging in: log out and in again."
    if not status.st_mode & stat.S_IWGRP or group == "root":
        return f"It belongs to group {group}, which has no access either: a udev rule has to give it to one."
    return (
        f"It belongs to group {group}, and {user} is not in it. Have the administrator run "
        f"`usermod -aG {group} {user}`, then log out and in again."
    )


def refused_setting(descriptor: int, parity: str, data_bits: int) -> str | None:
    """What the driver did not take, read back after opening; None where all is as asked.

    Some ports have no parity and say nothing: then every byte would come damaged, or unchecked.
    """
    if sys.platform == "win32" or not os.isatty(descriptor):
        return None
    flags = termios.tcgetattr(descriptor)[2]
    sizes = {7: termios.CS7, 8: termios.CS8}
    if bool(flags & termios.PARENB) != (parity != "none"):
        return f"{parity} parity"
    if parity != "none" and bool(flags & termios.PARODD) != (parity == "odd"):
        return f"{parity} parity"
    return None if flags & termios.CSIZE == sizes[data_bits] else f"{data_bits} data bits"
