"""`point amend` as a technician calls it."""

import json
from pathlib import Path
from types import ModuleType

import pytest

from storage.archive import Archive
from storage.ledger import LEDGER, read_file

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall/bottling-hall-header.yaml"


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    Archive.open(tmp_path / "archive").close()
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
    assert line.content["was"] == {"pipe.inside_diameter": None}
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
