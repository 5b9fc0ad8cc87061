"""The ledger followed while it grows: what is new is read once, what is half written waits."""

import json
from pathlib import Path

from readout.daemon.live.book import MOST, Book
from storage.durable import Disk
from storage.ledger import LEDGER, Kind, Ledger

AT = "2026-05-04T06:00:00.000Z"
#: The same moment in ms since 1970: 20,577 days and 6 hours.
AT_MS = 1_777_874_400_000


def ledger(root: Path) -> Ledger:
    (root / "journal").mkdir(exist_ok=True)
    return Ledger(root, Disk(root))


def test_notes_marks_and_events_are_told_as_they_come(tmp_path: Path) -> None:
    book = Book(tmp_path)
    assert not book.look(), "there is no ledger yet"
    kept = ledger(tmp_path)
    kept.append(Kind.STARTED, {"points": {}})
    assert not book.look(), "nothing for the page"
    kept.append(Kind.NOTE, {"point": "header", "text": "probe cleaned", "at": AT})
    kept.append(Kind.MARK, {"point": "header", "name": "leak test", "from": AT, "until": AT})
    kept.append(Kind.EVENT, {"what": "port lost", "at": AT})
    assert book.look()
    told = [(one.kind, one.point, one.begin_ms, one.end_ms, one.text) for one in book.entries()]
    assert told == [
        ("note", "header", AT_MS, None, "probe cleaned"),
        ("mark", "header", AT_MS, AT_MS, "leak test"),
        ("event", None, AT_MS, None, "port lost"),
    ]
    assert not book.look()


def test_what_happened_is_told_with_where_and_by_how_much(tmp_path: Path) -> None:
    """Of two lines, which port; of a step, how far; which meter; and rows that never reached the disk."""
    kept = ledger(tmp_path)
    kept.append(Kind.EVENT, {"what": "port lost", "text": "COM9 is gone: unplugged.", "at": AT})
    kept.append(Kind.EVENT, {"what": "clock step", "seconds": -3.25, "at": AT})
    meter = {"what": "other meter", "point": "header", "expected": "EX-0050", "found": "EX-0051", "at": AT}
    kept.append(Kind.EVENT, meter)
    rows = {"what": "rows", "point": "header", "source": "live", "first_sequence": 7, "last_sequence": 9}
    kept.append(Kind.LOST, rows)
    kept.append(Kind.LOST, {**rows, "first_sequence": None})
    book = Book(tmp_path)
    assert book.look()
    assert [(one.point, one.text) for one in book.entries()] == [
        (None, "port lost: COM9 is gone: unplugged."),
        (None, "clock step: -3.250 s"),
        ("header", "other meter: EX-0051 answers, not EX-0050"),
        ("header", "lost: rows 7 to 9 never reached the disk"),
    ]


def test_a_line_that_is_half_written_waits_for_its_other_half(tmp_path: Path) -> None:
    kept = ledger(tmp_path)
    kept.append(Kind.NOTE, {"point": "header", "text": "one", "at": AT})
    whole = (tmp_path / LEDGER).read_bytes()
    (tmp_path / LEDGER).write_bytes(whole[:-20])
    book = Book(tmp_path)
    assert not book.look()
    (tmp_path / LEDGER).write_bytes(whole)
    assert book.look()
    assert [one.text for one in book.entries()] == ["one"]


def test_lines_of_other_programs_and_damaged_ones_are_passed_over(tmp_path: Path) -> None:
    """Not JSON, a hash that does not fit, a mark without its times: the others are told all the same."""
    kept = ledger(tmp_path)
    kept.append(Kind.MARK, {"point": "header", "name": "no times"})
    kept.append(Kind.NOTE, {"point": "header", "text": "no time", "at": "yesterday"})
    changed = (tmp_path / LEDGER).read_text("utf-8").splitlines()[0].replace("no times", "changed")
    kept.append(Kind.NOTE, {"point": "header", "text": "good", "at": AT})
    with (tmp_path / LEDGER).open("a", encoding="utf-8") as other:
        other.write(f"{changed}\nno JSON\n{json.dumps({'kind': 'note'})}\n")
    book = Book(tmp_path)
    assert book.look()
    assert [one.text for one in book.entries()] == ["good"]


def test_only_the_newest_are_kept(tmp_path: Path) -> None:
    kept = ledger(tmp_path)
    for n in range(MOST + 5):
        kept.append(Kind.EVENT, {"what": f"event {n}", "at": AT})
    kept.append(Kind.NOTE, {"point": "header", "text": "a note", "at": AT})
    book = Book(tmp_path)
    book.look()
    texts = [one.text for one in book.entries()]
    assert len(texts) == MOST + 1
    assert (texts[0], texts[-1]) == ("event 5", "a note")
