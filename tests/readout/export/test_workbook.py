"""Workbooks as a second author's reader (python-calamine) finds them."""

import zipfile
from datetime import datetime
from pathlib import Path
from types import ModuleType

import pytest
from python_calamine import CalamineWorkbook
from typer.testing import CliRunner

from readout.cli.main import app
from readout.export.table import Raw, with_rows
from readout.export.workbook import SHEET_ROWS, write_workbook
from storage.archive import Archive
from storage.ledger import Kind
from storage.logbook.entering import enter


def exported(root: Path, name: str, *words: str) -> CalamineWorkbook:
    file = root.parent / name
    done = CliRunner().invoke(app, ["export", str(root), "--to", str(file), *words])
    assert done.exit_code == 0, (done.output, done.exception)
    return CalamineWorkbook.from_path(file)


def rows_of(book: CalamineWorkbook, sheet: str) -> list[list]:
    return book.get_sheet_by_name(sheet).to_python()


@pytest.fixture
def night(hall: ModuleType, root: Path) -> Path:
    """S02: six rows half an hour apart in the October night, a gap of an hour, and texts like formulas."""
    dues = [hall.ms("2026-10-25T00:00Z") + n * 1_800_000 for n in (0, 1, 2, 5, 6, 7)]
    what = hall.record(1_800_000, file=hall.POINT_FILE.replace("EX-0042", "123456789012345678"))
    point = {**what.point, "serial_number": "123456789012345678", "site": "=1+1"}
    from dataclasses import replace

    with Archive.open(root) as archive:
        hall.fill(archive, replace(what, point=point), dues, lambda _: (0.1, 7000, 25))
        hall.seal(archive, dues[-1] + 1000)
    for text in ('=HYPERLINK("http://x")', "<b>\u202eevil</b>", "@cmd"):
        content = {"point": hall.POINT, "text": text, "at": "2026-10-25T00:30:00.000Z"}
        enter(root, Kind.NOTE, content)
    return root


def test_numbers_are_numbers_and_times_are_times(night: Path) -> None:
    """Site time, its offset and UTC; the double hour is told apart; a 32-bit 0.1 is 0.1 (S02, S08)."""
    head, *rows = rows_of(exported(night, "night.xlsx"), "rows")
    assert head[:4] == ["time Europe/Dublin", "offset", "time UTC", "sequence"]
    assert [row[0] for row in rows[:3]] == [
        datetime(2026, 10, 25, 1, 0), datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 25, 1, 0)
    ]  # fmt: skip
    assert [row[1] for row in rows[:3]] == ["+01:00", "+01:00", "+00:00"]
    assert rows[2][2] == datetime(2026, 10, 25, 1, 0)
    assert {row[head.index("flow [m³/h]")] for row in rows} == {0.1}
    assert {row[head.index("total [m³]")] for row in rows} == {2.5}


def test_hostile_text_stays_text_and_long_serial_numbers_whole(night: Path) -> None:
    """S04, S08: nothing in the file is a formula or a link, and no digit is lost."""
    book = exported(night, "night.xlsx")
    told = {row[0]: row[1] for row in rows_of(book, "summary")}
    assert told["serial number"] == "123456789012345678"
    assert told["site"] == "=1+1"
    notes = [row[1] for row in rows_of(book, "summary") if row[0] == "note"]
    assert notes == ['=HYPERLINK("http://x")', "<b>\u202eevil</b>", "@cmd"]
    with zipfile.ZipFile(night.parent / "night.xlsx") as parts:
        for name in parts.namelist():
            if name.startswith("xl/worksheets/sheet"):
                text = parts.read(name)
                assert b"<f>" not in text
                assert b"<hyperlink" not in text


def test_summary_days_hours_and_gaps_say_what_is_missing(night: Path) -> None:
    book = exported(night, "night.xlsx")
    assert book.sheet_names == ["summary", "days", "hours", "charts", "gaps", "rows"]
    told = {row[0]: row[1] for row in rows_of(book, "summary")}
    assert told["measured [s]"] == 6 * 1800
    assert told["missing: recorder not running [s]"] == 3600
    assert told["flow: at"] == "20 °C, 1 bar(a)"
    (gap,) = rows_of(book, "gaps")[1:]
    assert gap == [
        datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 25, 2, 30), 3600.0, "recorder not running"
    ]  # fmt: skip
    hours = rows_of(book, "hours")[1:]
    assert [(row[0].hour, row[1]) for row in hours] == [(1, 3600), (1, 1800), (2, 1800), (3, 3600)]
    (day,) = rows_of(book, "days")[1:]
    assert day[2] == 25 * 3600
    with zipfile.ZipFile(night.parent / "night.xlsx") as parts:
        charts = [name for name in parts.namelist() if name.startswith("xl/charts/chart")]
        assert len(charts) == 2
        assert b"dispBlanksAs" not in parts.read(charts[1])  # neither a zero nor a line over a gap
        assert b'state="frozen"' in parts.read("xl/worksheets/sheet6.xml")


def test_more_rows_than_a_sheet_holds_go_on_by_month(hall: ModuleType, root: Path) -> None:
    """S01 in small: sheets of 100 rows, 600 rows from 30 April to 2 May; every row once, in order."""
    dues = hall.every(300_000, "2026-04-30T12:00Z", "2026-05-02T14:00Z")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(300_000), dues, lambda due: (float(due // 300_000 % 1000), 7000, 1))
    file = root.parent / "many.xlsx"

    def write(stream) -> int:
        return write_workbook(stream, None, file, sheet_rows=100)

    assert with_rows(root, hall.POINT, "live", None, None, write, raw=Raw.WITHOUT) == len(dues) == 600
    book = CalamineWorkbook.from_path(file)
    assert book.sheet_names[:2] == ["2026-04", "2026-04 (2)"]
    assert book.sheet_names[2:] == ["2026-05", *(f"2026-05 ({n})" for n in range(2, 6))]
    numbers = [row[3] for name in book.sheet_names for row in rows_of(book, name)[1:]]
    assert numbers == list(range(1, 601))
    assert all(len(rows_of(book, name)) <= 100 for name in book.sheet_names)


@pytest.mark.long
def test_a_million_rows_and_more_are_all_there(hall: ModuleType, root: Path) -> None:
    """S01: 1,048,576 rows do not fit below a heading; the sum over the sheets is that of the rows."""
    dues = [hall.ms("2026-05-01T00:00Z") + n * 1000 for n in range(SHEET_ROWS)]
    with Archive.open(root) as archive:
        for first in range(0, len(dues), 100_000):
            part = dues[first : first + 100_000]
            hall.fill(archive, hall.record(), part, lambda due: (float(due // 1000 % 8), 7000, 1))
            hall.seal(archive, part[-1] + 1000)
    book = exported(root, "million.xlsx")
    sheets = [name for name in book.sheet_names if name.startswith("2026-05")]
    assert len(sheets) == 2
    column = [row[6] for name in sheets for row in rows_of(book, name)[1:]]
    assert len(column) == SHEET_ROWS
    assert sum(column) == sum(due // 1000 % 8 for due in dues)
