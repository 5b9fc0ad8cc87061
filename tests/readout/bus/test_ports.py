"""The serial adapters of a computer: stable names, latency, holder. The computer is a folder."""

from pathlib import Path

import pytest

from readout.bus.ports import Adapter, list_ports


@pytest.fixture
def computer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "dev/serial/by-id").mkdir(parents=True)
    (tmp_path / "dev/ttyUSB0").touch()
    (tmp_path / "dev/serial/by-id/usb-Hollow_Mere_RS485_A1-if00").symlink_to("../../ttyUSB0")
    timer = tmp_path / "sys/bus/usb-serial/devices/ttyUSB0"
    timer.mkdir(parents=True)
    (timer / "latency_timer").write_text("16\n")
    found = [("/dev/ttyUSB1", "another"), ("/dev/ttyUSB0", "RS485 adapter")]
    monkeypatch.setattr("readout.bus.ports.serial_devices", lambda: found)
    return tmp_path


def test_adapters_with_what_is_known_of_each(computer: Path) -> None:
    stable = "/dev/serial/by-id/usb-Hollow_Mere_RS485_A1-if00"
    assert list_ports(computer) == [
        Adapter("/dev/ttyUSB0", stable, "RS485 adapter", 16, None),
        Adapter("/dev/ttyUSB1", None, "another", None, None),
    ]


def test_a_computer_without_stable_names(tmp_path: Path, computer: Path) -> None:
    assert [adapter.stable_name for adapter in list_ports(tmp_path / "empty")] == [None, None]
