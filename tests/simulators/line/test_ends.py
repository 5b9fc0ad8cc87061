"""Where a simulated meter can be reached: pseudo-terminals, links to them, TCP."""

import fcntl
import os
import socket
import termios
import threading
from pathlib import Path

import pytest

from simulators.errors import NoSuchEnd
from simulators.line import PtyEnd, TcpEnd


@pytest.fixture
def tcp():
    end = TcpEnd("127.0.0.1", 0)
    yield end
    end.close()


def connect(end: TcpEnd) -> socket.socket:
    host, _, number = end.port.removeprefix("socket://").rpartition(":")
    return socket.create_connection((host, int(number)), timeout=5)


def test_every_byte_passes_a_pseudo_terminal_unchanged_from_the_first_open():
    end = PtyEnd()
    port = os.open(end.port, os.O_RDWR | os.O_NOCTTY)
    try:
        sent = bytes(
            range(256)
        )  # 03, 04, 0A, 0D, 11, 13, 7F, FF would be taken by a terminal that is not raw
        end.write(sent)
        assert os.read(port, 1000) == sent
        os.write(port, sent)
        assert end.read(5) == sent
        assert not termios.tcgetattr(port)[3] & (termios.ECHO | termios.ICANON | termios.ISIG)
    finally:
        os.close(port)
        end.close()


def test_a_master_may_close_the_port_and_open_it_again():
    end = PtyEnd()
    try:
        for _ in range(3):
            port = os.open(end.port, os.O_RDWR | os.O_NOCTTY)
            os.write(port, b"\x01\x0a")
            assert end.read(5) == b"\x01\x0a"
            os.close(port)
    finally:
        end.close()


def test_the_link_leads_to_the_terminal_and_is_gone_at_the_end(tmp_path: Path):
    link = tmp_path / "hall-meter"
    end = PtyEnd(link)
    assert end.port == str(link)
    assert link.is_symlink()
    assert link.resolve().is_char_device()
    end.close()
    assert not link.is_symlink()
    assert list(tmp_path.iterdir()) == []


def test_a_link_left_by_a_killed_simulation_is_replaced(tmp_path: Path):
    link = tmp_path / "hall-meter"
    link.symlink_to("/dev/pts/nowhere")
    end = PtyEnd(link)
    assert link.resolve().is_char_device()
    end.close()


def test_a_link_that_leads_to_somebody_elses_terminal_is_left_alone(tmp_path: Path):
    link = tmp_path / "hall-meter"
    first = PtyEnd(link)
    second = PtyEnd(link)
    first.close()
    assert link.resolve().is_char_device()
    second.close()
    assert not link.is_symlink()


def test_a_file_is_never_replaced_by_a_link(tmp_path: Path):
    taken = tmp_path / "results.csv"
    taken.write_text("precious")
    with pytest.raises(NoSuchEnd, match="is no link; choose another name"):
        PtyEnd(taken)
    assert taken.read_text() == "precious"


def test_a_link_in_a_folder_that_is_not_there_is_refused_in_a_sentence(tmp_path: Path):
    with pytest.raises(NoSuchEnd, match="cannot be made a link"):
        PtyEnd(tmp_path / "nowhere" / "meter")


def test_a_terminal_that_nobody_reads_never_blocks_the_meter():
    end = PtyEnd()
    for _ in range(100):
        end.write(bytes(1000))
    end.close()


def test_a_wait_is_ended_from_another_thread():
    end = PtyEnd()
    timer = threading.Timer(0.02, end.wake)
    timer.start()
    assert end.read(None) == b""
    timer.join()
    end.close()


def kept(port: int) -> bool:
    """Whether others are forbidden to open this terminal (TIOCGEXCL, unnamed in Python's termios)."""
    answer = bytearray(4)
    fcntl.ioctl(port, 0x80045440, answer)
    return answer != bytes(4)


def test_a_terminal_kept_by_a_killed_master_can_be_opened_by_the_next():
    end = PtyEnd()
    try:
        first = os.open(end.port, os.O_RDWR | os.O_NOCTTY)
        fcntl.flock(first, fcntl.LOCK_EX)
        fcntl.ioctl(first, termios.TIOCEXCL)
        assert end.read(0.25) == b""
        assert kept(first)  # while its master is there
        os.close(first)
        assert end.read(0.25) == b""
        second = os.open(end.port, os.O_RDWR | os.O_NOCTTY)  # root gets here in any case
        assert not kept(second)
        os.close(second)
    finally:
        end.close()


def test_one_tcp_client_at_a_time_and_the_next_after_it(tcp: TcpEnd):
    first = connect(tcp)
    assert tcp.read(5) == b""  # somebody came
    second = connect(tcp)
    assert tcp.read(5) == b""
    assert second.recv(10) == b""  # turned away
    first.sendall(b"\x01\x03")
    assert tcp.read(5) == b"\x01\x03"
    tcp.write(b"\x0d\x0a")
    assert first.recv(10) == b"\x0d\x0a"
    first.close()
    assert tcp.read(5) == b""
    third = connect(tcp)
    assert tcp.read(5) == b""
    third.sendall(b"\x02")
    assert tcp.read(5) == b"\x02"
    third.close()
    second.close()


def test_without_a_tcp_client_a_reply_is_lost_without_harm(tcp: TcpEnd):
    tcp.write(b"\x01")


def test_a_tcp_port_in_use_is_refused_in_a_sentence(tcp: TcpEnd):
    number = int(tcp.port.rpartition(":")[2])
    with pytest.raises(NoSuchEnd, match=rf"TCP 127.0.0.1:{number} is not to be had .*choose another port"):
        TcpEnd("127.0.0.1", number)
