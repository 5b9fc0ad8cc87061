"""The meter's end of a line: the master side of a pseudo-terminal, or a TCP socket. No serial library.

An end has four methods: `read` waits for bytes, `write` sends them, `wake` ends a wait from another thread,
`close` gives everything back. What nobody takes is lost, as on a wire.
"""

import contextlib
import os
import selectors
import socket
import sys
from pathlib import Path
from typing import Protocol

from simulators.errors import NoSuchEnd

READ_SIZE = 4096

#: While nothing comes, a terminal that a killed master kept for itself is released this often, in seconds.
RELEASE = 0.1


class End(Protocol):
    """See the module's text. `port` is what a program opens to reach the meter."""

    @property
    def port(self) -> str:
        """A device path, or socket://host:port."""
        ...

    def read(self, timeout: float | None) -> bytes:
        """What has arrived; waits up to `timeout` seconds (None: for ever); empty if nothing, or woken."""
        ...

    def write(self, data: bytes) -> None:
        """Send; never blocks, never fails: what the other side does not take is lost."""
        ...

    def wake(self) -> None:
        """Let a `read` in another thread return at once."""
        ...

    def close(self) -> None:
        """Give the port back."""
        ...


class _Alarm:
    """Ends a wait on a selector from another thread."""

    def __init__(self, selector: selectors.BaseSelector) -> None:
        self._out, self._in = socket.socketpair()
        self._in.settimeout(0)
        self._out.settimeout(0)
        selector.register(self._out, selectors.EVENT_READ, self)

    def ring(self) -> None:
        with contextlib.suppress(OSError):
            self._in.send(b"!")

    def hear(self) -> None:
        with contextlib.suppress(OSError):
            self._out.recv(READ_SIZE)

    def close(self) -> None:
        self._in.close()
        self._out.close()


class PtyEnd:
    """A pseudo-terminal, raw before anybody opens it, with a stable link to it where one is wanted.

    The terminal side is held open, so that a master may come and go. NoSuchEnd where there are no
    pseudo-terminals (Windows) or the link's place is taken by something that is not a link.
    """

    def __init__(self, link: Path | None = None) -> None:
        """Make the terminal; `link` becomes a symbolic link to it, set in one step, removed at the end."""
        if sys.platform == "win32":
            raise NoSuchEnd("This system has no pseudo-terminals; offer the meter over TCP instead (--tcp).")
        import tty  # not to be had on Windows

        try:
            self._wire, self._terminal = os.openpty()
        except OSError as error:
            raise NoSuchEnd(f"No pseudo-terminal is to be had ({error.strerror}).") from error
        tty.setraw(self._terminal)
        os.set_blocking(self._wire, False)
        self._device = os.ttyname(self._terminal)
        status = os.fstat(self._terminal)
        #: How the kernel's list of locks names this terminal: device and inode (proc(5)).
        self._lock = f" {os.major(status.st_dev):02x}:{os.minor(status.st_dev):02x}:{status.st_ino} "
        self._link = link
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._wire, selectors.EVENT_READ)
        self._alarm = _Alarm(self._selector)
        if link is not None:
            try:
                point_link(link, self._device)
            except NoSuchEnd:
                self._link = None
                self.close()
                raise

    @property
    def port(self) -> str:
        """The link where there is one, else the device."""
        return self._device if self._link is None else str(self._link)

    def read(self, timeout: float | None) -> bytes:
        """See `End`."""
        while True:
            wait = RELEASE if timeout is None else min(timeout, RELEASE)
            if events := self._selector.select(wait):
                break
            if timeout is not None:
                timeout -= wait
                if timeout <= 0:
                    return b""
            self._release()
        data = b""
        for key, _ in events:
            if key.data is self._alarm:
                self._alarm.hear()
            else:
                with contextlib.suppress(OSError):
                    data = os.read(self._wire, READ_SIZE)
        return data

    def _release(self) -> None:
        """Let others open the terminal again after a master that forbade it (TIOCEXCL) is gone.

        A real port forgets that mark with its last close; a terminal keeps it as long as we hold our side. A
        master that is there is known by its lock (flock).
        """
        import fcntl  # not to be had on Windows
        import termios

        with contextlib.suppress(OSError):
            if self._lock not in Path("/proc/locks").read_text():
                fcntl.ioctl(self._terminal, termios.TIOCNXCL)

    def write(self, data: bytes) -> None:
        """See `End`."""
        with contextlib.suppress(OSError):
            os.write(self._wire, data)

    def wake(self) -> None:
        """See `End`."""
        self._alarm.ring()

    def close(self) -> None:
        """See `End`; the link is removed if it still leads here."""
        if self._link is not None:
            with contextlib.suppress(OSError):
                if os.readlink(self._link) == self._device:  # noqa: PTH115  (text as stored, not resolved)
                    self._link.unlink()
        self._selector.close()
        self._alarm.close()
        os.close(self._terminal)
        os.close(self._wire)


def point_link(link: Path, device: str) -> None:
    """Make `link` a symbolic link to `device` in one step, whatever link was there before.

    NoSuchEnd where something else than a link is there, or the folder cannot be written.
    """
    if link.exists() and not link.is_symlink():
        raise NoSuchEnd(f"{link} is there already and is no link; choose another name for --link.")
    aside = link.with_name(f".{link.name}.{os.getpid()}")
    try:
        aside.symlink_to(device)
        aside.replace(link)
    except OSError as error:
        with contextlib.suppress(OSError):
            aside.unlink()
        raise NoSuchEnd(f"{link} cannot be made a link to {device} ({error.strerror}).") from error


class TcpEnd:
    """The same bytes over TCP, frames with checksum, as a serial device server gives them.

    One client at a time; a second one is turned away at once.
    """

    def __init__(self, host: str, number: int) -> None:
        """Listen on host and TCP port `number` (0: any free one). NoSuchEnd where that is not to be had."""
        try:
            family = socket.getaddrinfo(host, number, type=socket.SOCK_STREAM)[0][0]
            self._listener = socket.create_server((host, number), family=family, backlog=4)
        except OSError as error:
            raise NoSuchEnd(
                f"TCP {host}:{number} is not to be had ({error.strerror}); choose another port."
            ) from error
        self._listener.settimeout(0)
        self._host = host
        self._client: socket.socket | None = None
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._listener, selectors.EVENT_READ)
        self._alarm = _Alarm(self._selector)

    @property
    def port(self) -> str:
        """socket://host:port, as pySerial opens it."""
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"socket://{host}:{self._listener.getsockname()[1]}"

    def read(self, timeout: float | None) -> bytes:
        """See `End`. Also empty when a client has come or gone."""
        data = b""
        for key, _ in self._selector.select(timeout):
            if key.data is self._alarm:
                self._alarm.hear()
            elif key.fileobj is self._listener:
                self._welcome()
            else:
                data = self._receive()
        return data

    def _welcome(self) -> None:
        with contextlib.suppress(OSError):
            client, _ = self._listener.accept()
            if self._client is not None:
                client.close()
                return
            client.settimeout(0)
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._client = client
            self._selector.register(client, selectors.EVENT_READ)

    def _receive(self) -> bytes:
        assert self._client is not None
        try:
            data = self._client.recv(READ_SIZE)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._selector.unregister(self._client)
            self._client.close()
            self._client = None
        return data

    def write(self, data: bytes) -> None:
        """See `End`."""
        if self._client is not None:
            with contextlib.suppress(OSError):
                self._client.send(data)

    def wake(self) -> None:
        """See `End`."""
        self._alarm.ring()

    def close(self) -> None:
        """See `End`."""
        if self._client is not None:
            self._client.close()
        self._selector.close()
        self._alarm.close()
        self._listener.close()
