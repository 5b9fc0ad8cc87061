"""`review` as a command: figures as one JSON document, as text, and sentences for what is not there."""

import json
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.errors import WrongUse
from storage.archive import Archive


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
    assert "out-of-hours demand: 0.2 m3/min" in done.stdout
    assert "it costs 0.32 EUR an hour" in done.stdout
    assert not {"leak", "saving", "saved"} & set(done.stdout.lower().split())


def test_what_is_not_there_is_a_sentence(archive: Path) -> None:
    runner = CliRunner()
    done = runner.invoke(app, ["review", str(archive), "--from", "2026-06-01", "--until", "2026-06-02"])
    assert done.exit_code == 1
    assert "bottling-hall-header (live): no rows with numbers in this span" in done.stderr
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
