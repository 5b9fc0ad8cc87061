"""Three meters of different settings, found over ports that show them: RFC 2217 and a pseudo-terminal.

Each line hears a request only where its settings are the meter's own, as a receiver on a wire does.
"""

import os
import socket
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from typing import NamedTuple

import pytest
import serial
import serial.rfc2217

from protocols.modbus.crc import fits, with_crc
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus.port import open_port
from readout.clock import SystemClock
from readout.diagnose.find import Finder, expected_seconds, listen_first
from readout.diagnose.settings import likely_settings, stages


def replies(units: Sequence[int], frame: bytes) -> bytes:
    """What meters with register 0 holding 4711 say (AP V1.1b3, 6.3)."""
    if fits(frame) and frame[0] in units and frame[1] == 3:
        return with_crc(bytes((frame[0], 3, 2, 0x12, 0x67)))
    return b""


class Connection(NamedTuple):
    """What PortManager writes its own answers to."""

    socket: socket.socket

    def write(self, data: bytes) -> None:
        self.socket.sendall(data)


class Wire:
    """The device behind the server: `loop://` knows every setting; what is sent goes to the meters."""

    def __init__(self, meters: dict[tuple[int, str, int], Sequence[int]]) -> None:
        self.device = serial.serial_for_url("loop://", timeout=0)
        self.meters = meters

    def hear(self, data: bytes) -> bytes:
        device = self.device
        return replies(self.meters.get((device.baudrate, device.parity, int(device.stopbits)), ()), data)


@pytest.fixture
def device_server() -> Iterator[Callable[[Wire], str]]:
    """An RFC 2217 server by pySerial's PortManager, one client after the other."""
    stop = threading.Event()
    threads, servers = [], []

    def start(wire: Wire) -> str:
        server = socket.create_server(("127.0.0.1", 0))
        server.settimeout(0.05)
        servers.append(server)

        def serve() -> None:
            while not stop.is_set():
                with suppress(TimeoutError):
                    connection, _ = server.accept()
                    with connection:
                        serve_one(connection, wire, stop)

        threads.append(threading.Thread(target=serve, daemon=True))
        threads[-1].start()
        return f"rfc2217://127.0.0.1:{server.getsockname()[1]}"

    yield start
    stop.set()
    for thread in threads:
        thread.join(5)
    for server in servers:
        server.close()


def serve_one(connection: socket.socket, wire: Wire, stop: threading.Event) -> None:
    manager = serial.rfc2217.PortManager(wire.device, Connection(connection))
    connection.settimeout(0.005)
    while not stop.is_set():
        try:
            received = connection.recv(1000)
        except TimeoutError:
            continue
        except OSError:
            return
        if not received:
            return
        said = wire.hear(b"".join(manager.filter(received)))
        if said:
            connection.sendall(b"".join(manager.escape(said)))


def announced_and_taken(port: str, formats: Sequence[SerialFormat], units: Sequence[int]):
    """Search as `find` does; what was found, the announced time and the time taken [s]."""
    clock = SystemClock()
    listening = listen_first(lambda fmt: open_port(port, fmt), formats[:1], clock)
    plan = tuple(stages(formats, units))
    expected = expected_seconds(plan, 0.1, listening.opening)
    begun = time.monotonic()
    search = Finder(lambda fmt: open_port(port, fmt), clock).run(plan, Table.HOLDING)
    found = {(answer.unit, str(answer.format)) for answer in search.answers}
    return found, expected, time.monotonic() - begun


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # pySerial 3.5 uses old names
def test_meters_of_different_baud_rate_parity_and_stop_bits_are_found_over_a_device_server(
    device_server: Callable[[Wire], str],
) -> None:
    port = device_server(Wire({(19200, "E", 1): [3], (9600, "N", 1): [1], (9600, "N", 2): [18]}))
    formats = likely_settings((19200, 9600), ("8E1", "8N1", "8N2"))
    found, expected, took = announced_and_taken(port, formats, [1, 3, 18, 19])
    assert found == {(3, "19200 8E1"), (1, "9600 8N1"), (18, "9600 8N2")}
    assert took == pytest.approx(expected, rel=0.15)


class Terminal:
    """A pseudo-terminal whose meters look at the baud rate and stop bits that it was set to."""

    def __init__(self, meters: dict[tuple[int, int], Sequence[int]]) -> None:
        self.wire, self.terminal = os.openpty()
        tty.setraw(self.terminal)
        self.meters = meters
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    @property
    def port(self) -> str:
        return os.ttyname(self.terminal)

    def _serve(self) -> None:
        while True:
            data = os.read(self.wire, 4096)
            if data == b"end":
                return
            _, _, flags, _, speed, *_ = termios.tcgetattr(self.wire)
            stop_bits = 2 if flags & termios.CSTOPB else 1
            rate = {termios.B9600: 9600, termios.B19200: 19200, termios.B38400: 38400}[speed]
            if said := replies(self.meters.get((rate, stop_bits), ()), data):
                os.write(self.wire, said)

    def close(self) -> None:
        os.write(self.terminal, b"end")
        self.thread.join(5)
        os.close(self.wire)
        os.close(self.terminal)


def test_meters_of_different_baud_rates_are_found_over_a_pseudo_terminal() -> None:
    terminal = Terminal({(19200, 1): [2], (9600, 2): [5], (38400, 1): [20]})
    try:
        formats = likely_settings((19200, 9600, 38400), ("8E1", "8N1", "8N2"), parity_shows=False)
        assert len(formats) == 6
        found, expected, took = announced_and_taken(terminal.port, formats, [1, 2, 5, 20])
    finally:
        terminal.close()
    assert found == {(2, "19200 8E1"), (5, "9600 8N2"), (20, "38400 8E1")}
    assert took == pytest.approx(expected, rel=0.15)
