"""What on this computer spoils a serial port: latency timers, consoles, modem software, a poor kind of UART.

Everything is read below `root`, the folder that holds `proc`, `sys` and `dev` (Linux; elsewhere nothing is
found).
"""

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from readout.bus import platform


class About(StrEnum):
    """What a finding is about. The values are the words of the JSON form."""

    LATENCY = "latency timer"
    MINI_UART = "mini-UART"
    CONSOLE = "boot console"
    LOGIN = "login on the port"
    MODEM_MANAGER = "ModemManager"
    BRLTTY = "brltty"
    HELD = "held by another program"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: what it is, and the one remedy."""

    about: About
    sentence: str
    remedy: str


#: Milliseconds from which a latency timer costs more than a small read takes on the wire.
SLOW_LATENCY_MS = 4
#: Where the mini-UART of Raspberry Pi computers lies in memory: its device is named by it (BCM2835 ARM
#: Peripherals, 2.1, p. 8: offset 215040).
_MINI_UART = "215040.serial"
#: Names that the boot loader replaces by a device.
_ALIASES = ("serial0", "serial1")


def findings(port: str, root: Path = Path("/")) -> tuple[Finding, ...]:
    """What is found about the port `/dev/…`; nothing for ports that are not devices."""
    if "://" in port:
        return ()
    device = _device(port, root)
    found = [*_latency(device, root), *_mini_uart(device, root), *_consoles(device, root)]
    return tuple(found + list(_programs(device, root)))


def held_by_other(port: str) -> Finding | None:
    """Another process that has the port open at this moment; its own meter's, on a pseudo-terminal."""
    holder = None if "://" in port else platform.holder(port)
    if holder is None:
        return None
    return Finding(
        About.HELD,
        f"{port} is also open in {holder}: it may take bytes that were meant for this program.",
        f"end process {holder.pid}",
    )


def latency_ms(port: str, root: Path = Path("/")) -> int | None:
    """How long the adapter keeps the end of a reply back [ms]; None where it does not tell."""
    try:
        folder = root / "sys/bus/usb-serial/devices" / _device(port, root)
        return int((folder / "latency_timer").read_text())
    except (OSError, ValueError):
        return None


def _device(port: str, root: Path) -> str:
    """The device's own name (`ttyUSB0`) behind links such as /dev/serial/by-id/…."""
    with suppress(OSError):
        return (root / port.lstrip("/")).resolve().name
    return Path(port).name


def _latency(device: str, root: Path) -> Iterator[Finding]:
    found = latency_ms(f"/dev/{device}", root)
    if found is not None and found >= SLOW_LATENCY_MS:
        yield Finding(
            About.LATENCY,
            f"The adapter keeps the end of each reply back for up to {found} ms: "
            f"at most {1000 // found} reads a second, whatever the baud rate.",
            f"`echo 1 > /sys/bus/usb-serial/devices/{device}/latency_timer` as administrator, or for good "
            'the udev rule ACTION=="add", SUBSYSTEM=="usb-serial", ATTR{latency_timer}="1"',
        )


def _links_to(device: str, folder: Path) -> Iterator[str]:
    with suppress(OSError):
        for link in folder.iterdir():
            with suppress(OSError):
                if link.resolve().name == device:
                    yield link.name


def _mini_uart(device: str, root: Path) -> Iterator[Finding]:
    names = [*_links_to(device, root / "dev/serial/by-path")]
    with suppress(OSError):
        names.append(str((root / "sys/class/tty" / device / "device").resolve()))
    if any(_MINI_UART in name for name in names):
        yield Finding(
            About.MINI_UART,
            f"{device} is the mini-UART of a Raspberry Pi: it has no parity, and its baud rate follows the "
            "clock of the graphics core.",
            "`dtoverlay=disable-bt` in config.txt, which gives this port the full UART, or a USB adapter",
        )


def _consoles(device: str, root: Path) -> Iterator[Finding]:
    names = {device, *(alias for alias in _ALIASES if _alias(alias, root) == device)}
    with suppress(OSError):
        line = (root / "proc/cmdline").read_text()
        for name in re.findall(r"\bconsole=([A-Za-z0-9]+)", line):
            if name in names:
                yield Finding(
                    About.CONSOLE,
                    f"The kernel writes its messages to this port (console={name} in the boot settings).",
                    f"taking `console={name},…` out of cmdline.txt, or of the boot loader's settings",
                )


def _alias(name: str, root: Path) -> str | None:
    link = root / "dev" / name
    if link.is_symlink() or link.exists():
        return link.resolve().name
    # Without udev's link: Raspberry Pi computers with the mini-UART on the header name it serial0.
    return "ttyS0" if name == "serial0" else None


def _programs(device: str, root: Path) -> Iterator[Finding]:
    for process in sorted((root / "proc").glob("[0-9]*")):
        try:
            name = (process / "comm").read_text().strip()
            words = (process / "cmdline").read_bytes().decode(errors="replace").split("\0")
        except OSError:
            continue
        if name == "ModemManager":
            yield Finding(
                About.MODEM_MANAGER,
                "ModemManager is running: it sends AT commands to serial adapters when they are plugged in.",
                'the udev rule ENV{ID_MM_DEVICE_IGNORE}="1" for the adapter, '
                "or `systemctl disable --now ModemManager`",
            )
        elif name == "brltty":
            yield Finding(
                About.BRLTTY,
                "brltty is running: it takes adapters with CH340 and CP210x chips for braille displays.",
                "`systemctl mask --now brltty-udev.service`, or removing brltty",
            )
        elif name in ("agetty", "getty", "login") and device in {Path(word).name for word in words}:
            yield Finding(
                About.LOGIN,
                f"A login waits on this port ({name}, process {process.name}).",
                f"`systemctl disable --now serial-getty@{device}.service`",
            )
