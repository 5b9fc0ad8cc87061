"""How many records are asked for at once: by the line's damage, down and up again."""

import random
from itertools import pairwise

import pytest

from readout.retrieve.length import Cost, ReadLength

#: 19200 8E1, records of 8 registers, 15 at most: 13 characters of request and frame, 16 a record, 9 ms of
#: silence and turnaround. A character takes 11 / 19200 s.
CHARACTER_S, REST_S, MOST = 11 / 19200, 0.009, 15


def cost(records: int) -> Cost:
    characters = 5 + 16 * records
    return Cost(characters, (8 + characters) * CHARACTER_S + REST_S)


def told(length: ReadLength, damage: float, sendings: int, seed: int = 1) -> None:
    """Sendings on a line that damages that share of characters."""
    chance = random.Random(seed)
    for _ in range(sendings):
        records = length.next()
        good = all(chance.random() >= damage for _ in range(cost(records).characters))
        length.note(records, damaged=not good, silent=False, seconds=cost(records).seconds)


def best(damage: float) -> int:
    """The length with the least expected time for a record, worked out apart."""
    times = {n: cost(n).seconds / (1 - damage) ** cost(n).characters / n for n in range(1, MOST + 1)}
    return min(times, key=lambda n: times[n])


def test_a_clean_line_gets_the_longest_reads() -> None:
    length = ReadLength(MOST, cost, alternate=False)
    told(length, 0.0, 200)
    assert length.next() == MOST


def test_one_damaged_reply_among_many_changes_nothing_for_long() -> None:
    length = ReadLength(MOST, cost, alternate=False)
    told(length, 0.0, 60)
    length.note(MOST, damaged=True, silent=False, seconds=cost(MOST).seconds)
    assert length.next() >= MOST - 3
    told(length, 0.0, 60)
    assert length.next() == MOST


@pytest.mark.parametrize("damage", [0.001, 0.003, 0.01])
def test_it_comes_near_the_best_length_for_the_damage(damage: float) -> None:
    length = ReadLength(MOST, cost, alternate=False)
    told(length, damage, 300)
    found = length.next()
    times = [cost(n).seconds / (1 - damage) ** cost(n).characters / n for n in (found, best(damage))]
    assert times[0] < 1.1 * times[1]


def test_it_comes_back_up_when_the_line_is_quiet_again() -> None:
    length = ReadLength(MOST, cost, alternate=False)
    told(length, 0.01, 200)
    assert length.next() <= 6
    told(length, 0.0, 1000)
    assert length.next() == MOST


def test_silence_costs_the_same_for_every_length_and_makes_none_shorter() -> None:
    """A request that is damaged is not answered at all: long reads then waste fewer waits, not more."""
    length = ReadLength(MOST, cost, alternate=False)
    for turn in range(200):
        length.note(MOST, damaged=False, silent=turn % 10 == 0, seconds=1.5)
    assert length.next() == MOST


def test_two_reads_in_a_row_never_ask_for_equally_many_where_a_reply_proves_nothing() -> None:
    length = ReadLength(MOST, cost, alternate=True)
    assert all(one != other for one, other in pairwise(length.next() for _ in range(20)))
    told(length, 0.02, 300)
    lengths = [length.next() for _ in range(20)]
    assert all(one != other for one, other in pairwise(lengths))
    assert min(lengths) >= 1
