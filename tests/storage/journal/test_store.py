"""The journal keeps rows, gives each number once, and says what is to be sealed."""

import hashlib
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import ModuleType

import pytest

from storage.errors import ArchiveDamaged, ArchiveTooNew
from storage.journal import Journal, Row, read_only, store

DAY = 86_400_000


@pytest.fixture
def journal(tmp_path: Path):
    """An empty journal, closed afterwards."""
    opened = Journal.open(tmp_path / "journal.sqlite")
    yield opened
    opened.close()


def test_rows_come_back_as_they_were_put(journal: Journal, hall: ModuleType) -> None:
    """Every field, a row without a reply and with an empty reply among them."""
    plan = journal.add_plan('{"columns": ["input_16"]}')
    first = replace(hall.row(plan, 1), sequence=1, cause="late reply", clock="unset")
    second = Row(hall.POINT, "live", plan, 5, None, "unset", "no reply", sequence=2)
    journal.append([first, second])
    assert list(journal.rows(hall.POINT, "live")) == [first, second]
    assert list(journal.rows(hall.POINT, "memory")) == []
    assert journal.count() == {(hall.POINT, "live"): 2}


def test_many_rows_are_read_in_pieces(journal: Journal, hall: ModuleType) -> None:
    """10,000 rows: more than two pieces, none lost or doubled at their seams."""
    hall.fill(journal, 1, 10_000)
    assert [row.sequence for row in journal.rows(hall.POINT, "live")] == list(range(1, 10_001))
    assert [row.sequence for row in journal.rows(hall.POINT, "live", 4_000, 9_000)] == list(range(4000, 9001))
    (head, tail) = journal.stretches()
    assert (head.rows, tail.rows) == (10, 9_990)


def test_a_plan_is_kept_once_under_its_sha256(journal: Journal) -> None:
    """The id can be computed by anyone who has the text."""
    text = '{"map": "Durchfluß"}'
    assert journal.add_plan(text) == journal.add_plan(text) == hashlib.sha256(text.encode()).hexdigest()
    assert journal.plan_text(journal.add_plan(text)) == text
    with pytest.raises(KeyError):
        journal.plan_text("0" * 64)


def test_an_append_that_fails_adds_nothing(journal: Journal, hall: ModuleType) -> None:
    """One transaction: a number given twice, or a plan that was not added, refuses the whole call."""
    hall.fill(journal, 1, 3)
    plan = journal.add_plan("{}")
    with pytest.raises(Exception, match="UNIQUE"):
        journal.append(replace(hall.row(plan, n), sequence=n) for n in (4, 5, 3))
    with pytest.raises(KeyError):
        journal.append([replace(hall.row(plan, 4), sequence=4), replace(hall.row("f" * 64, 5), sequence=5)])
    assert journal.sequences(hall.POINT, "live", 1, 99) == [1, 2, 3]
    assert journal.next_sequence(hall.POINT, "live") == 4


def test_numbers_go_on_after_a_restart_and_after_the_rows_are_gone(tmp_path: Path, hall: ModuleType) -> None:
    """Sequence is the key of a row for ever: cutting the journal does not free a number."""
    path = tmp_path / "journal.sqlite"
    with closing(Journal.open(path)) as journal:
        hall.fill(journal, 1, 7)
        with closing(sqlite3.connect(path)) as other:
            other.execute("DELETE FROM row")
            other.commit()
    with closing(Journal.open(path)) as journal:
        assert journal.next_sequence(hall.POINT, "live") == 8
        assert journal.next_sequence(hall.POINT, "memory") == 1
        journal.raise_sequences({(hall.POINT, "live"): 5, ("compressor-2", "live"): 40})
        assert journal.next_sequence(hall.POINT, "live") == 8
        assert journal.next_sequence("compressor-2", "live") == 41


def spans(journal: Journal, **options: int) -> list[tuple[str, int, int]]:
    """Stretches as (day, first, last)."""
    return [(str(s.date), s.first, s.last) for s in journal.stretches(**options)]


def put(journal: Journal, hall: ModuleType, dues: list[int], plan: str = "{}") -> None:
    """Append rows due then."""
    identity = journal.add_plan(plan)
    start = journal.next_sequence(hall.POINT, "live")
    journal.append(
        replace(hall.row(identity, 1, due=due), sequence=start + number) for number, due in enumerate(dues)
    )


def test_a_stretch_ends_at_midnight_utc_and_at_a_new_plan(journal: Journal, hall: ModuleType) -> None:
    """One file has one plan and one UTC date."""
    put(journal, hall, [DAY - 2, DAY - 1, DAY, DAY + 1])
    put(journal, hall, [DAY + 2, 2 * DAY], plan='{"pressure": 1}')
    assert spans(journal) == [
        ("1970-01-01", 1, 2), ("1970-01-02", 3, 4), ("1970-01-02", 5, 5), ("1970-01-03", 6, 6),
    ]  # fmt: skip
    assert journal.stretches()[0].date == date(1970, 1, 1)


def test_a_clock_that_steps_back_over_midnight_makes_no_overlapping_files(
    journal: Journal, hall: ModuleType
) -> None:
    """Three stretches, not two that both hold the middle: sequence spans never meet."""
    put(journal, hall, [DAY - 1, DAY, DAY + 1, DAY - 1, DAY, DAY + 1])
    assert spans(journal) == [
        ("1970-01-01", 1, 1), ("1970-01-02", 2, 3), ("1970-01-01", 4, 4), ("1970-01-02", 5, 6),
    ]  # fmt: skip


def test_the_running_hour_is_kept_back(journal: Journal, hall: ModuleType) -> None:
    """Only what is due before the given instant; and never past a row that is kept back."""
    put(journal, hall, [1_000, 2_000, 3_000, 1_500, 4_000])
    assert spans(journal, before=3_000) == [("1970-01-01", 1, 2)]
    assert spans(journal, before=1_000) == []


def test_a_long_backlog_is_cut_into_pieces(journal: Journal, hall: ModuleType) -> None:
    """Memory of a sealing stays bounded."""
    put(journal, hall, list(range(10)))
    assert [span[1:] for span in spans(journal, most_rows=4)] == [(1, 4), (5, 8), (9, 10)]


def test_a_reader_sees_one_instant_while_rows_come(tmp_path: Path, hall: ModuleType) -> None:
    """Inside `snapshot` nothing moves, and the recorder is not held up."""
    from storage import lock

    with lock.take(tmp_path / "lock"), closing(Journal.open(tmp_path / "journal.sqlite")) as journal:
        hall.fill(journal, 1, 5)
        reader = read_only(journal.path)
        assert reader is not None
        with closing(reader):
            with reader.snapshot():
                assert reader.count() == {(hall.POINT, "live"): 5}
                hall.fill(journal, 6, 8)
                assert len(list(reader.rows(hall.POINT, "live"))) == 5
            assert reader.count() == {(hall.POINT, "live"): 8}
            with pytest.raises(Exception, match="readonly"):
                hall.fill(reader, 9, 9)


def test_the_log_grows_while_someone_reads_and_shrinks_afterwards(
    tmp_path: Path, hall: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader that keeps one instant open keeps the log of all that came since (sqlite.org/wal.html)."""
    monkeypatch.setattr(store, "LOG_BYTES", 1 << 20)
    with closing(Journal.open(tmp_path / "journal.sqlite")) as journal:
        hall.fill(journal, 1, 10)
        with closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
            other.execute("BEGIN")
            other.execute("SELECT count(*) FROM row").fetchone()
            for _ in range(8):
                hall.fill(journal, 1, 12_000)
            grown = journal.log_bytes()
        assert grown > 5 << 20
        for number in range(3):
            hall.fill(journal, number, number)
        assert journal.log_bytes() <= 1 << 20


def test_commits_are_flushed_and_logged(journal: Journal) -> None:
    """synchronous = FULL is 2 and the log is write-ahead (sqlite.org/pragma.html)."""
    with closing(sqlite3.connect(journal.path)) as other:
        assert other.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert journal._connection.execute("PRAGMA synchronous").fetchone() == (2,)


def test_another_file_or_format_is_told(tmp_path: Path) -> None:
    """No traceback, and no repair by deleting."""
    path = tmp_path / "journal.sqlite"
    path.write_bytes(b"not a database at all, but long enough to be taken for one" * 40)
    with pytest.raises(ArchiveDamaged, match=r"journal\.sqlite is damaged"):
        Journal.open(path)
    with pytest.raises(ArchiveDamaged, match=r"journal\.sqlite is damaged"):
        read_only(path)
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("PRAGMA user_version = 99")
    with pytest.raises(ArchiveTooNew, match="has format 99"):
        Journal.open(path)
    assert read_only(tmp_path / "absent.sqlite") is None
