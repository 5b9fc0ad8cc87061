"""The unit as systemd judges it, and the udev rule from a constructed sysfs."""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from readout.daemon.service.service_unit import Service, install, udev_rule, unit, usb_adapter
from readout.errors import WrongUse


def service(folder: Path, *, archive: str = "hollow-mere", network: bool = False) -> Service:
    program = Path(sys.executable).with_name("pipeledger")
    return Service(program, (folder / "header.yaml",), folder / archive, "recorder", "dialout", network)


@pytest.mark.parametrize("archive", ["hollow-mere", "Hollow Mere 100% $HOME"])
@pytest.mark.parametrize("network", [False, True])
def test_systemd_finds_no_fault_in_the_unit(tmp_path: Path, archive: str, network: bool) -> None:
    """`systemd-analyze verify` says nothing: neither a fault nor a warning."""
    made = service(tmp_path, archive=archive, network=network)
    file = tmp_path / made.unit_name
    file.write_text(unit(made))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--recursive-errors=no", file],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize(("network", "says"), [(False, "the exposure level"), (True, "it is the level")])
def test_the_units_exposure_is_what_the_manual_says(tmp_path: Path, network: bool, says: str) -> None:
    """`systemd-analyze security`: 0 is the least exposed, 10 the most."""
    made = service(tmp_path, network=network)
    file = tmp_path / made.unit_name
    file.write_text(unit(made))
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=yes", "--no-pager", file],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    level = re.search(r"Overall exposure level for \S+: ([\d.]+)", done.stdout)
    assert level is not None, done
    manual = (Path(__file__).parents[4] / "docs/unattended.md").read_text(encoding="utf-8")
    assert float(level[1]) <= 2.5
    assert f"{says} {level[1]}" in manual


def test_nothing_in_the_unit_waits_for_the_adapter(tmp_path: Path) -> None:
    """A recorder that is not started because its adapter is absent would leave no rows that say so."""
    text = unit(service(tmp_path))
    assert not re.search(r"^(BindsTo|Requires|Requisite|PartOf|ConditionPath\w+|AssertPath\w+)=", text, re.M)
    assert "dev-" not in text


def test_a_small_computers_own_port_is_allowed_by_its_name(tmp_path: Path) -> None:
    """Its driver is none of those allowed as a whole; DeviceAllow, systemd.resource-control(5)."""
    usual = ("/dev/ttyUSB0", "/dev/ttyS1", "/dev/ttyAMA0", "/dev/ttyACM2", "/dev/pipeledger-header", "./port")
    made = replace(service(tmp_path), ports=(*usual, "/dev/ttymxc2", "/dev/ttySC0"))
    allowed = re.findall(r"^DeviceAllow=(/\S+) rw$", unit(made), re.M)
    assert allowed == ["/dev/ttySC0", "/dev/ttymxc2"]
    assert unit(replace(made, ports=usual)) == unit(service(tmp_path))


def test_an_adapter_whose_driver_is_not_loaded_at_the_start_is_allowed_later(tmp_path: Path) -> None:
    """A name is looked up in /proc/devices once, at the start: with systemd 252 such a port was refused.
    Linux' devices.txt has 166 for ttyACM and 188 for ttyUSB.
    """
    allowed = re.findall(r"^DeviceAllow=char-(\d+) rw$", unit(service(tmp_path)), re.M)
    assert sorted(allowed) == ["166", "188"]


def test_a_line_break_in_a_path_is_refused(tmp_path: Path) -> None:
    """It would begin a line of the unit that nobody meant."""
    with pytest.raises(WrongUse, match="line break"):
        unit(service(tmp_path, archive="a\nExecStartPre=/bin/true"))


def sysfs(
    root: Path, serial: str | None, *, socket: str = "1-1.2", interface: str = "00", tty: str = "ttyUSB0",
    port: str = "0",
) -> None:  # fmt: skip
    """A USB adapter as Linux shows it (constructed): usb device, interface, port, and its link."""
    device = root / "sys/devices/usb1/1-1" / socket
    place = device / f"{socket}:1.{int(interface)}" / tty
    place.mkdir(parents=True)
    (device / "idVendor").write_text("0403\n")
    (device / "idProduct").write_text("6001\n")
    (place.parent / "bInterfaceNumber").write_text(f"{interface}\n")
    (place / "port_number").write_text(f"{port}\n")
    if serial is not None:
        (device / "serial").write_text(f"{serial}\n")
    (root / "sys/class/tty" / tty).mkdir(parents=True)
    (root / "sys/class/tty" / tty / "device").symlink_to(place)


def test_an_adapter_is_named_by_its_serial_number(tmp_path: Path) -> None:
    """Vendor, product and serial number decide; the port may then have any number."""
    sysfs(tmp_path, "EX0042")
    rule = udev_rule(usb_adapter("/dev/ttyUSB0", tmp_path), "header", "dialout")
    assert (
        'SUBSYSTEM=="tty", ATTRS{idVendor}=="0403", ATTRS{idProduct}=="6001", ATTRS{serial}=="EX0042", '
        'SYMLINK+="pipeledger-header", GROUP="dialout", MODE="0660"\n'
    ) in rule


@pytest.mark.parametrize("serial", [None, 'A", RUN+="/bin/true'])
def test_an_adapter_without_a_usable_number_is_known_by_its_socket(
    tmp_path: Path, serial: str | None
) -> None:
    """And what an adapter calls itself never becomes part of a rule's own words."""
    sysfs(tmp_path, serial)
    rule = udev_rule(usb_adapter("/dev/ttyUSB0", tmp_path), "header", "dialout")
    assert 'KERNELS=="1-1.2"' in rule
    assert "RUN" not in rule


@pytest.mark.parametrize(
    ("other", "known_by"),
    [
        ({"serial": "EX0042", "socket": "1-1.3"}, 'KERNELS=="1-1.2", SYMLINK'),
        ({"serial": "EX0043", "socket": "1-1.3"}, 'ATTRS{serial}=="EX0042", SYMLINK'),
        ({"serial": "EX0042", "interface": "01"},
         'ATTRS{serial}=="EX0042", ENV{ID_USB_INTERFACE_NUM}=="00", SYMLINK'),
        ({"serial": "EX0042", "port": "1"},
         'ATTRS{serial}=="EX0042", ENV{ID_USB_INTERFACE_NUM}=="00", ENV{.ID_PORT}=="0", SYMLINK'),
    ],
    ids=["same number", "other number", "two interfaces", "two ports of one interface"],
)  # fmt: skip
def test_adapters_that_might_be_taken_for_each_other_are_told_apart(
    tmp_path: Path, other: dict[str, str], known_by: str
) -> None:
    """The numbers are those of systemd's 60-serial.rules, which names ports below /dev/serial by them."""
    sysfs(tmp_path, "EX0042")
    sysfs(tmp_path, tty="ttyUSB1", **other)  # type: ignore[arg-type]
    assert known_by in udev_rule(usb_adapter("/dev/ttyUSB0", tmp_path), "header", "dialout")


def test_what_is_no_usb_adapter_is_refused(tmp_path: Path) -> None:
    """With the command that lists those that are."""
    with pytest.raises(WrongUse, match="pipeledger ports"):
        usb_adapter("/dev/ttyS0", tmp_path)


def test_a_file_that_says_something_else_is_left_alone(tmp_path: Path) -> None:
    """Nothing is written at all, not even the other file."""
    theirs, ours = tmp_path / "theirs.service", tmp_path / "ours.rules"
    theirs.write_text("[Unit]\n")
    with pytest.raises(WrongUse, match="move it away"):
        install([(ours, "rule\n"), (theirs, "unit\n")])
    assert theirs.read_text() == "[Unit]\n"
    assert not ours.exists()
