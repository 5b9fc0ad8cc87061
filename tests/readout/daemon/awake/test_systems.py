"""What each system says of its power and of sleep, from constructed sysfs, played programs and calls.

Forms: Linux Documentation/ABI/testing/sysfs-class-power and sysfs-power, DSP0134 (chassis types); Microsoft's
SYSTEM_POWER_STATUS and SetThreadExecutionState; the words of pmset are from memory.
"""

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from readout.daemon.awake.systems import Held, Linux, MacOs, Power, Windows

BATTERY = {"type": "Battery", "status": "Discharging", "capacity": "64", "present": "1"}
MOUSE = {"type": "Battery", "scope": "Device", "status": "Discharging", "capacity": "9"}


def sysfs(
    root: Path, supplies: Mapping[str, Mapping[str, str]], *, chassis: str = "", states: str = ""
) -> None:
    for supply, files in supplies.items():
        folder = root / "sys/class/power_supply" / supply
        folder.mkdir(parents=True)
        for name, text in files.items():
            (folder / name).write_text(f"{text}\n")
    (root / "sys/class/dmi/id").mkdir(parents=True)
    (root / "sys/class/dmi/id/chassis_type").write_text(f"{chassis}\n")
    (root / "sys/power").mkdir(parents=True)
    (root / "sys/power/state").write_text(f"{states}\n")


@pytest.mark.parametrize(
    ("supplies", "power"),
    [
        ({}, Power()),
        ({"AC": {"type": "Mains", "online": "1"}}, Power()),
        ({"AC": {"type": "Mains", "online": "0"}, "BAT0": BATTERY}, Power(on_battery=True, percent=64)),
        ({"AC": {"type": "Mains", "online": "1"}, "BAT0": BATTERY}, Power(percent=64)),
        ({"ucsi": {"type": "USB", "online": "1"}, "BAT0": BATTERY}, Power(percent=64)),
        ({"BAT0": BATTERY}, Power(on_battery=True, percent=64)),
        ({"BAT0": {**BATTERY, "status": "Full", "capacity": "100"}}, Power(percent=100)),
        ({"BAT0": {**BATTERY, "present": "0"}}, Power()),
        ({"BAT0": BATTERY, "BAT1": {**BATTERY, "status": "Unknown", "capacity": "90"}},
         Power(on_battery=True, percent=77)),
        ({"mouse": MOUSE, "AC": {"type": "Mains", "online": "0"}}, Power()),
        ({"mouse": MOUSE, "dock": {"type": "USB", "scope": "Device", "online": "1"}, "BAT0": BATTERY},
         Power(on_battery=True, percent=64)),
        ({"BAT0": {"type": "Battery"}}, Power()),
    ],
    ids=["no supply", "mains", "pulled out", "not charging on mains", "charger on USB C", "battery alone",
         "full", "bay without a battery", "two", "a mouse", "powered accessories", "a driver that is silent"],
)  # fmt: skip
def test_what_linux_runs_on(tmp_path: Path, supplies: Mapping[str, Mapping[str, str]], power: Power) -> None:
    sysfs(tmp_path, supplies)
    assert Linux(tmp_path, {}).power() == power


@pytest.mark.parametrize(
    ("chassis", "lid"), [("3", False), ("9", True), ("10", True), ("31", True), ("", False)]
)
def test_a_laptop_has_a_lid(tmp_path: Path, chassis: str, lid: bool) -> None:
    """DSP0134: 3 is a desktop, 9 a laptop, 10 a notebook, 31 a convertible."""
    sysfs(tmp_path, {}, chassis=chassis)
    assert Linux(tmp_path, {}).power().has_lid is lid


def test_a_lid_that_the_firmware_tells_of_counts_without_a_chassis(tmp_path: Path) -> None:
    (tmp_path / "proc/acpi/button/lid/LID0").mkdir(parents=True)
    assert Linux(tmp_path, {}).power().has_lid


@pytest.mark.parametrize(
    ("states", "masked", "may"),
    [
        ("freeze mem disk", None, True),
        ("", None, False),
        ("freeze mem", "etc/systemd/system/sleep.target", False),
        ("freeze mem", "run/systemd/system/suspend.target", False),
    ],
)
def test_a_kernel_without_sleep_and_masked_targets_need_no_lock(
    tmp_path: Path, states: str, masked: str | None, may: bool
) -> None:
    """`systemctl mask` links a unit to /dev/null."""
    sysfs(tmp_path, {}, states=states)
    if masked is not None:
        (tmp_path / masked).parent.mkdir(parents=True)
        (tmp_path / masked).symlink_to("/dev/null")
    assert Linux(tmp_path, {}).may_sleep() is may


def test_a_target_of_ones_own_is_not_masked(tmp_path: Path) -> None:
    sysfs(tmp_path, {}, states="mem")
    own = tmp_path / "etc/systemd/system/sleep.target"
    own.parent.mkdir(parents=True)
    own.write_text("[Unit]\n")
    assert Linux(tmp_path, {}).may_sleep()


def test_linux_asks_for_everything_and_then_for_idling_alone(
    played: Callable[[str, str], Path], environment: dict[str, str]
) -> None:
    """logind's policy lets a service have the lock on idling only."""
    assert Linux(environment=environment).ways() == []
    played("systemd-inhibit", "")
    whole, idle = Linux(environment=environment).ways()
    assert "--what=sleep:handle-lid-switch" in whole.words
    assert "--mode=block" in whole.words
    assert whole.held == Held(sleep=True, lid=True)
    assert "--what=idle" in idle.words
    assert idle.held == Held(sleep=False, lid=False)


def test_gnome_is_asked_by_its_own_program(
    played: Callable[[str, str], Path], environment: dict[str, str]
) -> None:
    """Without it the lid alone is held: that desktop does not look for logind's locks."""
    played("systemd-inhibit", "")
    environment["XDG_CURRENT_DESKTOP"] = "ubuntu:GNOME"
    lid, _ = Linux(environment=environment).ways()
    assert lid.held == Held(sleep=False, lid=True)
    session = played("gnome-session-inhibit", "")
    both, *others = Linux(environment=environment).ways()
    assert both.held == Held(sleep=True, lid=True)
    assert both.words[0] == os.fspath(session)
    assert both.words[-len(lid.words) :] == lid.words
    assert [way.held for way in others] == [lid.held, Held(sleep=False, lid=False)]


@pytest.mark.parametrize(
    ("told", "power"),
    [
        ("Now drawing from 'AC Power'\n", Power()),
        (
            "Now drawing from 'Battery Power'\n -InternalBattery-0 (id=4653155)\t64%; discharging; 3:10\n",
            Power(on_battery=True, percent=64, has_lid=True),
        ),
        (
            "Now drawing from 'AC Power'\n -InternalBattery-0 (id=4653155)\t100%; charged; 0:00\n",
            Power(percent=100, has_lid=True),
        ),
    ],
    ids=["no battery", "battery", "mains"],
)
def test_what_a_mac_runs_on(
    played: Callable[[str, str], Path], environment: dict[str, str], told: str, power: Power
) -> None:
    assert MacOs(environment).power() == Power()
    played("pmset", f'[ "$*" = "-g batt" ] && printf "%s" "{told}"\n')
    assert MacOs(environment).power() == power


def test_a_mac_is_kept_awake_by_a_program_that_watches_this_process(
    played: Callable[[str, str], Path], environment: dict[str, str]
) -> None:
    """And its lid is not held."""
    assert MacOs(environment).ways() == []
    played("caffeinate", "")
    (way,) = MacOs(environment).ways()
    assert way.words[1:] == ("-i", "-w", str(os.getpid()))
    assert way.held == Held(sleep=True, lid=False)


class Kernel32:
    """Windows' answers: bytes of its power status, and whether it takes a state."""

    def __init__(self, *status: int, takes: bool = True) -> None:
        self._status, self._takes = status, takes
        self.states: list[int] = []

    def SetThreadExecutionState(self, state: int) -> int:  # noqa: N802
        self.states.append(state)
        return 0x8000_0000 if self._takes else 0

    def GetSystemPowerStatus(self, status: Any) -> int:  # noqa: N802
        status[: len(self._status)] = self._status
        return int(bool(self._status))


@pytest.mark.parametrize(
    ("status", "power"),
    [
        ((0, 1, 64), Power(on_battery=True, percent=64, has_lid=True)),
        ((1, 8 | 1, 100), Power(percent=100, has_lid=True)),
        ((1, 128, 255), Power()),
        ((255, 255, 255), Power()),
        ((), Power()),
    ],
    ids=["battery", "charging", "desktop", "unknown", "refused"],
)
def test_what_windows_runs_on(status: tuple[int, ...], power: Power) -> None:
    """ACLineStatus 0 is offline; BatteryFlag 128 is no battery, 8 charging, 255 unknown."""
    assert Windows(Kernel32(*status)).power() == power


def test_windows_stays_awake_until_released() -> None:
    """ES_CONTINUOUS | ES_SYSTEM_REQUIRED, then ES_CONTINUOUS alone."""
    kernel32 = Kernel32()
    assert Windows(kernel32).hold() == Held(sleep=True, lid=False)
    Windows(kernel32).release()
    assert kernel32.states == [0x80000001, 0x80000000]
    assert Windows(Kernel32(takes=False)).hold() is None
