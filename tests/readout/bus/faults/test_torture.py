"""Torture: very many reads through faults of every kind; no value may be another register's, or an old one.

The simulated meters tell words that depend on unit, table, address and on how often they were asked, so that
any mixing-up shows but for a chance of 1 in 65,536 a word. Faults are those a reader can recognise: error
bursts up to 16 bits, cut, headless, doubled and foreign replies, noise, echo, another master, wrong units,
functions and counts, exceptions, old replies of another length, silence, and replies late up to the late
window.
"""

import sys

import pytest

from readout.bus.exchange import Manners
from readout.bus.outcome import Status
from simulators.faults import RECOGNISABLE, parse_plan

#: A busy meter is waited for at most so long here: all waiting is on a clock that jumps.
MANNERS = Manners(busy_within=5.0)


@pytest.mark.parametrize(("seed", "share"), [(1, 0.02), (2, 0.1), (3, 0.3), (4, 0.7)])
def test_5000_reads_through_faults_of_every_kind_give_no_wrong_value(faulty_hall, seed, share) -> None:
    hall = faulty_hall(parse_plan(f"random:{seed}:share={share}"))
    tally = hall.many(5000, seed, MANNERS)
    assert tally.wrong == []
    assert tally.longest < 40
    assert set(hall.player.played) == {".", *RECOGNISABLE} or share < 0.1
    # Two tries and what is never repeated: at seven faults in ten exchanges still more than a half.
    assert tally.values > 0.5 * tally.reads


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10))
def test_a_million_reads_give_no_wrong_value(faulty_hall, seed: int) -> None:
    hall = faulty_hall(parse_plan(f"random:{100 + seed}:share=0.2"))
    tally = hall.many(100_000, seed, MANNERS)
    assert tally.wrong == []
    assert tally.longest < 40


LETTERS = [letter for letter in RECOGNISABLE if letter != "!"] + ["!06", "!02", "!05"]


@pytest.mark.parametrize("letter", LETTERS)
@pytest.mark.parametrize("times", [1, 2, 3, 5])
def test_the_round_behind_the_last_fault_is_whole(faulty_hall, letter: str, times: int) -> None:
    """Whatever the fault was, and however often it came."""
    hall = faulty_hall(parse_plan("." * 7 + letter * times))
    asked = [(unit, request) for request in hall.reads for unit in (1, 2)]
    for _ in range(12):
        hall.round(asked[:5], MANNERS)
        if sum(hall.player.played.values()) - hall.player.played["."] >= times:
            break
    final = hall.round(asked, MANNERS)
    assert [outcome.status for outcome in final] == [Status.OK] * len(asked)
    assert hall.tally.wrong == []


def test_two_faults_on_one_exchange(faulty_hall) -> None:
    """Noise on both sides of an echo, a reply in pieces behind another meter's frame, and so on."""
    pairs = "[zy][ep][fp][ze][ky][cz][hy][vz][le][xp][bz][of][se][ke]"
    hall = faulty_hall(parse_plan(f"({pairs}....)*"))
    tally = hall.many(3000, 5, MANNERS)
    assert tally.wrong == []
    assert tally.values > 0.7 * tally.reads


def test_values_one_behind_are_taken_back_at_the_end_of_the_round(faulty_hall) -> None:
    """A meter whose every reply comes again 10 to 40 ms later, into the next request, which asks for another
    register of the same length."""
    hall = faulty_hall(parse_plan("(d10d25d40)*"), units=(1,))
    for _ in range(500):
        hall.round([(1, hall.reads[0]), (1, hall.reads[1]), (1, hall.reads[0])], MANNERS, 0.2)
    assert hall.tally.wrong == []


def accepted_wild(hall, reads: int, once: Manners) -> tuple[int, int, int]:
    """Damaged frames, values accepted from them, and values that were taken although they were wrong."""
    accepted = 0
    for number in range(reads):
        (final,) = hall.round([(1, hall.reads[number % 2])], once)
        accepted += final.status is Status.OK
    return hall.player.played["W"], accepted, len(hall.tally.wrong)


#: From one to the other bound about 1 in 10,000 runs would fall outside by chance (Poisson's distribution).
@pytest.mark.parametrize(
    ("frames", "low", "high"),
    [(20_000, 0, 5), pytest.param(1_000_000, 3, 33, marks=pytest.mark.long)],
)
def test_unlimited_damage_is_accepted_as_often_as_a_checksum_of_16_bits_must(
    faulty_hall, capsys: pytest.CaptureFixture[str], frames: int, low: int, high: int
) -> None:
    """Random data and a random checksum behind the right unit, function and count: 1 in 65,536 fits. That is
    what remains when everything that can be checked is checked."""
    hall = faulty_hall(parse_plan("W*"), units=(1,))
    damaged, accepted, wrong = accepted_wild(hall, frames, Manners(repeats=0))
    with capsys.disabled():
        expected = damaged / 65_536
        sys.stdout.write(f"\n{damaged} damaged frames, {accepted} accepted, {expected:.1f} to be expected\n")
    assert damaged >= frames
    assert low <= accepted <= high
    assert wrong == accepted
