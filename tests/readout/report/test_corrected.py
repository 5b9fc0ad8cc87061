"""A flow that the ledger corrects is corrected in every figure and picture, and what is raw says so.

The bore was 54.5 mm and not 50 mm: flows times (54.5 / 50)² = 1.1881, from the first row on.
"""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.report.content.blocks import Chart, Section, Table
from readout.report.content.evidence import appendix
from readout.report.content.sections import figures, pictures, tables
from readout.report.language.words import Language, Words
from readout.review.review import Review, review
from storage.ledger import Kind
from storage.logbook.entering import enter

FACTOR = (54.5 / 50) ** 2
POINT = "bottling-hall-header"


def amended(filled: Path, to: Path, since: str) -> Path:
    shutil.copytree(filled, to)
    content = {"point": POINT, "from": since, "set": {}, "was": {}, "flow_factor": FACTOR}
    enter(to, Kind.POINT, content)
    return to


@pytest.fixture(scope="module")
def root(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return amended(filled, tmp_path_factory.mktemp("corrected") / "archive", "2026-05-01T00:00:00.000Z")


@pytest.fixture(scope="module")
def corrected(root: Path) -> Review:
    found = review(root, POINT)
    assert found is not None
    return found


def chart(section: Section, name: str) -> Chart:
    return next(one for one in section.items if isinstance(one, Chart) and one.name == name)


def test_the_table_of_readings_tells_raw_and_corrected_apart(corrected: Review) -> None:
    """The spike of 250 m3/h is one of 297.0 m3/h."""
    (lead,) = (
        t for t in figures(corrected, Words()).items if isinstance(t, Table) and t.caption == "Readings"
    )
    highest = {row[0].partition(" (")[0]: row[lead.heads.index("highest")] for row in lead.rows}
    assert highest["flow, raw"] == "250"
    assert highest["flow, corrected"] == "297"
    assert "flow" not in highest


def test_pictures_are_of_the_corrected_flow_and_say_so(corrected: Review) -> None:
    """20 m3/h by night are 23.76 m3/h, the spike 297 m3/h."""
    drawn = pictures(corrected, Words(Language.GERMAN))
    time, week = chart(drawn, "time"), chart(drawn, "week")
    assert time.spec["layout"]["yaxis"]["title"]["text"] == "Durchfluss, berichtigt [m³/h]"
    assert max(y for y in time.spec["data"][0]["y"] if y is not None) == pytest.approx(250 * FACTOR)
    assert week.spec["data"][-1]["z"][2][1] == pytest.approx(20 * FACTOR)  # Tuesday, 02:00
    assert min(chart(drawn, "against").spec["data"][0]["x"]) == pytest.approx(20 * FACTOR)
    assert max(chart(drawn, "duration").spec["data"][0]["y"]) == pytest.approx(250 * FACTOR)
    hours = next(t for t in tables(corrected, Words()).items if "Hours of the week" in str(t))
    assert "flow, corrected" in str(hours)
    assert "24 (1)" in str(hours)
    bars = chart(appendix(corrected, Words()), "histogram").spec
    assert min(bars["data"][0]["x"]) > 20 * FACTOR
    assert bars["layout"]["xaxis"]["title"]["text"] == "flow, corrected [m³/h]"


def test_what_cannot_be_sorted_anew_is_drawn_raw_and_called_so(filled: Path, tmp_path: Path) -> None:
    """Corrected from the second day on only: no one factor holds for a curve of rows in their order."""
    found = review(amended(filled, tmp_path / "archive", "2026-05-06T00:00:00.000Z"), POINT)
    assert found is not None
    curve = chart(pictures(found, Words()), "duration").spec
    assert curve["layout"]["yaxis"]["title"]["text"] == "flow, raw [m³/h]"
    assert max(curve["data"][0]["y"]) == pytest.approx(250)


def test_review_tells_raw_and_corrected_apart_with_reference_conditions(root: Path) -> None:
    """Its largest mean of a minute is the corrected one, the spike one row of its six."""
    said = CliRunner().invoke(app, ["review", str(root)]).stdout
    assert "flow, raw" in said
    assert "flow, corrected" in said
    largest = ((5 * 60 + 250) / 6) * FACTOR
    assert f"largest 1 min mean: {largest:.6g} m³/h, corrected, from" in said
    assert "m³ at 20" in said


def test_review_says_none_where_nothing_was_measured_long_enough(root: Path) -> None:
    """Four minutes of a shift: no mean of five minutes, none out of hours, and no unit without a number."""
    span = ["--from", "2026-05-05T08:00", "--until", "2026-05-05T08:04"]
    said = CliRunner().invoke(app, ["review", str(root), *span]).stdout
    assert "largest 5 min mean: none: less than 5 min were measured" in said
    assert "out-of-hours demand: none was measured over 0 s" in said
    assert ": - " not in said
