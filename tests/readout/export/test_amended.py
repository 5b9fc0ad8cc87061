"""`point amend` as typed, and what every kind of export makes of it: raw and corrected side by side."""

import json
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook
from typer.testing import CliRunner

from readout.cli.main import app
from storage.archive import Archive

FACTOR = (54.5 / 53.1) ** 2  # +5.34 %: the flow goes with the square of the diameter


def run(*words: str) -> str:
    done = CliRunner().invoke(app, list(words))
    assert done.exit_code == 0, (done.output, done.exception)
    return done.stdout


@pytest.fixture
def archive(hall: ModuleType, root: Path) -> Path:
    """Tuesday 5 May 2026, 08:00 to 10:00 UTC, 100 m3/h; from 09:00 on the pipe is 54.5 mm wide."""
    dues = hall.every(10_000, "2026-05-05T08:00Z", "2026-05-05T10:00Z")
    with Archive.open(root) as opened:
        hall.fill(opened, hall.record(10_000), dues, lambda _: (100.0, 7000, 1))
        hall.seal(opened, dues[-1] + 1000)
    point = root.parent / "header.yaml"
    point.write_text(hall.POINT_FILE.replace("NAME", hall.POINT), encoding="utf-8")
    (root.parent / "job.yaml").write_text(hall.JOB.replace("ZONE", "Europe/Dublin"), encoding="utf-8")
    changes = ("--set", "pipe.inside_diameter=54.5mm", "--set", "energy.price=0.30 EUR/kWh")
    into = ("--archive", str(root), "--why", "calliper")
    run("point", "amend", str(point), "--from", "2026-05-05T10:00", *changes, *into)
    return root


def test_rows_as_text_have_both(archive: Path) -> None:
    run("export", str(archive), "--to", str(archive.parent / "rows.csv"))
    frame = pd.read_csv(archive.parent / "rows.csv")
    late = frame["time UTC"] >= "2026-05-05T09:00:00"
    assert late.sum() == 360
    assert set(frame["flow [m3/h]"]) == {100.0}
    assert set(frame.loc[~late, "flow_corrected [m3/h]"]) == {100.0}
    assert list(frame.loc[late, "flow_corrected [m3/h]"]) == pytest.approx([100 * FACTOR] * 360, rel=1e-6)


def test_means_have_the_raw_and_the_corrected_flow(archive: Path) -> None:
    run("export", str(archive), "--to", str(archive.parent / "hours.csv"), "--every", "1h")
    frame = pd.read_csv(archive.parent / "hours.csv")
    assert list(frame["flow_mean [m3/h]"]) == [100.0, 100.0]
    assert list(frame["flow_corrected_mean [m3/h]"]) == pytest.approx([100, 100 * FACTOR], rel=1e-6)


def test_a_table_for_programs_has_the_raw_and_the_corrected_flow(archive: Path) -> None:
    run("export", str(archive), "--to", str(archive.parent / "rows.parquet"))
    frame = pd.read_parquet(archive.parent / "rows.parquet")
    assert frame["flow_corrected"].iloc[-1] == pytest.approx(100 * FACTOR, rel=1e-6)
    assert frame["flow"].iloc[-1] == 100


def test_a_workbook_has_both_and_says_why_they_differ(archive: Path) -> None:
    file = archive.parent / "rows.xlsx"
    run("export", str(archive), "--to", str(file))
    book = CalamineWorkbook.from_path(str(file))
    head, *rows = book.get_sheet_by_name("rows").to_python()
    assert rows[-1][head.index("flow_corrected [m³/h]")] == pytest.approx(100 * FACTOR, rel=1e-6)
    told = {str(row[0]): row[1] for row in book.get_sheet_by_name("summary").to_python()}
    assert "54.5mm instead of 53.1 mm" in str(told["correction"])
    assert told["flow, corrected: mean [m³/h]"] == pytest.approx(50 * (1 + FACTOR), rel=1e-6)


def test_review_and_report_have_both_and_the_reason(archive: Path) -> None:
    """As data and on the page, with the reason and every key that was amended."""
    (point,) = json.loads(run("review", str(archive), "--json"))["points"]
    assert point["corrected_flow"]["mean"] == pytest.approx(50 * (1 + FACTOR), rel=1e-6)
    assert point["readings"]["flow"]["mean"] == 100
    assert point["corrections"][0]["why"] == "calliper"
    page = archive.parent / "audit.html"
    run("report", str(archive), "--to", str(page))
    text = page.read_text(encoding="utf-8")
    assert "54.5 mm instead of 53.1 mm" in text
    assert "energy.price: 0.30 EUR/kWh instead of 0.25 EUR/kWh" in text
