"""`point check` as a technician calls it: every fault by line and column, doubts as warnings."""

import json
import shutil
from pathlib import Path
from types import ModuleType

import pytest

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demonstration's files."""
    shutil.copytree(DEMO, tmp_path / "hall")
    return tmp_path / "hall"


def rewrite(folder: Path, old: str, new: str) -> None:
    file = folder / "bottling-hall-header.yaml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def test_the_demonstrations_points_are_sound(command: ModuleType, folder: Path) -> None:
    done = command.run("point", "check", "bottling-hall-header.yaml", "rinse-water.yaml", cwd=folder)
    assert (done.status, done.out) == (0, "")
    assert "inside diameter 53.10 mm" in done.err


def test_all_faults_are_told_at_once_and_as_json(command: ModuleType, folder: Path) -> None:
    rewrite(folder, "wall_thickness: 3.6 mm", "wall_thickness: 31 mm")
    rewrite(folder, "pressure: 7 bar(g)", "pressure: 7 bar")
    rewrite(folder, "after: single elbow", "after: bow")
    done = command.run("point", "check", "bottling-hall-header.yaml", "--json", cwd=folder)
    assert done.status == 2
    faults = json.loads(done.out)
    assert [fault["severity"] for fault in faults] == ["fault"] * 3
    for wanted in ("leave no bore", "gauge or absolute", "allowed: none, single elbow"):
        assert any(wanted in fault["fault"] and fault["line"] > 8 for fault in faults), wanted


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("diameter_set_in_meter: 53.1 mm", "diameter_set_in_meter: 50 mm", "reads 11.3 % low"),
        (
            "{length: 1.8 m, after: single elbow}",
            "{length: 1 m, after: single elbow}",
            "18.8 inside diameters",
        ),
        (
            "{length: 0.6 m}",
            "{length: 0.6 m, asked_by_manual: 12}",
            "the meter's manual): 0.04 m are missing",
        ),
        (
            "position: centre",
            "position: centre, calibrated_for: mean velocity",
            "has to be corrected for that",
        ),
        ("fitting_height: 142 mm", "fitting_height: 142 mm, stem_length: 160 mm", "mm too short"),
    ],
)
def test_what_is_doubtful_is_a_warning(
    command: ModuleType, folder: Path, old: str, new: str, wanted: str
) -> None:
    """(50/53.1)² − 1 = −11.3 %; 1 m / 53.1 mm = 18.8; 12 × 53.1 mm − 0.6 m = 0.04 m."""
    rewrite(folder, old, new)
    done = command.run("point", "check", "bottling-hall-header.yaml", cwd=folder)
    assert done.status == 0
    assert "warning" in done.out
    assert wanted in done.out


def test_a_size_that_the_own_list_lacks_is_told_where_it_is_asked_for(
    command: ModuleType, folder: Path
) -> None:
    rewrite(folder, "outside_diameter: 60.3 mm", "standard: works list DN 65\n  table: pipes.csv")
    rewrite(folder, "  wall_thickness: 3.6 mm\n", "")
    done = command.run("point", "check", "bottling-hall-header.yaml", cwd=folder)
    assert (done.status, "pipes.csv cannot be read" in done.out) == (2, True)
    (folder / "pipes.csv").write_text("dn,outside_mm,wall_mm\n50,60.3,2.0\n")
    done = command.run("point", "check", "bottling-hall-header.yaml", cwd=folder)
    assert done.status == 2
    assert "pipes.csv has no DN 65; it has DN 50" in done.out
    (folder / "pipes.csv").write_text("dn,outside_mm,wall_mm\n50,60.3,2,0\n")
    done = command.run("point", "check", "bottling-hall-header.yaml", cwd=folder)
    assert "pipes.csv:2:1: " in done.out
    (folder / "pipes.csv").write_text("dn,outside_mm,wall_mm\n65,76.1,2.0\n")
    done = command.run("point", "check", "bottling-hall-header.yaml", cwd=folder)
    assert done.status == 0, done
    assert "inside diameter 72.10 mm" in done.err


def test_a_file_that_is_not_there_does_not_hide_the_others(command: ModuleType, folder: Path) -> None:
    done = command.run("point", "check", "nowhere.yaml", "bottling-hall-header.yaml", cwd=folder)
    assert done.status == 2
    assert "nowhere.yaml" in done.out
    assert "53.10 mm" in done.err
