"""The appendix: one hole as an illustration, replies that came late, the files; and what leak tests need."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.errors import WrongUse
from readout.report.content.answers import out_of_hours
from readout.report.content.evidence import MOST_FILES, SealedRows, appendix, conditions
from readout.report.language.words import Language, Words
from readout.review.about.requests import Requests
from readout.review.review import Review
from storage.archive import ArchiveReader


def texts(found: Review, files: list[SealedRows] | None = None) -> str:
    return " ".join(str(item) for item in appendix(found, Words(), files or ()).items)


def of(found: Review, fluid: str) -> Review:
    """The same rows, of a map that names a fluid."""
    about = found.installation
    text = about.map_text.replace("register_map: 1\n", f"register_map: 1\nfluid: {fluid}\n", 1)
    return replace(found, installation=replace(about, map_text=text))


def test_one_hole_is_an_illustration_with_its_coefficient(told: Callable[..., Review]) -> None:
    """20 m3/h at 20 degC, 1 bar out of hours, the network at 7 bar(g): 4.500 m3/h go through 1 mm there.

    4.500 m3/h (Cd 1, 20 degC, 7 bar(g), ideal gas): worked out by hand from the choked flow of air. With a
    coefficient of 0.65: sqrt(20 / (4.500 × 0.65)) mm = 2.6 mm.
    """
    said = texts(of(told("6.5 bar(g)"), "compressed air"))
    assert "one sharp-edged hole of 2.6 mm (coefficient 0.65)" in said
    assert "An illustration, no finding" in said


def test_a_mean_of_all_the_digits_a_double_has_is_a_number_too(told: Callable[..., Review]) -> None:
    found = of(told("6.5 bar(g)"), "compressed air")
    assert not isinstance(found.demand, str)
    third = replace(found.demand, mean=20 / 60, unit="m3/min")  # 0.3333333333333333
    assert "one sharp-edged hole of 2.6 mm" in texts(replace(found, demand=third))


def test_reference_conditions_that_the_meter_did_not_tell_are_said_to_be_unread() -> None:
    """As a recorder keeps it whose meter did not answer when it was asked for one of them."""
    found = conditions("not read, told by holding 20 int16, 1000.0 mbar (told by holding 21 uint16)")
    assert [(one.value, one.told_by) for one in found] == [
        ("not read", "holding 20 int16"), ("1000 mbar", "holding 21 uint16"),
    ]  # fmt: skip
    words = Words(Language.GERMAN)
    assert [words.outside(one.value) for one in found] == ["nicht gelesen", "1000 mbar"]


@pytest.mark.parametrize("fluid", ["nitrogen", "water", "steam"])
def test_no_hole_is_worked_out_for_another_fluid(told: Callable[..., Review], fluid: str) -> None:
    assert "sharp-edged" not in texts(of(told("6.5 bar(g)"), fluid))


def test_replies_that_came_late_are_those_of_the_ledger(told: Callable[..., Review]) -> None:
    found = told("6.5 bar(g)")
    found = replace(found, book=replace(found.book, late_replies=17))
    assert "whose values are kept: 17." in texts(found)


def test_requests_that_failed_are_those_of_the_ledger(told: Callable[..., Review]) -> None:
    found = told("6.5 bar(g)")
    assert "Requests without a usable reply" not in texts(found), "a ledger that does not count them"
    asked = Requests(61_300, {"bad checksum": 412, "no reply": 6}, {"no reply": 3})
    said = texts(replace(found, book=replace(found.book, requests=asked)))
    assert "418 of 61300. Rows that lack values for it: 3." in said


def test_many_files_are_named_up_to_a_limit(told: Callable[..., Review]) -> None:
    files = [SealedRows(f"rows/{n}.parquet", n, f"{n:064x}") for n in range(MOST_FILES + 5)]
    said = texts(told(), files)
    assert f"{MOST_FILES - 1:064x}" in said
    assert f"{MOST_FILES:064x}" not in said
    assert "and 5 more" in said


def test_the_page_names_every_sealed_file_with_its_hash(filled: Path, tmp_path: Path) -> None:
    to = tmp_path / "audit.html"
    done = CliRunner().invoke(app, ["report", str(filled), "--to", str(to)])
    assert done.exit_code == 0, done.output
    page = to.read_text(encoding="utf-8")
    files = list(ArchiveReader(filled).inventory().live.values())
    assert files
    assert all(file.sha256 in page and file.file in page for file in files)


@pytest.mark.parametrize("options", [("--volume", "12"), ("--compressor-output", "35 bar")])
def test_what_is_no_volume_or_no_flow_is_refused(
    filled: Path, tmp_path: Path, options: tuple[str, str]
) -> None:
    words = ["report", str(filled), "--to", str(tmp_path / "a.html"), *options]
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, WrongUse), done.output
    assert options[0] in str(done.exception)
    assert not (tmp_path / "a.html").exists()


def test_the_formula_of_the_cost_is_in_units_as_people_write_them(told: Callable[..., Review]) -> None:
    said = " ".join(str(item) for item in out_of_hours(told(), Words()).items)
    assert "kW/(m³/min) ×" in said
    assert "m3" not in said
