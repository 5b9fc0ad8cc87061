"""A lock held by a command of its own, lost and taken again; and what is said, to whom it matters, once."""

import signal
import time
from collections.abc import Callable
from os import kill
from pathlib import Path

import pytest

from readout.daemon.awake.awake import Awake
from readout.daemon.awake.systems import Held, Power, System, Way
from simulators.clock import FakeClock

Program = Callable[[str, str], Path]
REFUSES = "echo 'Failed to inhibit: Access denied' >&2; exit 1\n"
ALL, LID_NOT, NONE = Held(sleep=True, lid=True), Held(sleep=True, lid=False), Held(sleep=False, lid=False)
LAPTOP = Power(has_lid=True)


class Played(System):
    """A system whose answers the test sets."""

    lacking = "no program for it"
    advice = "mask its sleep"

    def __init__(self, *ways: Way, sleeps: bool = True, power: Power | None = None) -> None:
        self._ways, self._sleeps, self.now = ways, sleeps, power or Power()

    def ways(self) -> list[Way]:
        return list(self._ways)

    def may_sleep(self) -> bool:
        return self._sleeps

    def power(self) -> Power:
        return self.now


class Watched:
    """A recording that looks after its lock; what was said so far."""

    def __init__(self, system: System) -> None:
        self.clock = FakeClock()
        self.awake = Awake(system, self.clock)
        self.said: list[str] = []

    def minutes(self, count: int = 1) -> None:
        """Wait for the commands' answers, then look once a minute."""
        for _ in range(count):
            self.clock.sleep_until(self.clock.monotonic() + 60)
            self.awake.look(self.said.append)
            deadline = time.monotonic() + 5
            while self.awake.held is None:
                assert time.monotonic() < deadline, "the command did not answer"
                self.awake.look(self.said.append)


@pytest.fixture
def granted(played: Program) -> Path:
    """A program that holds; it tells its number and its end."""
    return played("granted", 'cd "$(dirname "$0")"; echo $$ >> held; cat; echo ended >> ended\n')


@pytest.fixture
def refused(played: Program) -> Path:
    return played("refused", REFUSES)


def way(program: Path, held: Held = ALL) -> Way:
    return Way((str(program),), held, echoes=True)


def test_the_lock_is_held_until_the_end_and_nothing_is_said(granted: Path) -> None:
    watched = Watched(Played(way(granted), power=LAPTOP))
    with watched.awake:
        watched.minutes(3)
        assert watched.awake.held == ALL
        assert not (granted.parent / "ended").exists()
    assert (granted.parent / "ended").exists()
    assert watched.said == []


def test_what_refuses_is_followed_by_the_next_way_and_said_once(refused: Path, granted: Path) -> None:
    watched = Watched(Played(way(refused), way(granted, NONE)))
    with watched.awake:
        watched.minutes(3)
        assert watched.awake.held == NONE
    assert watched.said == [
        "this computer may go to sleep while it records, and then there are no rows "
        "(Failed to inhibit: Access denied): mask its sleep"
    ]


@pytest.mark.parametrize("absent", ["no way", "no program"])
def test_without_a_program_for_it_the_reason_is_said(tmp_path: Path, absent: str) -> None:
    """And the recording goes on."""
    watched = Watched(Played(*([way(tmp_path / "gone")] if absent == "no program" else [])))
    with watched.awake:
        watched.minutes()
    (said,) = watched.said
    assert ("No such file" if absent == "no program" else "no program for it") in said


def test_a_program_that_ends_without_a_word_is_named(played: Program) -> None:
    watched = Watched(Played(way(played("mute", "exit 3\n"))))
    with watched.awake:
        watched.minutes()
    (said,) = watched.said
    assert "(mute ended with status 3): mask its sleep" in said


def test_a_computer_that_cannot_sleep_is_told_nothing(refused: Path) -> None:
    """Such as one whose administrator has done what the sentence asks for."""
    watched = Watched(Played(way(refused), sleeps=False, power=LAPTOP))
    with watched.awake:
        watched.minutes(2)
    assert watched.said == []


def test_a_lid_that_is_not_held_is_warned_of(granted: Path) -> None:
    watched = Watched(Played(way(granted, LID_NOT), power=LAPTOP))
    with watched.awake:
        watched.minutes(2)
    (said,) = watched.said
    assert said.startswith("closing the lid puts this computer to sleep")


def test_the_battery_is_told_of_when_it_comes_and_goes(granted: Path) -> None:
    system = Played(way(granted), power=Power(on_battery=True, percent=64))
    watched = Watched(system)
    with watched.awake:
        watched.minutes(2)
        system.now = Power(percent=70)
        watched.minutes(2)
    assert watched.said == [
        "this computer runs on its battery (64 %): plug it in, an empty one ends the recording",
        "this computer runs on mains power again",
    ]


def test_a_charger_with_a_loose_plug_is_told_of_six_times_an_hour(granted: Path) -> None:
    system = Played(way(granted))
    watched = Watched(system)
    with watched.awake:
        for minute in range(58):
            system.now = Power(on_battery=minute % 2 == 0)
            watched.minutes()
    assert len(watched.said) == 6


def test_a_lock_that_somebody_ended_is_taken_again(granted: Path) -> None:
    """Within a minute or two, without a word."""
    watched = Watched(Played(way(granted)))
    held = granted.parent / "held"
    with watched.awake:
        watched.minutes()
        kill(int(held.read_text()), signal.SIGKILL)
        deadline = time.monotonic() + 5
        while len(held.read_text().split()) < 2:
            assert time.monotonic() < deadline
            watched.minutes()
        assert watched.awake.held == ALL
    assert watched.said == []


def test_a_program_that_does_not_echo_holds_from_its_start_and_is_ended(played: Program) -> None:
    """It has this process's number, and is told to end besides."""
    program = played("watches", 'cd "$(dirname "$0")"; trap "echo ended > ended; exit" TERM; echo > began\n'
                     "while :; do sleep 0.02; done\n")  # fmt: skip
    watched = Watched(Played(Way((str(program),), LID_NOT, echoes=False)))
    with watched.awake:
        watched.minutes()
        assert watched.awake.held == LID_NOT
        deadline = time.monotonic() + 5
        while not (program.parent / "began").exists():
            assert time.monotonic() < deadline
            time.sleep(0.005)
    assert (program.parent / "ended").exists()
