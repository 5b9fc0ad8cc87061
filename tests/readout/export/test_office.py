"""LibreOffice opens workbooks and delimited text as a German and as an American find them on their desks."""

import csv
import shutil
import subprocess
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from storage.archive import Archive

#: Filter token 1 is the separator, 2 the quote, 3 UTF-8, 5 the columns' formats, 6 the language (LCID).
_GERMAN, _AMERICAN = "1031", "1033"

pytestmark = pytest.mark.long


def office(folder: Path, language: str, kind: str, file: Path, *, infilter: str | None = None) -> Path:
    """Where LibreOffice in that language, with a profile of its own, puts what it makes of the file."""
    program = shutil.which("soffice")
    assert program, "the tests of workbooks need LibreOffice: apt install libreoffice-calc"
    out = folder / f"out-{language}"
    profile = f"-env:UserInstallation={(folder / f'profile-{language}').as_uri()}"
    words = [program, "--headless", profile, *([f"--infilter={infilter}"] if infilter else [])]
    words += ["--convert-to", kind, "--outdir", str(out), str(file)]
    environment = {"LANG": f"{language}.UTF-8", "HOME": str(folder), "PATH": "/usr/bin:/bin"}
    done = subprocess.run(words, env=environment, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    return out


@pytest.fixture
def root(hall: ModuleType, tmp_path: Path) -> Path:
    """Two rows with decimals that a comma could tear, in May and by day 22 so that 22.5 could be a date."""
    root = tmp_path / "archive"
    dues = [hall.ms("2026-05-22T08:00Z"), hall.ms("2026-05-22T08:00:01Z")]
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(), dues, lambda due: (22.5 if due == dues[0] else -5.25, 7001, 123))
        hall.seal(archive, dues[-1] + 1000)
    return root


@pytest.mark.parametrize("language", ["de_DE", "en_US"])
def test_a_workbook_adds_up_in_every_language(root: Path, tmp_path: Path, language: str) -> None:
    """Numbers get the decimals of the language, which texts would not; times are times."""
    file = tmp_path / "rows.xlsx"
    assert CliRunner().invoke(app, ["export", str(root), "--to", str(file)]).exit_code == 0
    everything = "csv:Text - txt - csv (StarCalc):59,34,76,1,,1033,false,true,false,false,false,-1"
    out = office(tmp_path, language, everything, file)
    with (out / "rows-rows.csv").open(newline="", encoding="utf-8") as told:
        head, *rows = csv.reader(told, delimiter=";")
    flow = [row[head.index("flow [m³/h]")] for row in rows]
    assert flow == (["22,5", "-5,25"] if language == "de_DE" else ["22.5", "-5.25"])
    assert rows[0][0].startswith("2026-05-22 09:00:00")


@pytest.mark.parametrize(
    ("language", "number", "words", "separator"),
    [
        ("de_DE", _GERMAN, ["--decimal", "comma", "--bom"], 59),
        ("en_US", _AMERICAN, [], 44),
    ],
)
def test_delimited_text_is_numbers_in_its_own_country(
    root: Path, tmp_path: Path, language: str, number: str, words: list[str], separator: int
) -> None:
    """S03: opened with the country's language and saved as a workbook, cells are numbers."""
    from python_calamine import CalamineWorkbook

    file = tmp_path / "text.csv"
    assert CliRunner().invoke(app, ["export", str(root), "--to", str(file), *words]).exit_code == 0
    reader = f"Text - txt - csv (StarCalc):{separator},34,76,1,,{number},false,true"
    out = office(tmp_path, language, "xlsx", file, infilter=reader)
    book = CalamineWorkbook.from_path(out / "text.xlsx")
    head, *rows = book.get_sheet_by_index(0).to_python()
    assert [row[head.index("flow [m³/h]")] for row in rows] == [22.5, -5.25]
    assert [row[head.index("pressure [bar(g)]")] for row in rows] == [7.001, 7.001]
