"""One suite for every kind of port: what is read, written, thrown away and closed, on pty, TCP and loop."""

import os
import socket
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import NamedTuple

import pytest
import serial
import serial.rfc2217

from protocols.modbus.timing import SerialFormat
from readout.bus.port import Port, open_port
from readout.errors import PortError

FMT = SerialFormat(19200, "even")
EVERY_BYTE = bytes(range(256))


class Far(NamedTuple):
    """The other end: what it sends, what it has received, how it goes away."""

    send: Callable[[bytes], object]
    receive: Callable[[], bytes]
    hang_up: Callable[[], object] | None


def read_all(port: Port, count: int) -> bytes:
    data, give_up = b"", time.monotonic() + 5
    while len(data) < count and time.monotonic() < give_up:
        data += port.read(0.1)
    return data


def use_for_a_while(port: Port) -> None:
    for _ in range(100):
        port.write(b"\x01")
        port.read(0.01)


def write_without_end(port: Port) -> None:
    for _ in range(1000):
        port.write(EVERY_BYTE)


@pytest.fixture
def on_pty() -> Iterator[tuple[Port, Far]]:
    master, slave = os.openpty()
    tty.setraw(slave)
    port = open_port(os.ttyname(slave), FMT)
    os.close(slave)
    open_ends = [master]

    def hang_up() -> None:
        os.close(open_ends.pop())

    yield port, Far(lambda data: os.write(master, data), lambda: os.read(master, 4096), hang_up)
    port.close()
    for end in open_ends:
        os.close(end)


@pytest.fixture
def on_tcp() -> Iterator[tuple[Port, Far]]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = open_port(f"socket://127.0.0.1:{server.getsockname()[1]}", FMT)
        far, _ = server.accept()
        far.settimeout(5)
        with far:
            yield port, Far(far.sendall, lambda: far.recv(4096), far.close)
        port.close()


@pytest.fixture
def on_loop() -> Iterator[tuple[Port, Far]]:
    """pySerial's loop:// hears what it says: both ends are one."""
    port = open_port("loop://", FMT)
    yield port, Far(port.write, lambda: port.read(1.0), None)
    port.close()


class PortContract:
    """What everything above relies on."""

    @pytest.fixture
    def ends(self) -> tuple[Port, Far]:
        raise NotImplementedError

    def test_every_byte_arrives_as_it_was_sent(self, ends: tuple[Port, Far]) -> None:
        port, far = ends
        far.send(EVERY_BYTE)
        assert read_all(port, 256) == EVERY_BYTE

    def test_every_byte_is_sent_as_it_was_given(self, ends: tuple[Port, Far]) -> None:
        port, far = ends
        port.write(EVERY_BYTE)
        received = b""
        while len(received) < 256:
            received += far.receive()
        assert received == EVERY_BYTE

    def test_without_bytes_reading_ends_when_the_time_is_up(self, ends: tuple[Port, Far]) -> None:
        port, _ = ends
        begun = time.monotonic()
        assert port.read(0) == b""
        assert time.monotonic() - begun < 0.01
        while time.monotonic() - begun < 0.03:
            assert port.read(0.03) == b""
        assert time.monotonic() - begun < 0.3

    def test_reading_returns_as_soon_as_there_is_something(self, ends: tuple[Port, Far]) -> None:
        port, far = ends
        threading.Timer(0.05, far.send, (b"\x01\x83",)).start()
        begun, data = time.monotonic(), b""
        while not data and time.monotonic() - begun < 5:
            data = port.read(5.0)
        assert data[:1] == b"\x01"
        assert time.monotonic() - begun < 1.0

    def test_what_was_thrown_away_is_not_read(self, ends: tuple[Port, Far]) -> None:
        port, far = ends
        far.send(b"old")
        time.sleep(0.02)  # until the system has carried the bytes over
        port.reset()
        far.send(b"new")
        assert read_all(port, 3) == b"new"

    def test_a_closed_port_is_lost_and_may_be_closed_again(self, ends: tuple[Port, Far]) -> None:
        port, _ = ends
        port.close()
        port.close()
        for use in (lambda: port.read(0.01), lambda: port.write(b"\x01"), port.reset):
            with pytest.raises(PortError) as lost:
                use()
            assert lost.value.kind == "lost"
            assert port.name in str(lost.value)


class HangUpContract(PortContract):
    """And where the two ends are not one."""

    def test_when_the_other_end_goes_away_the_port_is_lost(self, ends: tuple[Port, Far]) -> None:
        port, far = ends
        assert far.hang_up is not None
        far.hang_up()
        with pytest.raises(PortError) as lost:
            use_for_a_while(port)
        assert lost.value.kind == "lost"


class TestPty(HangUpContract):
    @pytest.fixture
    def ends(self, on_pty: tuple[Port, Far]) -> tuple[Port, Far]:
        return on_pty

    def test_it_says_that_parity_was_left_out(self, ends: tuple[Port, Far]) -> None:
        """A pseudo-terminal has none, and refuses to be opened with it the second time."""
        assert ends[0].notes == (
            "pseudo-terminal: opened with 8 data bits and no parity instead of 19200 8E1",
        )

    def test_it_can_be_opened_again_after_closing(self, ends: tuple[Port, Far]) -> None:
        port, far = ends
        for _ in range(5):
            port.close()
            port = open_port(port.name, FMT)
        far.send(b"\x01\x02")
        assert read_all(port, 2) == b"\x01\x02"
        port.close()

    def test_another_reader_that_is_faster_is_no_lost_port(self, ends: tuple[Port, Far], monkeypatch) -> None:
        """The system tells of bytes, and a second program takes them before we do."""
        port, far = ends
        with monkeypatch.context() as patch:
            answers = iter([([1], [], []), ([], [], [])])
            patch.setattr("readout.bus.port.select.select", lambda *_: next(answers))
            assert port.read(0.1) == b""
        far.send(b"\x01")
        assert read_all(port, 1) == b"\x01"

    def test_a_port_that_takes_no_bytes_is_given_up(self, ends: tuple[Port, Far], monkeypatch) -> None:
        """Nobody reads at the other end, until the system's buffer is full."""
        monkeypatch.setattr("readout.bus.port.WRITE_WITHIN", 0.05)
        with pytest.raises(PortError) as stuck:
            write_without_end(ends[0])
        assert "took no bytes" in str(stuck.value)


class TestTcp(HangUpContract):
    @pytest.fixture
    def ends(self, on_tcp: tuple[Port, Far]) -> tuple[Port, Far]:
        return on_tcp


class TestLoop(PortContract):
    @pytest.fixture
    def ends(self, on_loop: tuple[Port, Far]) -> tuple[Port, Far]:
        return on_loop


@pytest.fixture
def device_server() -> Iterator[tuple[str, serial.SerialBase]]:
    """An RFC 2217 server by pySerial's own PortManager, in front of a port that hears what it says."""
    device = serial.serial_for_url("loop://", timeout=0)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            connection, _ = server.accept()
            with connection:
                manager = serial.rfc2217.PortManager(device, Connection(connection))
                connection.settimeout(0.01)
                while True:
                    with suppress(TimeoutError):  # nothing came: see what the port has to say
                        received = connection.recv(1000)
                        if not received:
                            return
                        device.write(b"".join(manager.filter(received)))
                    connection.sendall(b"".join(manager.escape(device.read(1000))))

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield f"rfc2217://127.0.0.1:{server.getsockname()[1]}", device
        thread.join(2)
    device.close()


class Connection(NamedTuple):
    """What PortManager writes its own answers to."""

    socket: socket.socket

    def write(self, data: bytes) -> None:
        self.socket.sendall(data)


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # pySerial 3.5 uses old names
def test_a_device_server_is_told_the_settings_and_carries_every_byte(
    device_server: tuple[str, serial.SerialBase],
) -> None:
    """RFC 2217: the settings of the line go to the server, parity too, which no pseudo-terminal can show."""
    url, device = device_server
    port = open_port(url, FMT)
    assert (device.baudrate, device.parity, device.bytesize, device.stopbits) == (19200, "E", 8, 1)
    port.write(EVERY_BYTE)
    assert read_all(port, 256) == EVERY_BYTE
    assert port.read(0) == b""
    port.close()
