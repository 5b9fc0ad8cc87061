"""The port: four methods, and the only place that knows pySerial.

Anything with `read`, `write`, `reset` and `close` is a port. Errors of the operating system and of pySerial
come in three families (SerialException, OSError, termios.error; none covers the others): they are translated
here, at one border, and above it there is only `PortError`.
"""

import os
import select
import socket
import time
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from typing import Protocol
from urllib.parse import urlsplit

import serial

from protocols.modbus.timing import SerialFormat
from readout.bus import platform
from readout.errors import PortError

#: What a port that is gone may raise, all of it.
LINE_ERRORS: tuple[type[Exception], ...] = (serial.SerialException, *platform.ERRORS)
#: And what a port that is closed meanwhile may raise besides: the descriptor is -1, pySerial's is None.
CALL_ERRORS: tuple[type[Exception], ...] = (*LINE_ERRORS, ValueError, TypeError)
#: Seconds in which a port must take a request; a stuck driver would else hold the program for ever.
WRITE_WITHIN = 2.0
#: Seconds in which a device server must take the connection.
CONNECT_WITHIN = 5.0
#: Seconds that a network may keep bytes back where one of its packets is lost and sent again.
NETWORK_SLACK = 0.2
#: Seconds a port without a file descriptor may block for one byte. It is set once, when opening: to assign a
#: property on an open port sets the line anew, which some drivers refuse and others take milliseconds for.
POLL = 0.01
#: Bytes taken at once; more than the longest frame.
CHUNK = 4096

_PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class Port(Protocol):
    """One end of a line. `name` is as the user gave it, `notes` what was done otherwise than asked."""

    name: str
    notes: tuple[str, ...]

    def read(self, wait: float) -> bytes:
        """What has arrived, at most `CHUNK` bytes; waits up to `wait` seconds for the first, 0 only looks.

        Returns as soon as there is anything; empty where nothing came, maybe early. PortError when lost.
        """
        ...

    def write(self, data: bytes) -> None:
        """Hand over all of it, not waiting until it is on the wire. PortError when lost."""
        ...

    def reset(self) -> None:
        """Throw away what has arrived and was not read."""
        ...

    def close(self) -> None:
        """Let go of the port and its lock; never fails, and may be called again."""
        ...


def network_slack(name: str) -> float:
    """Seconds that bytes may come later on this port: 0, or what a network takes to repeat a lost packet."""
    return NETWORK_SLACK if name.lower().startswith(("socket:", "rfc2217:")) else 0.0


def open_port(name: str, fmt: SerialFormat) -> Port:
    """Open whatever pySerial opens: a device, `COM7`, `socket://…`, `rfc2217://…`, `loop://`.

    The port is ours alone (flock, and TIOCEXCL where it is real; of a socket:// its address is, on Linux). A
    pseudo-terminal, which has no parity, is opened with 8 data bits and none; `notes` says so. PortError of
    kind absent, denied, held or settings.
    """
    pseudo = platform.is_pseudo_terminal(name)
    parity, data_bits = ("none", 8) if pseudo else (fmt.parity, fmt.data_bits)
    try:
        device = _opened(name, fmt, parity, data_bits)
    except ValueError as error:
        raise PortError(
            "settings", f"{name} cannot do {fmt}: {error}. See the settings of the line."
        ) from error
    except LINE_ERRORS as error:
        raise _not_to_be_had(name, fmt, error) from error
    port = _wrapped(name, device)
    try:
        if isinstance(port, DescriptorPort):
            if not pseudo:
                platform.forbid_others(port.descriptor)
            refused = platform.refused_setting(port.descriptor, parity, data_bits)
            if refused is not None:
                raise PortError("settings", f"{name} cannot do {refused}: its driver did not take it.")
    except LINE_ERRORS as error:
        port.close()
        raise _lost(name, error) from error
    except PortError:
        port.close()
        raise
    if pseudo and (fmt.parity, fmt.data_bits) != (parity, data_bits):
        port.notes = (f"pseudo-terminal: opened with 8 data bits and no parity instead of {fmt}",)
    return port


def _opened(name: str, fmt: SerialFormat, parity: str, data_bits: int) -> "serial.Serial | _TcpDevice":
    if name.lower().startswith("socket://"):
        return _TcpDevice(name)
    device = serial.serial_for_url(
        name,
        do_not_open=True,
        baudrate=fmt.baud_rate,
        bytesize=data_bits,
        parity=_PARITIES[parity],
        stopbits=fmt.stop_bits,
        timeout=POLL,
    )
    # Set before opening, where nothing is sent to the driver yet; rfc2217:// knows neither of the two.
    if not name.lower().startswith("rfc2217:"):
        device.write_timeout = WRITE_WITHIN
        if "://" not in name and platform.POSIX:
            device.exclusive = True
    device.open()
    return device


class _TcpDevice:
    """A raw TCP connection to a device server. pySerial's own waits 0.3 s when it is closed, keeps the socket
    where the other end has closed first, and does not notice a server that lost its power."""

    def __init__(self, name: str) -> None:
        parts = urlsplit(name)
        if not parts.hostname or parts.port is None:
            raise ValueError("a device server is written socket://HOST:PORT")
        self._lock = platform.hold_address(parts.hostname, parts.port)
        try:
            self._socket = socket.create_connection((parts.hostname, parts.port), CONNECT_WITHIN)
        except OSError:
            self._let_go()
            raise
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._socket.settimeout(0.0)

    def fileno(self) -> int:
        return self._socket.fileno()

    def receive(self, most: int) -> bytes:
        return self._socket.recv(most)

    def send(self, data: bytes) -> int:
        return self._socket.send(data)

    def reset_input_buffer(self) -> None:
        with suppress(BlockingIOError):
            while self.receive(CHUNK):
                pass

    def close(self) -> None:
        self._socket.close()
        self._let_go()

    def _let_go(self) -> None:
        if self._lock is not None:
            self._lock.close()


def _not_to_be_had(name: str, fmt: SerialFormat, error: BaseException) -> PortError:
    """Which of the four it is, in a sentence that says what to try."""
    cause = error.__context__ if getattr(error, "errno", None) is None else error
    number = getattr(cause, "errno", None) or (cause.args[0] if cause and cause.args else None)
    kind = platform.kind_of(number if isinstance(number, int) else None)
    if kind == "denied":
        text = f"{name} may not be opened by this user. {platform.how_to_be_allowed(name)}"
    elif kind == "held":
        holder = platform.holder(name)
        who = f"by {holder}" if holder else "by another program, which cannot be seen from here"
        text = f"{name} is held {who}. One program at a time can use a line: end that one first."
    elif kind == "settings" and "://" not in name:
        text = f"{name} cannot do {fmt}: {error}. See the settings of the line."
    elif kind == "no serial port":
        kind, text = "unfit", f"{name} is no serial port. {_found_instead()}"
    elif "://" in name:
        kind = "absent"
        text = f"{name} cannot be reached: {error}. See host, port number and cable of the device server."
    else:
        text = f"{name} is not there. {_found_instead()}"
    return PortError(kind, text)


def _found_instead() -> str:
    found = [device for device, _ in serial_devices()]
    return (
        f"Ports found: {', '.join(sorted(found))}." if found else "No serial port was found: see the adapter."
    )


def serial_devices() -> Sequence[tuple[str, str]]:
    """Device name and description of each serial port of this computer, as its drivers tell."""
    from serial.tools import list_ports  # only to list or to explain; not on the polling path

    return [
        (found.device, "" if found.description == "n/a" else found.description)
        for found in list_ports.comports()
    ]


def _lost(name: str, error: BaseException) -> PortError:
    return PortError("lost", f"{name} is gone: {error}. See the adapter and its cable.")


def _wrapped(name: str, device: "serial.Serial | _TcpDevice") -> Port:
    if isinstance(device, _TcpDevice):
        return DescriptorPort(name, device, device.fileno())
    if platform.POSIX:
        try:
            return DescriptorPort(name, device, device.fileno())
        except (OSError, AttributeError):
            pass  # loop:// and rfc2217:// have no file of their own
    from readout.bus.watched import WatchedPort  # only where drivers may block; it needs `Port` from here

    return WatchedPort(PolledPort(name, device))


class DescriptorPort:
    """A port with a file descriptor: the waiting is one `select` with the time that is left.

    Some µs a call, where pySerial's own reading waits for a number of bytes or the whole timeout.
    """

    def __init__(self, name: str, device: "serial.Serial | _TcpDevice", descriptor: int) -> None:
        self.name = name
        self.notes: tuple[str, ...] = ()
        self.descriptor = descriptor
        self._device = device
        self._watched = [descriptor]
        if isinstance(device, _TcpDevice):  # Windows reads files and sockets by different calls
            self._receive, self._send = device.receive, device.send
        else:
            self._receive, self._send = partial(os.read, descriptor), partial(os.write, descriptor)

    def read(self, wait: float) -> bytes:
        """See `Port`."""
        try:
            data = self._arrived(max(wait, 0.0))
            if data == b"":
                # Readable and empty is a port that is gone, unless another reader was faster: then it is not
                # readable any more.
                data = self._arrived(0.0)
                if data == b"":
                    raise ConnectionError("the other end has closed")
        except BlockingIOError:
            return b""
        except CALL_ERRORS as error:
            raise _lost(self.name, error) from error
        return data or b""

    def _arrived(self, wait: float) -> bytes | None:
        ready, _, _ = select.select(self._watched, (), (), wait)
        return self._receive(CHUNK) if ready else None

    def write(self, data: bytes) -> None:
        """See `Port`."""
        try:
            done = self._write(data)
            deadline = time.monotonic() + WRITE_WITHIN
            while done < len(data):
                left = deadline - time.monotonic()
                if left <= 0:
                    raise _lost(self.name, TimeoutError(f"it took no bytes for {WRITE_WITHIN:.0f} s"))
                select.select((), self._watched, (), left)
                done += self._write(data[done:])
        except CALL_ERRORS as error:
            raise _lost(self.name, error) from error

    def _write(self, data: bytes) -> int:
        try:
            return self._send(data)
        except BlockingIOError:
            return 0

    def reset(self) -> None:
        """See `Port`."""
        try:
            self._device.reset_input_buffer()
        except LINE_ERRORS as error:
            raise _lost(self.name, error) from error

    def close(self) -> None:
        """See `Port`."""
        with suppress(*LINE_ERRORS):
            platform.allow_others(self.descriptor)
        self.descriptor = -1
        self._watched = [-1]
        self._receive, self._send = partial(os.read, -1), partial(os.write, -1)
        _close(self._device)


class PolledPort:
    """A port that only pySerial can wait for: `loop://`, `rfc2217://`, and every port on Windows."""

    def __init__(self, name: str, device: serial.Serial) -> None:
        self.name = name
        self.notes: tuple[str, ...] = ()
        self._device = device

    def read(self, wait: float) -> bytes:
        """See `Port`; may return up to `POLL` seconds late where nothing comes."""
        try:
            waiting = self._device.in_waiting
            if not waiting:
                if wait <= 0:
                    return b""
                first = self._device.read(1)
                return first + self._device.read(self._device.in_waiting) if first else b""
            return self._device.read(min(waiting, CHUNK))
        except CALL_ERRORS as error:
            raise _lost(self.name, error) from error

    def write(self, data: bytes) -> None:
        """See `Port`."""
        try:
            self._device.write(data)
        except CALL_ERRORS as error:
            raise _lost(self.name, error) from error

    def reset(self) -> None:
        """See `Port`."""
        try:
            self._device.reset_input_buffer()
        except CALL_ERRORS as error:
            raise _lost(self.name, error) from error

    def close(self) -> None:
        """See `Port`."""
        _close(self._device)


def _close(device: "serial.Serial | _TcpDevice") -> None:
    with suppress(*CALL_ERRORS):  # a port that is gone need not be closed in good order
        device.close()
