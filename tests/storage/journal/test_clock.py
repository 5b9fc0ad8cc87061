"""Times from before the computer's clock was set: put right where the same start of the computer proves them,
and nowhere else."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import ModuleType

import pytest

from storage.journal import ClockNow, Journal, Row, read_only

#: Ten seconds after 1970 began, and noon of the day on which the clock is set; ms.
TOLD, NOON = 10_000, 1_777_809_600_000  # 2026-05-03T12:00Z
#: When the first round was, since the computer's start; ms.
UP = 42_000
THIS, NEXT = "boot-of-the-morning", "boot-of-the-evening"


@pytest.fixture
def journal(tmp_path: Path):
    """An empty journal, closed afterwards."""
    opened = Journal.open(tmp_path / "journal.sqlite")
    yield opened
    opened.close()


class Hand:
    """Writes rounds into a journal, a second apart, as a recorder would."""

    def __init__(self, journal: Journal, hall: ModuleType) -> None:
        self.journal, self.hall = journal, hall
        self.plan = journal.add_plan("{}")

    def rounds(
        self,
        count: int,
        *,
        told: int,
        up: int,
        clock: str = "unset",
        boot: str = THIS,
        point: str | None = None,
    ) -> None:
        """`told`: due time of the first by the wall clock, `up`: the same since the computer's start; ms."""
        point = point or self.hall.POINT
        first = self.journal.next_sequence(point, "live")
        self.journal.append(
            replace(
                self.hall.row(self.plan, n, point=point, due=told + n * 1000),
                sequence=first + n, clock=clock, boot=boot, since_boot=up + n * 1000,
            )
            for n in range(count)
        )  # fmt: skip

    def rows(self, point: str | None = None) -> list[Row]:
        return list(self.journal.rows(point or self.hall.POINT, "live"))

    def dues(self) -> list[int]:
        return [row.due for row in self.rows()]


@pytest.fixture
def hand(journal: Journal, hall: ModuleType) -> Hand:
    return Hand(journal, hall)


def now(told: int, up: int, quality: str = "synchronised", boot: str = THIS) -> ClockNow:
    return ClockNow(boot, told, up, quality)


UNSET_STILL = now(TOLD + 60_000, UP + 60_000, "unset")


def test_rows_get_the_time_that_later_rows_of_the_same_start_prove(hand: Hand) -> None:
    """Five rounds in 1970, then the clock was set: spacing stays, reply times move along, `shifted` tells."""
    hand.rounds(5, told=TOLD, up=UP)
    hand.rounds(3, told=NOON, up=UP + 5_400, clock="synchronised")
    assert hand.journal.correct_times(UNSET_STILL) == 5
    first = NOON - 5_400
    assert hand.dues() == [first + n * 1000 for n in range(5)] + [NOON, NOON + 1000, NOON + 2000]
    assert [row.time for row in hand.rows()] == [due + 40 for due in hand.dues()]
    assert {row.shifted for row in hand.rows()[:5]} == {first - TOLD}
    assert [row.clock for row in hand.rows()] == ["unset"] * 5 + ["synchronised"] * 3
    assert [row.shifted for row in hand.rows()[5:]] == [None] * 3
    assert [(s.date, s.rows) for s in hand.journal.stretches()] == [(date(2026, 5, 3), 8)]
    assert hand.journal.correct_times(now(NOON, UP + 9_000)) == 0, "what was put right stays as it is"


def test_the_clock_at_sealing_proves_them_where_no_row_does(hand: Hand) -> None:
    """A run that ended before the clock was set, sealed later on the same day's start."""
    hand.rounds(5, told=TOLD, up=UP)
    assert hand.journal.correct_times(now(NOON, UP + 3_600_000)) == 5
    assert hand.dues() == [NOON - 3_600_000 + n * 1000 for n in range(5)]


def test_while_the_clock_may_still_be_set_rows_wait(hand: Hand) -> None:
    """Neither filed under 1970 nor overtaken by what comes behind them."""
    hand.rounds(5, told=TOLD, up=UP)
    hand.rounds(5, told=NOON, up=UP, clock="synchronised", boot=NEXT)
    assert hand.journal.correct_times(UNSET_STILL) == 0
    assert hand.journal.stretches() == hand.journal.stretches(now=UNSET_STILL) == []
    set_now = now(NOON, UP + 9_000)
    assert [s.rows for s in hand.journal.stretches(now=set_now)] == [], "not put right: so not sealed"


def test_rows_of_a_start_that_ended_before_the_clock_was_set_get_no_time(hand: Hand) -> None:
    """Nobody knows when they were measured: nothing is made up, and they are filed on the day of sealing."""
    hand.rounds(5, told=TOLD, up=UP)
    hand.rounds(4, told=NOON, up=UP, clock="synchronised", boot=NEXT)
    later = now(NOON + 86_400_000, UP + 86_400_000, boot=NEXT)
    assert hand.journal.correct_times(later) == 0
    assert [row.is_timed for row in hand.rows()] == [False] * 5 + [True] * 4
    assert [(s.date, s.first, s.last) for s in hand.journal.stretches(now=later)] == [
        (date(2026, 5, 4), 1, 5), (date(2026, 5, 3), 6, 9),
    ]  # fmt: skip
    unset = now(TOLD, UP, "unset", boot=NEXT)
    assert hand.journal.stretches(now=unset) == [], "never under a date of 1970"


def test_a_clock_that_was_set_twice_counts_as_it_was_first(hand: Hand) -> None:
    """Set by hand, then by a time service 30 s on: order is kept, so the nearest later rows decide."""
    hand.rounds(3, told=TOLD, up=UP)
    hand.rounds(3, told=NOON, up=UP + 3_000, clock="unsynchronised")
    hand.rounds(3, told=NOON + 33_000, up=UP + 6_000, clock="synchronised")
    hand.journal.correct_times(now(NOON + 40_000, UP + 10_000))
    assert hand.dues() == sorted(hand.dues())
    assert hand.dues()[:3] == [NOON - 3_000, NOON - 2_000, NOON - 1_000]


def test_two_settings_before_the_clock_was_right_are_put_right_each(hand: Hand) -> None:
    """1970, then someone sets 2001, then 2026: one row a second all along."""
    hand.rounds(3, told=TOLD, up=UP)
    hand.rounds(3, told=1_000_000_000_000, up=UP + 3_000)
    hand.rounds(3, told=NOON, up=UP + 6_000, clock="synchronised")
    hand.journal.correct_times(UNSET_STILL)
    assert hand.dues() == [NOON - 6_000 + n * 1000 for n in range(9)]


def test_a_clock_that_fell_back_to_1970_is_known_by_the_rows_before(hand: Hand) -> None:
    hand.rounds(3, told=NOON, up=UP, clock="synchronised")
    hand.rounds(3, told=TOLD, up=UP + 3_000)
    hand.journal.correct_times(UNSET_STILL)
    assert hand.dues() == [NOON + n * 1000 for n in range(6)]


def test_other_points_rows_of_the_same_start_prove_them_too(hand: Hand) -> None:
    """A point that recorded for a minute in the morning, and one that recorded longer."""
    hand.rounds(3, told=TOLD, up=UP, point="compressor-2")
    hand.rounds(3, told=NOON, up=UP + 3_000, clock="synchronised")
    hand.journal.correct_times(UNSET_STILL)
    assert [row.due for row in hand.rows("compressor-2")] == [NOON - 3_000 + n * 1000 for n in range(3)]


def test_rows_committed_between_correction_and_sealing_wait_for_the_next(hand: Hand) -> None:
    """The writer's thread commits whenever it likes; a row that could be put right is never sealed before."""
    hand.rounds(3, told=NOON, up=UP + 3_000, clock="synchronised")
    at = now(NOON + 5_000, UP + 8_000)
    hand.journal.correct_times(at)
    hand.rounds(2, told=TOLD, up=UP)
    assert [(s.first, s.last) for s in hand.journal.stretches(now=at)] == [(1, 3)]


FORMAT_1 = """
CREATE TABLE plan (number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, text TEXT NOT NULL);
CREATE TABLE stream (number INTEGER PRIMARY KEY, point TEXT NOT NULL, source TEXT NOT NULL,
    last INTEGER NOT NULL, UNIQUE (point, source));
CREATE TABLE row (stream INTEGER NOT NULL REFERENCES stream, sequence INTEGER NOT NULL,
    plan INTEGER NOT NULL REFERENCES plan, due INTEGER NOT NULL, time INTEGER, clock TEXT NOT NULL,
    status TEXT NOT NULL, cause TEXT NOT NULL, words BLOB NOT NULL, present BLOB NOT NULL,
    PRIMARY KEY (stream, sequence)) WITHOUT ROWID;
CREATE TABLE intent (file TEXT PRIMARY KEY, aside TEXT NOT NULL, sha256 TEXT NOT NULL, point TEXT NOT NULL,
    source TEXT NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, line TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO plan VALUES (1, 'a plan', '{}');
INSERT INTO stream VALUES (1, 'header', 'live', 2);
INSERT INTO row VALUES (1, 1, 1, 10000, 10040, 'unset', 'ok', '', x'0700', x'01');
INSERT INTO row VALUES (1, 2, 1, 1777809600000, NULL, 'synchronised', 'no reply', '', x'0000', x'00');
PRAGMA user_version = 1;
"""


def test_a_journal_of_format_1_is_read_as_it_is_and_brought_up_to_date_for_writing(tmp_path: Path) -> None:
    """Rows that an older version left are there; which start of the computer they are from is not known."""
    path = tmp_path / "journal.sqlite"
    with closing(sqlite3.connect(path)) as old:
        old.executescript(FORMAT_1)
    reader = read_only(path)
    assert reader is not None
    with closing(reader):
        before = list(reader.rows("header", "live"))
        assert [(s.first, s.last) for s in reader.stretches(now=now(NOON, UP))] == [(1, 2)]
    with closing(Journal.open(path)) as journal:
        assert list(journal.rows("header", "live")) == before
        assert [(row.sequence, row.due, row.words, row.boot, row.since_boot) for row in before] == [
            (1, 10_000, b"\x07\x00", "", None), (2, NOON, b"\x00\x00", "", None),
        ]  # fmt: skip
        assert journal.correct_times(now(NOON, UP)) == 0
        journal.append([replace(before[1], sequence=3, plan="a plan", boot=THIS, since_boot=UP)])
        assert list(journal.rows("header", "live"))[-1].boot == THIS
    with closing(sqlite3.connect(path)) as new:
        assert new.execute("PRAGMA user_version").fetchone() == (2,)
