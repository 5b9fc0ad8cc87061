"""What `point amend` put right, calendar, energy, pipe, from a moment on; rows stay as they are."""

import json
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.review.review import Review, review
from storage.archive import Archive
from storage.ledger import Kind
from storage.logbook.entering import enter


@pytest.fixture
def archive(hall: ModuleType, root: Path) -> Path:
    """Monday 4 (closed) to Wednesday 6 May 2026, Dublin time: 60 m3/h by day, 06:00 to 22:00, 20 at night."""
    dues = hall.every(30_000, "2026-05-03T23:00Z", "2026-05-06T23:00Z")

    def flow(due: int) -> float:
        return 60.0 if 6 <= (due // 3_600_000 + 1) % 24 < 22 else 20.0

    with Archive.open(root) as opened:
        hall.fill(opened, hall.record(30_000), dues, lambda due: (flow(due), 7000, 1))
        hall.seal(opened, dues[-1] + 1000)
    return root


def amend(root: Path, since: str, key: str, value: str, was: str | None = None) -> None:
    """A line of the ledger as `point amend` writes it."""
    content = {"point": "bottling-hall-header", "from": since, "set": {key: value}, "was": {key: was}}
    enter(root, Kind.POINT, content)


def found_in(root: Path) -> Review:
    found = review(root, "bottling-hall-header")
    assert found is not None
    assert not isinstance(found.demand, str)
    return found


def test_an_amended_calendar_decides_what_is_out_of_hours(archive: Path) -> None:
    """Wednesday was a holiday that nobody had written down: 24 h of it are out of hours, at 1120 m3."""
    before = found_in(archive).demand
    assert not isinstance(before, str)
    assert before.counted_s == (24 + 2 * 8) * 3600
    amend(archive, "2026-05-05T23:00:00.000Z", "calendar.closed", "[2026-05-04, 2026-05-06]")
    found = found_in(archive)
    assert not isinstance(found.demand, str)
    assert found.demand.counted_s == (24 + 8 + 24) * 3600
    assert found.demand.mean == pytest.approx((2 * (16 * 60 + 8 * 20) + 8 * 20) / 56)
    assert found.flow is not None
    assert [day.day_type for day in found.flow.days] == ["closed", "production", "closed"]


def test_it_holds_from_its_day_on_and_not_before(archive: Path) -> None:
    """A third shift from Wednesday: Tuesday night stays out of hours, Wednesday's is worked."""
    shifts = '{early: "06:00-14:00", late: "14:00-22:00", night: "22:00-06:00"}'
    amend(archive, "2026-05-05T23:00:00.000Z", "calendar.shifts", shifts)
    found = found_in(archive)
    assert found.flow is not None
    names = [one.name for one in found.flow.shifts]
    assert "2026-05-04 night" not in names
    assert names.count("2026-05-06 night") == 1
    assert not isinstance(found.demand, str)
    # Monday is closed; Tuesday's nights before 06:00 and after 22:00 are out of hours. What runs into
    # Wednesday before 06:00 began on Tuesday, a production day.
    assert found.demand.counted_s == (24 + 8) * 3600


def test_amended_energy_changes_the_cost_and_says_so(archive: Path) -> None:
    """0.25 becomes 0.30 EUR/kWh: the cost goes with it, and the ledger's line is among the corrections."""
    before = found_in(archive).cost
    amend(archive, "2026-05-04T23:00:00.000Z", "energy.price", "0.30 EUR/kWh", "0.25 EUR/kWh")
    found = found_in(archive)
    assert not isinstance(before, str)
    assert not isinstance(found.cost, str)
    assert found.cost.a_year == pytest.approx(before.a_year * 0.30 / 0.25)
    assert "0.30 EUR/kWh" in found.cost.formula
    (told,) = found.corrections
    assert told.what == "energy.price: 0.30 EUR/kWh instead of 0.25 EUR/kWh"


def test_one_that_begins_after_the_period_changes_nothing_in_it(archive: Path) -> None:
    before = found_in(archive)
    amend(archive, "2026-06-01T00:00:00.000Z", "energy.price", "0.90 EUR/kWh", "0.25 EUR/kWh")
    assert found_in(archive).cost == before.cost


def test_what_a_newer_point_file_says_otherwise_stays(hall: ModuleType, root: Path) -> None:
    """The price was amended from 0.25 to 0.30; the rows' own file says 0.40, so it was put right since."""
    dues = hall.every(30_000, "2026-05-04T23:00Z", "2026-05-05T23:00Z")
    with Archive.open(root) as opened:
        job = hall.JOB.replace("0.25 EUR", "0.40 EUR")
        hall.fill(opened, hall.record(30_000, job=job), dues, lambda _: (60.0, 7000, 1))
        hall.seal(opened, dues[-1] + 1000)
    amend(root, "2026-05-01T00:00:00.000Z", "energy.price", "0.30 EUR/kWh", "0.25 EUR/kWh")
    found = found_in(root)
    assert not isinstance(found.cost, str)
    assert "0.40 EUR/kWh" in found.cost.formula


def test_the_band_out_of_hours_follows_an_amended_pressure(archive: Path) -> None:
    """The header runs at 5 bar(g), said from the start: 7 bar(g) are out of its band of 15 %."""
    amend(archive, "2026-05-01T00:00:00.000Z", "conditions.pressure", "5 bar(g)", "7 bar(g)")
    told = found_in(archive).demand
    assert not isinstance(told, str)
    assert told.band == pytest.approx((4.25, 5.75))
    assert told.mean is None


def test_an_amendment_that_no_longer_fits_is_told_and_harms_nothing(archive: Path) -> None:
    before = found_in(archive)
    amend(archive, "2026-05-01T00:00:00.000Z", "calendar.production", "Moon-Fri", "Mon-Fri")
    found = found_in(archive)
    assert found.demand == before.demand
    (told,) = found.corrections
    assert "not taken in: --set calendar.production=Moon-Fri" in told.what


def test_without_a_point_file_in_the_archive_it_is_told(hall: ModuleType, root: Path) -> None:
    """Rows kept with a text that is no point file: the amendment is listed, with why it does nothing."""
    dues = hall.every(30_000, "2026-05-04T23:00Z", "2026-05-05T01:00Z")
    with Archive.open(root) as opened:
        hall.fill(opened, hall.record(30_000, file="measuring_point: 9"), dues, lambda _: (60.0, 7000, 1))
        hall.seal(opened, dues[-1] + 1000)
    amend(root, "2026-05-01T00:00:00.000Z", "energy.price", "0.30 EUR/kWh", "0.25 EUR/kWh")
    found = review(root, "bottling-hall-header")
    assert found is not None
    (told,) = found.corrections
    assert told.what.endswith("not taken in: the point file that was kept with the rows cannot be understood")


def test_amendments_show_in_review_report_and_workbook(archive: Path, tmp_path: Path) -> None:
    """As typed: each output names the correction, and figures follow it."""
    from python_calamine import CalamineWorkbook

    amend(archive, "2026-05-05T23:00:00.000Z", "calendar.closed", "[2026-05-04, 2026-05-06]")
    runner = CliRunner()
    told = json.loads(runner.invoke(app, ["review", str(archive), "--json"]).stdout)
    (point,) = told["points"]
    assert "calendar.closed: [2026-05-04, 2026-05-06]" in point["corrections"][0]["what"]
    assert point["out_of_hours"]["counted_s"] == 56 * 3600
    page, book = tmp_path / "audit.html", tmp_path / "rows.xlsx"
    assert runner.invoke(app, ["report", str(archive), "--to", str(page)]).exit_code == 0
    assert "calendar.closed: [2026-05-04, 2026-05-06]" in page.read_text(encoding="utf-8")
    assert runner.invoke(app, ["export", str(archive), "--to", str(book), "--every", "1h"]).exit_code == 0
    rows = CalamineWorkbook.from_path(str(book)).get_sheet_by_name("summary").to_python()
    assert any("calendar.closed" in str(cell) for row in rows for cell in row)
