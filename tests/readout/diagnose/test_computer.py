"""Findings about this computer, from a made-up /proc, /sys and /dev."""

from pathlib import Path

import pytest

from readout.diagnose.computer import About, findings, latency_ms


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A computer without any fault: one USB adapter, one UART."""
    (tmp_path / "dev").mkdir()
    for name in ("ttyUSB0", "ttyS0", "ttyAMA0"):
        (tmp_path / "dev" / name).touch()
    (tmp_path / "proc").mkdir()
    (tmp_path / "proc/cmdline").write_text("root=/dev/mmcblk0p2 quiet\n")
    return tmp_path


def abouts(port: str, root: Path) -> list[About]:
    return [finding.about for finding in findings(port, root)]


def process(root: Path, number: int, name: str, *words: str) -> None:
    folder = root / "proc" / str(number)
    folder.mkdir()
    (folder / "comm").write_text(name + "\n")
    (folder / "cmdline").write_bytes(b"\0".join(word.encode() for word in (name, *words)) + b"\0")


def latency(root: Path, value: int) -> None:
    folder = root / "sys/bus/usb-serial/devices/ttyUSB0"
    folder.mkdir(parents=True)
    (folder / "latency_timer").write_text(f"{value}\n")


def test_a_healthy_computer_has_no_findings(root: Path) -> None:
    latency(root, 1)
    process(root, 1, "systemd")
    assert findings("/dev/ttyUSB0", root) == ()
    assert findings("socket://192.0.2.1:4001", root) == ()


def test_a_slow_latency_timer_is_told_with_its_cost_and_remedy(root: Path) -> None:
    latency(root, 16)
    (found,) = findings("/dev/ttyUSB0", root)
    assert found.about is About.LATENCY
    assert "16 ms" in found.sentence
    assert "62 reads a second" in found.sentence
    assert "/sys/bus/usb-serial/devices/ttyUSB0/latency_timer" in found.remedy
    assert latency_ms("/dev/ttyUSB0", root) == 16


def test_the_latency_is_found_behind_a_stable_name(root: Path) -> None:
    latency(root, 16)
    (root / "dev/serial/by-id").mkdir(parents=True)
    (root / "dev/serial/by-id/usb-adapter-0").symlink_to("../../ttyUSB0")
    assert abouts("/dev/serial/by-id/usb-adapter-0", root) == [About.LATENCY]


def test_a_mini_uart_with_a_console_on_it_is_two_findings(root: Path) -> None:
    (root / "proc/cmdline").write_text("console=serial0,115200 console=tty1 root=/dev/mmcblk0p2\n")
    (root / "dev/serial/by-path").mkdir(parents=True)
    (root / "dev/serial/by-path/platform-3f215040.serial").symlink_to("../../ttyS0")
    (root / "dev/serial0").symlink_to("ttyS0")
    assert abouts("/dev/ttyS0", root) == [About.MINI_UART, About.CONSOLE]
    assert abouts("/dev/serial0", root) == [About.MINI_UART, About.CONSOLE]
    assert abouts("/dev/ttyAMA0", root) == []


def test_a_login_on_the_port_is_told_and_one_on_another_port_is_not(root: Path) -> None:
    process(root, 708, "agetty", "--keep-baud", "115200,57600", "ttyAMA0", "vt220")
    assert abouts("/dev/ttyAMA0", root) == [About.LOGIN]
    assert "serial-getty@ttyAMA0.service" in findings("/dev/ttyAMA0", root)[0].remedy
    assert abouts("/dev/ttyUSB0", root) == []


def test_programs_that_take_or_probe_adapters_are_told(root: Path) -> None:
    process(root, 612, "ModemManager")
    process(root, 613, "brltty", "-b", "auto")
    assert abouts("/dev/ttyUSB0", root) == [About.MODEM_MANAGER, About.BRLTTY]
