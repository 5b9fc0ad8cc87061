"""The serial adapters of this computer: stable names, how long they keep bytes back, who has them open."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from readout.bus import platform
from readout.bus.port import serial_devices


@dataclass(frozen=True, slots=True)
class Adapter:
    """One serial port.

    `stable_name` stays the same on other sockets and after a restart; None where there is none. `latency_ms`
    is how long the adapter keeps a short packet back [ms]; None where it does not tell. `holder` is the
    process that has it open, with its id: `process 708 (…)`.
    """

    name: str
    stable_name: str | None
    description: str
    latency_ms: int | None
    holder: str | None


def list_ports(root: Path = Path("/")) -> Sequence[Adapter]:
    """Every serial port, by name. `root` is the folder that holds `dev` and `sys`."""
    by_id = _stable_names(root)
    return [
        Adapter(name, by_id.get(Path(name).name), description, _latency(root, name), _holder(name))
        for name, description in sorted(serial_devices())
    ]


def _stable_names(root: Path) -> dict[str, str]:
    """Device (`ttyUSB0`) to its link below /dev/serial/by-id; adapters without a serial number share one."""
    folder = root / "dev/serial/by-id"
    try:
        links = sorted(folder.iterdir())
    except OSError:
        return {}
    return {link.resolve().name: f"/dev/serial/by-id/{link.name}" for link in links}


def _latency(root: Path, name: str) -> int | None:
    try:
        return int((root / "sys/bus/usb-serial/devices" / Path(name).name / "latency_timer").read_text())
    except (OSError, ValueError):
        return None


def _holder(name: str) -> str | None:
    found = platform.holder(name)
    return None if found is None else str(found)
