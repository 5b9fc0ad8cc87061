"""The demo's fortnight: what the review finds against what the simulator knows.

The truth comes from integrals in closed form, of which the rows, their noise and steps, know nothing.
"""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook
from typer.testing import CliRunner

from readout.cli.demo_fortnight import write_fortnight
from readout.cli.main import app
from readout.review.review import Review, review
from simulators.fortnight import BEGIN, END, LOST, truth

HALL = Path(__file__).parents[3] / "demo_data" / "bottling_hall"
POINT = "bottling-hall-header"


def recorded(folder: Path, every_s: float) -> Path:
    """The archive of two weeks, a row every so many seconds."""
    shutil.copytree(HALL, folder / "hall")
    write_fortnight(folder / "hall" / f"{POINT}.yaml", folder / "archive", every_s=every_s)
    return folder / "archive"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Rows every 30 s: 40,230 of them."""
    return recorded(tmp_path_factory.mktemp("fortnight"), 30.0)


@pytest.fixture(scope="module")
def found(archive: Path) -> Review:
    told = review(archive, POINT)
    assert told is not None
    return told


def assert_true(found: Review) -> None:
    """Demand within 2 %, total within 0.1 %, the leak in its hour, coverage exactly."""
    known = truth()
    assert not isinstance(found.demand, str)
    assert found.demand.mean is not None
    assert (found.demand.unit, found.demand.counted_s) == ("m3/min", known.out_of_hours_s)
    assert found.demand.mean * 60 == pytest.approx(known.out_of_hours_m3_h, rel=0.02)
    assert found.flow is not None
    assert found.flow.total == pytest.approx(known.total_m3, rel=0.001)
    assert not isinstance(found.step, str)
    assert found.step.since_ms / 1000 <= known.leak_begins < found.step.until_ms / 1000
    assert found.step.until_ms - found.step.since_ms == 3_600_000
    assert found.step.size * 60 == pytest.approx(known.leak_m3_h, rel=0.1)
    covered = found.coverage
    assert (covered.begin_ms, covered.end_ms) == (BEGIN * 1000, END * 1000)
    assert covered.measured_s == known.measured_s
    assert covered.missing_s == {
        "no reply": known.silent_s,
        "recorder not running": known.not_recording_s,
    }


def test_the_report_of_a_fortnight_is_true(found: Review) -> None:
    assert_true(found)


def test_each_gap_has_its_begin_its_end_and_its_cause(found: Review) -> None:
    spans = sorted(LOST.values())
    assert [(one.begin_ms / 1000, one.end_ms / 1000) for one in found.coverage.gaps] == spans
    assert [one.cause for one in found.coverage.gaps] == ["no reply", "recorder not running"]


def test_the_meters_totaliser_agrees_and_ran_on_through_the_gaps(found: Review) -> None:
    """Its steps are 0.1 m3. What it counted in the gaps is what flowed then, by the plant."""
    from simulators.fortnight import plant

    assert found.totals is not None
    assert found.totals.difference == pytest.approx(0, abs=0.001)
    hidden = sum(plant().volume_between(*span) for span in LOST.values())
    assert found.totals.in_gaps == pytest.approx(hidden, rel=0.01)


def test_the_peak_of_a_quarter_hour_is_the_dip_of_the_pressure(found: Review) -> None:
    """The tanker on 20 May, 10:30 to 10:50 in Dublin: no shift of a production day had less pressure."""
    assert found.flow is not None
    (quarter,) = (one for one in found.flow.statistics.peaks if one.minutes == 15)
    assert quarter.begin_ms is not None
    at = datetime.fromtimestamp(quarter.begin_ms / 1000, UTC)
    assert datetime(2026, 5, 20, 9, 30, tzinfo=UTC) <= at <= datetime(2026, 5, 20, 9, 35, tzinfo=UTC)
    by_shift = {
        one.name: one.lowest for one in found.readings["pressure"].shifts if one.day_type == "production"
    }
    assert min(by_shift, key=lambda name: by_shift[name] or 99.0) == "2026-05-20 early"


def test_the_step_is_told_in_review_and_report(archive: Path, tmp_path: Path) -> None:
    """To a person, to a program, and on the page in both languages."""
    runner, page = CliRunner(), tmp_path / "audit.html"
    told = runner.invoke(app, ["review", str(archive)]).stdout
    assert "stepped up from 1.01" in told
    assert "between 2026-05-16 03:00:00 +0100 and 2026-05-16 04:00:00 +0100" in told
    (point,) = json.loads(runner.invoke(app, ["review", str(archive), "--json"]).stdout)["points"]
    between = point["out_of_hours"]["step"]["begins_between"]
    assert between == ["2026-05-16T02:00:00.000Z", "2026-05-16T03:00:00.000Z"]
    for language, words in (("en", "This demand stepped up by"), ("de", "Diese Grundlast stieg sprunghaft")):
        done = runner.invoke(app, ["report", str(archive), "--to", str(page), "--lang", language])
        assert done.exit_code == 0, done.output
        assert words in page.read_text(encoding="utf-8")


def test_the_workbook_tells_demand_and_step_too(archive: Path, tmp_path: Path) -> None:
    """Numbers and the site's times, in cells of their own."""
    book = tmp_path / "days.xlsx"
    done = CliRunner().invoke(app, ["export", str(archive), "--to", str(book), "--every", "1d"])
    assert done.exit_code == 0, done.output
    rows = CalamineWorkbook.from_path(str(book)).get_sheet_by_name("summary").to_python()
    told = {str(row[0]): row[1:] for row in rows}
    assert told["out-of-hours demand [m³/min]"][0] == pytest.approx(truth().out_of_hours_m3_h / 60, rel=0.02)
    size, since, until = told["out-of-hours demand: stepped by [m³/min]"]
    assert size == pytest.approx(0.3, rel=0.1)
    assert (since, until) == (datetime(2026, 5, 16, 3), datetime(2026, 5, 16, 4))


@pytest.mark.long
def test_it_is_true_of_the_demos_own_rows_too(tmp_path: Path) -> None:
    """A row every 5 s, as `demo --fortnight` writes it."""
    told = review(recorded(tmp_path, 5.0), POINT)
    assert told is not None
    assert_true(told)
