"""The recorder as a systemd service, and a stable name for a USB adapter, as texts.

The unit does not depend on the adapter: the recorder waits for one that is absent, and says so in its rows;
a unit that waited would record nothing of that time. Options: systemd.exec(5), systemd.service(5).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

from readout.errors import WrongUse

#: Sealing, and joining the files of a day, may keep the recorder's main thread this long [s], and no longer.
WATCHDOG_S = 300
#: A serial port by its kernel's name, of a driver that the unit does not allow as a whole.
_OTHER_PORT = re.compile(r"/dev/(?:tty(?!(?:USB|ACM|S|AMA)\d)|rfcomm)\w+")
_ADAPTER_NAME = re.compile(r"[a-z][a-z0-9-]{0,39}")

#: What a program that reads serial ports never needs; see systemd.exec(5).
_CLOSED = """\
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
LockPersonality=yes
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
RemoveIPC=yes
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
# Libraries try some of these and do without: refused, not killed.
SystemCallErrorNumber=EPERM
"""


@dataclass(frozen=True)
class Service:
    """What the unit is made of; paths absolute. `group` owns the serial ports (Debian: dialout)."""

    program: PurePath
    points: tuple[PurePath, ...]
    archive: PurePath
    user: str
    group: str
    network: bool  # a point's port is reached over the network, or what is shown and told goes there
    options: tuple[str, ...] = ()  # further ones of `log`, word by word
    ports: tuple[str, ...] = ()  # of the points' lines

    @property
    def name(self) -> str:
        """What systems call it: one for each archive, which has one recorder."""
        return f"pipeledger-{re.sub(r'[^A-Za-z0-9-]', '-', self.archive.name).strip('-') or 'archive'}"

    @property
    def unit_name(self) -> str:
        """File name of the unit."""
        return f"{self.name}.service"

    @property
    def words(self) -> tuple[str, ...]:
        """The command that records, word by word."""
        command = (self.program, "log", *self.points, "--archive", self.archive, *self.options)
        return tuple(map(str, command))


def unit(service: Service) -> str:
    """The unit's text.

    Raises:
        WrongUse: a path or name has a line break, which no unit can hold.
    """
    wants = "Wants=network-online.target" if service.network else "# Its ports need no network."
    families, deny = (
        ("AF_UNIX AF_INET AF_INET6", "") if service.network else ("AF_UNIX", "IPAddressDeny=any\n")
    )
    return f"""\
[Unit]
Description=pipeledger records into {_plain(service.archive)}
# No dependency on the adapter: an absent one is waited for, and its rows say so.
After=local-fs.target time-sync.target{" network-online.target" if service.network else ""}
{wants}
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
ExecStart={" ".join(_word(word) for word in service.words)}
ExecReload=/bin/kill -HUP $MAINPID
Restart=always
RestartSec=5
WatchdogSec={WATCHDOG_S}
TimeoutStartSec=300
TimeoutStopSec=120
User={_plain(service.user)}
SupplementaryGroups={_plain(service.group)}
UMask=0027

# The archive is all that can be written.
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={_quoted(service.archive)}
PrivateTmp=yes
# Serial ports are all the devices there are. USB's by number, too: their names are unknown until the first
# adapter is plugged in, and one that came after the start would be refused.
DevicePolicy=closed
DeviceAllow=char-ttyUSB rw
DeviceAllow=char-188 rw
DeviceAllow=char-ttyACM rw
DeviceAllow=char-166 rw
DeviceAllow=char-ttyS rw
DeviceAllow=char-ttyAMA rw
{"".join(f"DeviceAllow={port} rw{chr(10)}" for port in _other_ports(service.ports))}\
# No ProcSubset=pid: /proc/locks tells who holds a port.
RestrictAddressFamilies={families}
{deny}{_CLOSED}
[Install]
WantedBy=multi-user.target
"""


def _other_ports(ports: Sequence[str]) -> list[str]:
    """Serial ports of other names than the usual ones, such as a small computer's own."""
    return sorted({port for port in ports if _OTHER_PORT.fullmatch(port)})


def _plain(value: object) -> str:
    """A value that stands for itself: `%` begins a specifier in a unit."""
    text = str(value)
    if any(ord(sign) < 32 for sign in text):
        raise WrongUse(
            f"{text!r}: a line break or control character cannot stand in a systemd unit; rename it"
        )
    return text.replace("%", "%%")


def _quoted(value: object) -> str:
    text = _plain(value).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"' if re.search(r"[\s\\\"']", text) else text


def _word(value: str) -> str:
    """A word of a command line, where `$` would begin a variable."""
    return _quoted(value).replace("$", "$$")


@dataclass(frozen=True, slots=True)
class UsbAdapter:
    """How a USB adapter is told from others: by its serial number, else by the socket it sits in.

    `serial` is None where there is none, or another adapter has the same; `interface` and `port` are numbers
    of the kernel's, for an adapter of several serial ports.
    """

    vendor: str  # four hexadecimal digits
    product: str
    serial: str | None
    socket: str  # as the kernel names it: 1-1.2
    why: str  # why it is known by that
    interface: str | None = None
    port: str | None = None


def usb_adapter(port: str, root: Path = Path("/")) -> UsbAdapter:
    """Look up an adapter in sysfs.

    Raises:
        WrongUse: the port is not a USB adapter that is plugged in.
    """
    name = (root / port.lstrip("/")).resolve().name
    places = {tty.parent.name: _place(tty) for tty in sorted((root / "sys/class/tty").glob("*/device"))}
    place = places.pop(name, None)
    if place is None:
        raise WrongUse(
            f"{port} is no USB adapter that is plugged in; `pipeledger ports` lists those that are"
        )
    others = [other for other in places.values() if other is not None]
    device = place.device
    serial = _said(device / "serial") or None
    why = "its serial number"
    if serial is None:
        why = "the USB socket it sits in, as it has no serial number"
    elif set('"\\\n*?[|') & set(serial):
        serial, why = None, "the USB socket it sits in, as its serial number cannot stand in a rule"
    elif any(other.device != device and _identity(other.device) == _identity(device) for other in others):
        serial, why = None, "the USB socket it sits in, as another adapter has the same serial number"
    beside = [other for other in others if other.device == device]
    return UsbAdapter(
        *_identity(device)[:2], serial, device.name, why,
        interface=place.interface if beside else None,
        port=place.port if any(other.interface == place.interface for other in beside) else None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a serial port of a USB adapter is in sysfs."""

    device: Path
    interface: str
    port: str


def _place(tty: Path) -> _Place | None:
    """Of a port's `device` link; None for what is no USB adapter."""
    found = tty.resolve()
    interface = ""
    for folder in (found, *found.parents):
        interface = interface or _said(folder / "bInterfaceNumber")
        if (folder / "idVendor").is_file():
            return _Place(folder, interface, _said(found / "port_number"))
    return None


def _identity(device: Path) -> tuple[str, str, str]:
    vendor, product, serial = (_said(device / name) for name in ("idVendor", "idProduct", "serial"))
    return vendor, product, serial


def _said(file: Path) -> str:
    return file.read_text(encoding="utf-8", errors="replace").strip() if file.is_file() else ""


def udev_rule(adapter: UsbAdapter, name: str, group: str) -> str:
    """A rule that gives the adapter the name /dev/pipeledger-NAME, and its group the right to use it.

    It has to come after 60-serial.rules, which tell an adapter's several ports apart.

    Raises:
        WrongUse: a name of other letters than a to z, digits and hyphens.
    """
    if not _ADAPTER_NAME.fullmatch(name):
        raise WrongUse(f"{name}: write a name for the adapter of letters a to z, digits and hyphens")
    which = [
        f'KERNELS=="{adapter.socket}"' if adapter.serial is None else f'ATTRS{{serial}}=="{adapter.serial}"',
        *([f'ENV{{ID_USB_INTERFACE_NUM}}=="{adapter.interface}"'] if adapter.interface else []),
        *([f'ENV{{.ID_PORT}}=="{adapter.port}"'] if adapter.port else []),
    ]
    return (
        f"# The adapter is known by {adapter.why}.\n"
        f'SUBSYSTEM=="tty", ATTRS{{idVendor}}=="{adapter.vendor}", ATTRS{{idProduct}}=="{adapter.product}", '
        f'{", ".join(which)}, SYMLINK+="pipeledger-{name}", GROUP="{group}", MODE="0660"\n'
        "# An FTDI chip hands on what it received after 1 ms instead of 16 ms.\n"
        'ACTION=="add", SUBSYSTEM=="usb-serial", DRIVER=="ftdi_sio", ATTR{latency_timer}="1"\n'
    )


def install(texts: Sequence[tuple[Path, str]]) -> None:
    """Write the files of a system's configuration.

    Raises:
        WrongUse: it may not be written, or a file of other content is there.
    """
    for path, text in texts:
        if path.exists() and path.read_text(encoding="utf-8") != text:
            raise WrongUse(f"{path} is there and says something else: compare, and move it away first")
    for path, text in texts:
        try:
            path.write_text(text, encoding="utf-8")
        except OSError as error:
            raise WrongUse(f"{path} cannot be written ({error.strerror}): run it as root") from error
