"""`review` as a command: figures as one JSON document, as text, and sentences for what is not there."""

import json
import math
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.errors import WrongUse
from storage.archive import Archive
from storage.ledger import Kind
from storage.logbook.entering import enter


@pytest.fixture
def archive(hall: ModuleType, root: Path) -> Path:
    """One production day of 10 s rows: 60 m3/h in the shifts, 12 m3/h outside, in a job that wants m3/min."""
    dues = hall.every(10_000, "2026-05-04T23:00Z", "2026-05-05T23:00Z")
    job = hall.JOB + "units: {flow: m3/min, pressure: bar(g)}\n"
    shifts = range(hall.ms("2026-05-05T05:00Z"), hall.ms("2026-05-05T21:00Z"))
    with Archive.open(root) as made:
        hall.fill(
            made, hall.record(10_000, job=job), dues, lambda due: (60.0 if due in shifts else 12.0, 7000, 1)
        )
        hall.seal(made, dues[-1] + 1000)
    return root


def test_one_json_document_holds_every_figure(archive: Path) -> None:
    done = CliRunner().invoke(app, ["review", str(archive), "--required-pressure", "6.5 bar(g)", "--json"])
    assert done.exit_code == 0
    (point,) = json.loads(done.stdout)["points"]
    flow = point["readings"]["flow"]
    assert (flow["unit"], flow["unit_of_rows"], flow["total_unit"]) == ("m3/min", "m3/h", "m3")
    assert flow["total"] == pytest.approx(16 * 60 + 8 * 12)
    assert flow["reference"] == "20 degC, 1 bar(a)"
    assert point["coverage"]["share"] == 1.0
    assert point["counts"]["status"] == {"ok": 8640}
    assert point["out_of_hours"]["mean"] == pytest.approx(0.2)
    assert point["pressure"]["share_below"] == 0.0
    # 0.2 m3/min × 6.4 kW/(m3/min) × 8000 h × 0.25 EUR/kWh, by hand
    assert point["cost"]["a_year"] == pytest.approx(2560.0)
    assert point["cost"]["an_hour"] == pytest.approx(0.32)
    assert len(flow["hours_of_the_week"]) == 24


def test_the_text_tells_completeness_first_and_never_a_leak_or_a_saving(archive: Path) -> None:
    done = CliRunner().invoke(app, ["review", str(archive)])
    assert done.exit_code == 0
    assert "measured 100.000% of 86400 s" in done.stdout.splitlines()[2]
    assert "out-of-hours demand: 0.2 m³/min" in done.stdout
    assert "it costs 0.32 EUR an hour" in done.stdout
    assert not {"leak", "saving", "saved"} & set(done.stdout.lower().split())


def test_what_is_not_there_is_a_sentence(archive: Path) -> None:
    runner = CliRunner()
    done = runner.invoke(app, ["review", str(archive), "--from", "2026-06-01", "--until", "2026-06-02"])
    assert done.exit_code == 1
    assert "bottling-hall-header (live): no rows with numbers and a time in this span" in done.stderr
    for words, sentence in (
        (["--point", "header"], "has no such point; it has bottling-hall-header"),
        (["--required-pressure", "6.5 bar"], r"write a pressure with \(g\) or \(a\)"),
        (["--required-pressure", "7.5 bar(a)"], "write the pressure as the meter measures it"),
        (["--band", "6 bar(g)"], "write two pressures"),
        (["--from", "2026-05-06", "--until", "2026-05-05"], "is not after"),
    ):
        done = runner.invoke(app, ["review", str(archive), *words])
        assert isinstance(done.exception, WrongUse), words
        with pytest.raises(WrongUse, match=sentence):
            raise done.exception


def test_marks_points_and_sources_are_told_together(hall: ModuleType, root: Path) -> None:
    """A decay of 10 m3 from 7 bar(g), constructed: loss 10 × absolute pressure / 2 h. A branch beside it."""
    begin = hall.ms("2026-05-05T22:00Z")

    def pressure(due: int) -> int:
        hours = max(due - begin, 0) / 3.6e6
        return round(8000 * math.exp(-hours / 2)) - 1000

    dues = hall.every(60_000, "2026-05-05T21:00Z", "2026-05-05T23:00Z")
    branch = {"file": hall.POINT_FILE.replace("header flow", "branch flow"), "point": "branch"}
    with Archive.open(root) as made:
        hall.fill(made, hall.record(60_000), dues, lambda due: (50.0, pressure(due), 1))
        hall.fill(made, hall.record(60_000, **branch), dues, lambda _: (20.0, 7000, 1))
        hall.seal(made, dues[-1] + 1000)
    hall.memory(root, dues, [49.0] * len(dues), 60_000, holds="mean", marked_at="start")
    for name, first, last in (
        ("leak test", "2026-05-05T22:00:00.000Z", "2026-05-05T22:30:00.000Z"),
        ("before", "2026-05-05T21:00:00.000Z", "2026-05-05T22:00:00.000Z"),
        ("after", "2026-05-05T22:00:00.000Z", "2026-05-05T23:00:00.000Z"),
    ):
        enter(root, Kind.MARK, {"point": hall.POINT, "name": name, "from": first, "until": last})
    words = ["review", str(root), "--volume", "10 m3", "--compressor-output", "35 m3/min"]
    done = CliRunner().invoke(app, [*words, "--json"])
    assert done.exit_code == 0, done.exception
    told = json.loads(done.stdout)
    live = next(one for one in told["points"] if one["point"] == hall.POINT and one["source"] == "live")
    test = next(one for one in live["marks"] if one["name"] == "leak test")
    by = {one["method"].split()[0]: one["flow"] for one in test["leak_tests"]}
    assert by["mean"] == pytest.approx(50.0)
    assert by["pressure"] == pytest.approx(10 * 8 / 2, rel=0.02)
    assert live["before_and_after"]["not_comparable"] == []
    assert live["uncertainty"]["why"].startswith("no uncertainty is told: ")
    both = told["together"]
    assert both["points"] == [hall.POINT, "branch"]
    assert both["difference"] == pytest.approx(30.0)
    assert both["difference_uncertainty"] is None
    assert told["live_and_memory"][hall.POINT]["ratio"] == pytest.approx(0.98)
    text = CliRunner().invoke(app, words).stdout
    assert "bottling-hall-header less branch: 30 ± - m³/h" in text
    assert "are not added" in text
    with pytest.raises(WrongUse, match="that is no volume"):
        raise CliRunner().invoke(app, [*words[:3], "10 m"]).exception or AssertionError


def test_a_flow_has_the_uncertainty_of_its_measuring_point(hall: ModuleType, root: Path) -> None:
    """As `point show` has it at the mean flow, with the sources that nobody gave."""
    file = hall.POINT_FILE.replace(
        "conditions: {pressure: 7 bar(g)}",
        "conditions: {pressure: 7 bar(g), temperature: 25 degC}\n"
        "reference: {temperature: 20 degC, pressure: 1 bar(a)}",
    )
    text = hall.MAP.replace("principle", "fluid: compressed air\nprinciple")
    dues = hall.every(10_000, "2026-05-05T21:00Z", "2026-05-05T22:00Z")
    with Archive.open(root) as made:
        hall.fill(made, hall.record(10_000, file=file, map_text=text), dues, lambda _: (80.0, 7000, 1))
    (point,) = json.loads(CliRunner().invoke(app, ["review", str(root), "--json"]).stdout)["points"]
    assert 2 < point["uncertainty"]["percent"] < 20
    assert "k = 2" in point["uncertainty"]["says"]
    assert "insertion depth" in point["uncertainty"]["left_out"]
