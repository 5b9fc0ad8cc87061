"""`point show` as a technician calls it."""

import json
import shutil
from pathlib import Path
from types import ModuleType

import pytest

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(DEMO, tmp_path / "hall")
    return tmp_path / "hall"


def test_the_example_shows_every_figure(command: ModuleType, folder: Path) -> None:
    """By hand: 60.3 − 2 × 3.6; 142 + 3.6 + 26.55 + 8; 1.8 m / 53.1 mm; 7 bar on a stem of 10 mm."""
    done = command.run("point", "show", "bottling-hall-header.yaml", cwd=folder)
    assert done.status == 0, done
    for wanted in (
        "53.10 mm", "±0.50 mm (k = 2)", "26.6 mm", "180.2 mm (7.093 in)", "11.9 % to the sensor", "33.9 D",
        "11.3 D", "common practice, no standard", "25 D asked", "Reynolds number", "profile factor",
        "as if at reference", "nothing to correct again", "1 mm of depth", "within", "55 N",
        "No hand can hold it", "never in line with it",
    ):  # fmt: skip
        assert wanted in done.out, wanted


def test_the_same_figures_as_json(command: ModuleType, folder: Path) -> None:
    done = command.run("point", "show", "bottling-hall-header.yaml", "--json", cwd=folder)
    found = json.loads(done.out)
    assert found["pipe"]["inside_diameter_mm"] == 53.1
    assert found["insertion"]["mark_mm"] == 180.15
    assert found["insertion"]["mark_in"] == pytest.approx(7.0925, abs=1e-4)
    assert found["inlet_run"]["enough"] is True
    assert found["expected"][1]["reference_m3_per_h"] == pytest.approx(420)
    assert found["stem_force_n"] == pytest.approx(54.98, abs=0.01)
    assert found["missing"] == []
    assert found["uncertainty"][1]["expanded_percent"] == pytest.approx(3.06, abs=0.02)
    assert found["uncertainty"][1]["left_out"] == ["insertion depth"]
    assert len(found["cautions"]) >= 7


def test_a_sheet_is_written_where_it_is_asked_for(command: ModuleType, folder: Path) -> None:
    done = command.run("point", "show", "bottling-hall-header.yaml", "--sheet", "sheet.html", cwd=folder)
    assert done.status == 0, done
    assert "180.2 mm (7.093 in)" in (folder / "sheet.html").read_text(encoding="utf-8")
    assert "uncertainty of the flow, at 420 m³/h" in done.out
    refused = command.run(
        "point", "show", "bottling-hall-header.yaml", "--sheet", "nowhere/sheet.html", cwd=folder
    )
    assert (refused.status, "cannot be written" in refused.err) == (2, True)


def test_a_nominal_65_is_warned_of(command: ModuleType, folder: Path) -> None:
    """68.9 mm of EN 10255 medium under the name of a 62.68 mm pipe: 17.2 % too low."""
    file = folder / "bottling-hall-header.yaml"
    text = file.read_text(encoding="utf-8").replace("  wall_thickness: 3.6 mm\n", "")
    text = text.replace("  diameter_set_in_meter: 53.1 mm\n", "")
    text = text.replace("outside_diameter: 60.3 mm", "standard: ASME B36.10M Sch 40 DN 65")
    file.write_text(text, encoding="utf-8")
    done = command.run("point", "show", "bottling-hall-header.yaml", cwd=folder)
    assert "if it is EN 10255 medium DN 65 instead, the flow is told 17.2 % too low" in done.out


def test_a_faulty_point_is_not_shown(command: ModuleType, folder: Path) -> None:
    file = folder / "bottling-hall-header.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace("7 bar(g)", "7 bar"), encoding="utf-8")
    done = command.run("point", "show", "bottling-hall-header.yaml", cwd=folder)
    assert (done.status, done.out) == (2, "")
    assert "gauge or absolute" in done.err


def test_a_map_that_is_not_there_leaves_the_rest(command: ModuleType, folder: Path) -> None:
    (folder / "insertion-meter.yaml").unlink()
    done = command.run("point", "check", "bottling-hall-header.yaml", cwd=folder)
    assert done.status == 2
    assert "insertion-meter.yaml cannot be read" in done.out
