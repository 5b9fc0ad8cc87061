"""What the archive holds is known again whatever became of its journal and files."""

import shutil
from collections.abc import Callable
from contextlib import closing
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from readout.retrieve.holdings import Holdings, runs
from readout.sealing.merge import merge_days
from simulators.log_memory import LogOptions, Past
from storage.archive import Archive
from storage.journal.memory import MemoryJournal, MemorySession, Window
from storage.verify import verify_archive

TWO_SESSIONS = LogOptions((Past(80, 60.0), Past(60, 30.0)), recording=False)


def test_a_lost_journal_costs_no_record_twice(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    """The files themselves say which sessions they are of."""
    place = hall(memory.map_text("window"), TWO_SESSIONS)
    place.fetch()
    before = place.rows()
    shutil.rmtree(place.archive / "journal")
    visit = place.fetch()
    assert (visit.document["records_new"], visit.document["records_known"]) == (0, 140)
    assert place.rows() == before


def test_joined_files_are_known_as_well(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    """Two visits of one day, joined to a file a day afterwards, then a journal that is lost."""
    place = hall(memory.map_text("window"), LogOptions.prefilled(100, 60.0))
    place.fetch()
    place.clock.advance(600.0)
    place.fetch()
    with Archive.open(place.archive, utc=place.clock.utc) as archive:
        assert merge_days(archive, date(2026, 6, 1))
    assert verify_archive(place.archive).faults == ()
    before = place.rows()
    shutil.rmtree(place.archive / "journal")
    visit = place.fetch()
    assert (visit.document["records_new"], visit.document["records_changed"]) == (0, 0)
    assert place.rows() == before


def test_sessions_get_their_numbers_once(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    """1 for the first the meter ever told of, and a new one behind those that are known."""
    place = hall(memory.map_text("window"), TWO_SESSIONS)
    place.fetch()
    place.meter.log.recorder.start(place.clock.monotonic() - 1000.0)
    place.clock.advance(400.0)
    visit = place.fetch()
    found = place.rows()
    assert visit.document["sessions"] == 3
    assert sorted(set(found["session"])) == [1, 2, 3]
    assert found["session"].count(1) == 80
    assert found["session"].count(2) == 60


@pytest.fixture
def held(tmp_path: Any) -> Any:
    """An open archive with an empty journal of memory records."""
    with (
        Archive.open(tmp_path / "hall") as archive,
        closing(MemoryJournal.open(archive.journal.path)) as journal,
    ):
        yield SimpleNamespace(root=archive.root, journal=journal, plan=journal.add_plan("{}"))


def window(held: Any, first: int, count: int, session: int = 1) -> Window:
    """`count` records of two registers; register values are of no account here."""
    numbers = np.arange(first, first + count, dtype="<i8")
    words = np.full((count, 2), first, "<u2")
    return Window("header", session, held.plan, 0, numbers.tobytes(), words.tobytes(), b"\x01" * count)


def test_windows_taken_back_are_not_known_any_more(held: Any) -> None:
    holdings = Holdings.load(held.root, held.journal, "header", "EX-1")
    session = holdings.session(7000, 1000, 0)
    kept = [holdings.keep(window(held, first, 10)) for first in (0, 10, 20, 40)]
    assert holdings.ranges[session.number] == [range(30), range(40, 50)]
    assert holdings.withdraw([kept[1]]) == 10
    assert holdings.ranges[session.number] == [range(10), range(20, 30), range(40, 50)]
    again = Holdings.load(held.root, held.journal, "header", "EX-1")
    assert again.ranges == holdings.ranges
    assert [known.ranges for known in again.known()] == [(range(10), range(20, 30), range(40, 50))]


def test_another_meters_sessions_are_not_this_ones(held: Any) -> None:
    """The serial number is part of the key: the same start and number of another meter is another record."""
    first = Holdings.load(held.root, held.journal, "header", "EX-1")
    first.session(7000, 1000, 0)
    first.keep(window(held, 0, 10))
    second = Holdings.load(held.root, held.journal, "header", "EX-2")
    assert second.known() == []
    assert second.session(7000, 1000, 0).number == 2


def test_a_journal_keeps_windows_and_sessions_as_they_were_given(held: Any) -> None:
    session = MemorySession("header", 3, None, None, 2, 5000, 17)
    held.journal.add_session(session)
    given = window(held, 5, 4, session=3)
    number = held.journal.keep(given)
    assert held.journal.sessions("header") == [session]
    (found,) = held.journal.windows("header")
    assert (found.number, found.numbers, found.words, found.fits) == (
        number, given.numbers, given.words, given.fits,
    )  # fmt: skip
    assert held.journal.points_waiting() == ["header"]
    held.journal.drop([number])
    assert held.journal.windows("header") == []
    with pytest.raises(KeyError):
        held.journal.keep(Window("header", 3, "no plan", 0, b"", b"", b""))


def test_numbers_in_a_row_become_one_run() -> None:
    assert runs(np.array([], np.int64)) == []
    assert runs(np.array([3, 4, 5, 9, 11, 12], np.int64)) == [range(3, 6), range(9, 10), range(11, 13)]
