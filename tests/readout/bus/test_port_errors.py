"""A port that is not to be had: absent, denied, held and wrongly set are told apart, in words that help."""

import fcntl
import grp
import os
import signal
import socket
import struct
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from protocols.modbus.timing import SerialFormat
from readout.bus import platform
from readout.bus.port import open_port
from readout.errors import PortError

FMT = SerialFormat(9600, "none")

HOLD = """
import sys
from protocols.modbus.timing import SerialFormat
from readout.bus.port import open_port
port = open_port(sys.argv[1], SerialFormat(9600, "none"))
print("open", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def pty_name() -> Iterator[str]:
    master, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    yield name
    os.close(master)


@pytest.fixture
def other_process(pty_name: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, pty_name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        yield process
        process.kill()


def refused(name: str, fmt: SerialFormat = FMT) -> PortError:
    with pytest.raises(PortError) as error:
        open_port(name, fmt)
    assert name in str(error.value)
    assert str(error.value).endswith(".")
    return error.value


def test_a_held_port_names_its_holder_within_a_second(
    pty_name: str, other_process: subprocess.Popen[str]
) -> None:
    begun = time.monotonic()
    error = refused(pty_name)
    assert time.monotonic() - begun < 1.0
    assert error.kind == "held"
    assert f"process {other_process.pid} (" in str(error)
    assert "python" in str(error)


def test_the_lock_dies_with_its_process(pty_name: str, other_process: subprocess.Popen[str]) -> None:
    other_process.send_signal(signal.SIGKILL)
    other_process.wait()
    open_port(pty_name, FMT).close()


def test_a_port_held_by_ourselves_is_held_too(pty_name: str) -> None:
    first = open_port(pty_name, FMT)
    assert refused(pty_name).kind == "held"
    first.close()
    open_port(pty_name, FMT).close()


def exclusive(descriptor: int) -> bool:
    tiocgexcl = 0x80045440  # asm-generic/ioctls.h: _IOR('T', 0x40, int)
    (flag,) = struct.unpack("i", fcntl.ioctl(descriptor, tiocgexcl, bytes(4)))
    return flag == 1


def test_programs_that_ask_for_no_lock_are_kept_out_as_well(
    pty_name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a flag of the terminal; the super-user opens past it, so the flag is asked for, not tried."""
    monkeypatch.setattr(platform, "is_pseudo_terminal", lambda _: False)
    onlooker = os.open(pty_name, os.O_RDWR | os.O_NOCTTY)
    port = open_port(pty_name, FMT)
    assert exclusive(onlooker)
    port.close()
    assert not exclusive(onlooker)
    os.close(onlooker)


def test_a_simulated_line_can_be_opened_again_after_a_crash(pty_name: str) -> None:
    """Its far end keeps the terminal open, and the flag with it: so there is none on a pseudo-terminal."""
    onlooker = os.open(pty_name, os.O_RDWR | os.O_NOCTTY)
    port = open_port(pty_name, FMT)
    assert not exclusive(onlooker)
    port.close()
    os.close(onlooker)


def test_an_absent_port_lists_the_ports_that_are_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("readout.bus.port.serial_devices", lambda: [("/dev/ttyUSB7", "an adapter")])
    error = refused("/dev/hollow-mere")
    assert error.kind == "absent"
    assert "Ports found: /dev/ttyUSB7." in str(error)


def test_a_file_is_no_serial_port(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("no port")
    for path in (file, tmp_path):
        error = refused(str(path))
        assert error.kind == "unfit"
        assert "is no serial port" in str(error)


def test_a_device_server_that_refuses_is_absent() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
    error = refused(f"socket://127.0.0.1:{number}")
    assert error.kind == "absent"
    assert "cannot be reached" in str(error)


def test_a_device_server_with_an_unknown_name_is_absent(monkeypatch: pytest.MonkeyPatch) -> None:
    """getaddrinfo(3): EAI_NONAME is -2, which is no error number of the system."""

    def unknown(*_: object, **__: object) -> None:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    assert refused("socket://hollow-mere.invalid:4001").kind == "absent"


@pytest.mark.parametrize("name", ["socket://127.0.0.1", "pigeon://loft"])
def test_an_address_that_says_nothing_is_a_wrong_setting(name: str) -> None:
    assert refused(name).kind == "settings"


def test_a_denied_port_tells_its_group_and_the_one_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """errno 13 as the system gives it; the node belongs to a group that is not root's."""
    node = tmp_path / "ttyUSB0"
    node.touch()
    node.chmod(0o660)
    group = next(entry for entry in grp.getgrall() if entry.gr_gid not in (0, 65534))
    if os.getuid() == 0:
        os.chown(node, 0, group.gr_gid)
    else:
        group = grp.getgrgid(node.stat().st_gid)

    def denied(path: str, *_: object) -> int:
        raise PermissionError(13, "Permission denied", path)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", denied)
        error = refused(str(node))
    assert error.kind == "denied"
    assert f"belongs to group {group.gr_name}" in str(error)
    assert f"`usermod -aG {group.gr_name} " in str(error)
    assert "log out and in" in str(error)


def test_a_driver_that_leaves_the_parity_out_is_found_by_reading_back(
    pty_name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = open_port(pty_name, FMT)
    assert platform.refused_setting(port.descriptor, "none", 8) is None
    assert platform.refused_setting(port.descriptor, "even", 8) == "even parity"
    assert platform.refused_setting(port.descriptor, "none", 7) == "7 data bits"
    port.close()
    monkeypatch.setattr(platform, "refused_setting", lambda *_: "even parity")
    error = refused(pty_name)
    assert error.kind == "settings"
    assert "cannot do even parity" in str(error)
    monkeypatch.undo()
    open_port(pty_name, FMT).close()  # the refused port was let go


def test_odd_baud_rates_are_refused_in_words_or_taken(pty_name: str) -> None:
    """187500 Bd is no constant of the system; where the driver takes it anyway, well."""
    try:
        open_port(pty_name, SerialFormat(187500, "none")).close()
    except PortError as error:
        assert error.kind == "settings"  # noqa: PT017  (either end is right, a traceback is not)


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (2, "absent"),
        (5, "absent"),
        (13, "denied"),
        (16, "held"),
        (11, "held"),
        (22, "settings"),
        (None, "absent"),
    ],
)
def test_error_numbers_of_the_system(number: int | None, kind: str) -> None:
    """errno(3): ENOENT, EIO, EACCES, EBUSY, EAGAIN (of flock), EINVAL."""
    assert platform.kind_of(number) == kind
