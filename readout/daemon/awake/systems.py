"""What each operating system has against going to sleep, and what it says of its power and its lid.

Nowhere else in this room is the operating system asked what it is.
"""

import ctypes
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class Held:
    """What is held off: sleep that the computer or its desktop wants by itself; sleep by a closed lid."""

    sleep: bool
    lid: bool


@dataclass(frozen=True, slots=True)
class Way:
    """A command that holds sleep off while it runs.

    `echoes`: it ends with its stdin, and gives back what it is told as soon as it holds. One that does not
    watches this process by itself, and holds from its start. `lacks`: why it does not hold everything.
    """

    words: tuple[str, ...]
    held: Held
    echoes: bool
    lacks: str = ""


@dataclass(frozen=True, slots=True)
class Power:
    """Whether the battery is what the computer runs on, its charge in percent, and whether there is a lid."""

    on_battery: bool = False
    percent: int | None = None
    has_lid: bool = False


class System:
    """What is known of no system in particular: nothing helps, and nothing is told."""

    #: Why nothing holds sleep off where there is not even a command that could.
    lacking = "nothing is known that would hold it off here"
    #: What keeps this computer awake for good, as the second half of a sentence.
    advice = "set its power settings to never sleep"

    def ways(self) -> list[Way]:
        """Commands that hold sleep off, the best first."""
        return []

    def hold(self) -> Held | None:
        """Hold sleep off without a command, for as long as the calling thread lives; None if it cannot."""
        return None

    def release(self) -> None:
        """Take `hold` back, from the same thread."""

    def may_sleep(self) -> bool:
        """Whether this computer can go to sleep at all."""
        return True

    def power(self) -> Power:
        """Asked now; of what is not told, the harmless is taken."""
        return Power()


class Linux(System):
    """logind's locks (systemd-inhibit(1)), GNOME's own besides, sysfs for power.

    Asked for sleep by a user's desktop, logind leaves that user's own locks aside (before systemd 257). KDE's
    looks for locks before it asks; GNOME's only for those of its own session manager.
    """

    lacking = "systemd-inhibit is not there"
    advice = "have its administrator run `systemctl mask sleep.target suspend.target`"

    #: System management BIOS (DSP0134), table 17: portable, laptop, notebook, sub notebook, convertible,
    #: detachable.
    _WITH_LID = frozenset({"8", "9", "10", "14", "31", "32"})

    def __init__(self, root: Path = Path("/"), environment: Mapping[str, str] = os.environ) -> None:
        self._root, self._environment = root, environment

    def ways(self) -> list[Way]:
        """Everything first; then idling alone, which is all that a service or a remote login may hold.

        A lock on idling would keep some desktops' screens on, and one on sleep stands against idling, too.
        """
        lock = self._found("systemd-inhibit")
        if lock is None:
            return []
        ours = (lock, "--who=pipeledger", "--why=recording", "--mode=block")
        whole = (*ours, "--what=sleep:handle-lid-switch", "cat")
        idle = Way((*ours, "--what=idle", "cat"), Held(sleep=False, lid=False), echoes=True)
        if "GNOME" not in self._environment.get("XDG_CURRENT_DESKTOP", "").split(":"):
            return [Way(whole, Held(sleep=True, lid=True), echoes=True), idle]
        # The lid is logind's own affair, so its lock counts there.
        lid = Way(whole, Held(sleep=False, lid=True), echoes=True, lacks="its desktop goes by its own locks")
        session = self._found("gnome-session-inhibit")
        if session is None:
            return [lid, idle]
        both = (session, "--app-id", "pipeledger", "--reason", "recording", "--inhibit", "suspend", *whole)
        return [Way(both, Held(sleep=True, lid=True), echoes=True), lid, idle]

    def _found(self, program: str) -> str | None:
        return shutil.which(program, path=self._environment.get("PATH"))

    def may_sleep(self) -> bool:
        """Not where the kernel has no such state (sys-power(5)) or the targets are masked."""
        for folder in ("etc/systemd/system", "run/systemd/system"):
            for target in ("sleep.target", "suspend.target"):
                with suppress(OSError):
                    if (self._root / folder / target).readlink() == Path(os.devnull):
                        return False
        return bool(_line(self._root / "sys/power/state"))

    def power(self) -> Power:
        """See Documentation/ABI/testing/sysfs-class-power: type, scope, online, status, capacity."""
        supplies = [
            {
                name: _line(folder / name)
                for name in ("type", "scope", "online", "status", "capacity", "present")
            }
            for folder in sorted((self._root / "sys/class/power_supply").glob("*"))
        ]
        # A mouse has a battery, too: its scope is Device.
        batteries = [
            supply
            for supply in supplies
            if supply["type"] == "Battery" and supply["scope"] != "Device" and supply["present"] != "0"
        ]
        plugged = any(
            supply["type"] != "Battery" and supply["online"] not in ("", "0") and supply["scope"] != "Device"
            for supply in supplies
        )
        draining = [battery for battery in batteries if battery["status"] == "Discharging"]
        charges = [int(one["capacity"]) for one in batteries if one["capacity"].isdecimal()]
        return Power(
            on_battery=bool(draining) and not plugged,
            percent=round(sum(charges) / len(charges)) if charges else None,
            has_lid=_line(self._root / "sys/class/dmi/id/chassis_type") in self._WITH_LID
            or any((self._root / "proc/acpi/button/lid").glob("*")),
        )


def _line(file: Path) -> str:
    """What a file of the kernel's says; empty where it is absent or refuses."""
    try:
        return file.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


class MacOs(System):
    """caffeinate(8) and pmset(1). A closed lid puts a MacBook to sleep whatever is asked for."""

    lacking = "caffeinate is not there"
    advice = "have its administrator run `pmset -a sleep 0`"

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._path = environment.get("PATH")

    def ways(self) -> list[Way]:
        """It watches this process by itself (`-w`)."""
        found = shutil.which("caffeinate", path=self._path)
        words = (found or "", "-i", "-w", str(os.getpid()))
        return [Way(words, Held(sleep=True, lid=False), echoes=False)] if found else []

    def power(self) -> Power:
        """From lines like `Now drawing from 'Battery Power'` and `-InternalBattery-0 (id=1)  64%; …`."""
        found = shutil.which("pmset", path=self._path)
        if found is None:
            return Power()
        try:
            done = subprocess.run([found, "-g", "batt"], capture_output=True, timeout=5, check=False)
        except (OSError, subprocess.TimeoutExpired):
            return Power()
        told = done.stdout.decode(errors="replace")
        percent = re.search(r"InternalBattery.*?(\d+)%", told)
        return Power(
            on_battery="'Battery Power'" in told,
            percent=int(percent[1]) if percent else None,
            has_lid=percent is not None,
        )


class Windows(System):
    """SetThreadExecutionState and GetSystemPowerStatus. What a closed lid does is a setting of its own."""

    lacking = "the system refused to stay awake"
    advice = "run `powercfg /change standby-timeout-ac 0`"

    # From winbase.h.
    _CONTINUOUS, _SYSTEM_REQUIRED = 0x8000_0000, 0x0000_0001
    _NO_BATTERY, _UNKNOWN = 128, 255

    def __init__(self, kernel32: Any) -> None:
        self._kernel32 = kernel32

    def hold(self) -> Held | None:
        """The state before is what it gives back; 0 is a refusal."""
        state = self._CONTINUOUS | self._SYSTEM_REQUIRED
        return Held(sleep=True, lid=False) if self._kernel32.SetThreadExecutionState(state) else None

    def release(self) -> None:
        """It also ends with the process."""
        self._kernel32.SetThreadExecutionState(self._CONTINUOUS)

    def power(self) -> Power:
        """SYSTEM_POWER_STATUS: line, battery flag and percent are its first three bytes, of 12 in all."""
        told = (ctypes.c_ubyte * 12)()
        if not self._kernel32.GetSystemPowerStatus(told):
            return Power()
        line, battery, percent = told[0], told[1], told[2]
        has_battery = battery != self._UNKNOWN and not battery & self._NO_BATTERY
        return Power(
            on_battery=has_battery and line == 0,
            percent=percent if percent <= 100 else None,
            has_lid=has_battery,
        )


def this_system() -> System:
    """The one this process runs on."""
    if sys.platform == "win32":
        return Windows(ctypes.windll.kernel32)
    known: Sequence[tuple[str, Callable[[], System]]] = (("linux", Linux), ("darwin", MacOs))
    return next((made() for name, made in known if sys.platform.startswith(name)), System())
