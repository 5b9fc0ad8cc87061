"""`point amend` as a technician calls it."""

import json
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner, Result

from readout.cli.main import app
from readout.errors import WrongUse
from storage.archive import Archive
from storage.ledger import LEDGER, Kind, read_file

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall/bottling-hall-header.yaml"


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    with Archive.open(tmp_path / "archive") as made:
        made.ledger.append(Kind.STARTED, {"points": {"bottling-hall-header": {}}})
    return tmp_path / "archive"


def test_a_wrong_diameter_is_put_right_in_the_ledger(command: ModuleType, archive: Path) -> None:
    """The hour is the site's: Dublin is one hour ahead of UTC in May."""
    before = sorted(path for path in archive.rglob("*") if "rows" in path.parts)
    done = command.run(
        "point", "amend", str(DEMO), "--from", "2026-05-03T08:00", "--set", "pipe.inside_diameter=54.5mm",
        "--why", "caliper at the cut pipe", "--archive", str(archive), "--json", cwd=archive.parent,
    )  # fmt: skip
    assert done.status == 0, done
    assert "its flows +5.34 %" in done.err
    line = read_file(archive / LEDGER).lines[-1]
    assert line.kind == "point"
    assert line.content["from"] == "2026-05-03T07:00:00.000Z"
    assert line.content["set"] == {"pipe.inside_diameter": "54.5mm"}
    told = "53.10 mm (outside_diameter: 60.3 mm, wall_thickness: 3.6 mm)"  # 60.3 − 2 × 3.6
    assert line.content["was"] == {"pipe.inside_diameter": told}
    assert "  inside_diameter: 54.5mm  # in place of `outside_diameter`" in done.err
    assert line.content["flow_percent"] == 5.34
    assert line.content["why"] == "caliper at the cut pipe"
    assert json.loads(done.out)["ledger"]["n"] == line.n
    assert sorted(path for path in archive.rglob("*") if "rows" in path.parts) == before


@pytest.mark.parametrize(
    ("changed", "wanted"),
    [
        (("--set", "pipe.inside_diameter=54.5"), "no number with a unit"),
        (("--set", "name=other"), "is not amended"),
    ],
)
def test_a_wrong_correction_leaves_no_line(
    command: ModuleType, archive: Path, changed: tuple[str, ...], wanted: str
) -> None:
    done = command.run(
        "point",
        "amend",
        str(DEMO),
        "--from",
        "2026-05-03",
        *changed,
        "--archive",
        str(archive),
        cwd=archive.parent,
    )
    assert done.status == 2
    assert wanted in done.err
    assert "Traceback" not in done.err
    assert all(line.kind != "point" for line in read_file(archive / LEDGER).lines)


def amend(archive: Path, *words: str, typed: str = "", point: Path = DEMO) -> Result:
    return CliRunner().invoke(
        app, ["point", "amend", str(point), "--archive", str(archive), *words], input=typed
    )


@pytest.mark.parametrize(
    ("start", "key", "said"),
    [
        ("2026-05-03", "pipe.inside_diameter=539mm", "multiplied by 103:"),  # (539 / 53.1)²
        # (48 / 53.1)² − 1 = −18.3 % passes, (47 / 53.1)² − 1 = −21.7 % is asked about
        ("2026-05-03", "pipe.inside_diameter=47mm", "is the diameter typed right?"),
        ("2999-01-01", "conditions.pressure=6 bar(g)", "--from 2999-01-01 is still to come"),
    ],
)
def test_what_looks_like_a_slip_is_asked_about(archive: Path, start: str, key: str, said: str) -> None:
    before = len(read_file(archive / LEDGER).lines)
    refused = amend(archive, "--from", start, "--set", key, typed="n\n")
    assert refused.exit_code == 1, refused.output
    assert said in refused.stderr
    nobody = amend(archive, "--from", start, "--set", key)
    assert isinstance(nobody.exception, WrongUse)
    assert len(read_file(archive / LEDGER).lines) == before
    assert amend(archive, "--from", start, "--set", key, "--yes").exit_code == 0
    assert len(read_file(archive / LEDGER).lines) == before + 1


def test_an_ordinary_correction_is_not_asked_about(archive: Path) -> None:
    assert amend(archive, "--from", "2026-05-03", "--set", "pipe.inside_diameter=48mm").exit_code == 0


def test_a_point_that_the_archive_does_not_have_is_refused(archive: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(
        "measuring_point: 1\nname: other\nsite: {name: Hall, time_zone: UTC}\nmeter: {map: m.yaml}\n"
        "line: {port: COM7}\n"
    )
    done = amend(archive, "--from", "2026-05-03", "--set", "role=branch flow", point=other)
    assert isinstance(done.exception, WrongUse)
    assert "nothing of a point other" in str(done.exception)
    assert "it has: bottling-hall-header" in str(done.exception)


def test_a_second_run_of_the_same_is_asked_about(archive: Path) -> None:
    """The same command again, by somebody tired; what was corrected otherwise meanwhile is no second run."""
    wanted = ("--from", "2026-05-03", "--set", "pipe.inside_diameter=54.5mm")
    assert amend(archive, *wanted).exit_code == 0
    n = len(read_file(archive / LEDGER).lines)
    again = amend(archive, *wanted, typed="n\n")
    assert f"line {n} of the ledger says the same already" in again.stderr
    assert len(read_file(archive / LEDGER).lines) == n
    assert amend(archive, *wanted[:3], "pipe.inside_diameter=55mm").exit_code == 0
    assert amend(archive, *wanted).exit_code == 0
