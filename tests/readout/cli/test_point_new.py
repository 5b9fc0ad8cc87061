"""`point new` as a technician calls it: answers typed, options given, and last year's archive."""

import json
import shlex
import shutil
import subprocess
from pathlib import Path
from types import ModuleType

import pytest

from protocols.register_map.parse import parse_map
from readout.measuring_point.point import parse_point
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
OPTIONS = (
    "--set", "name=header-1", "--set", "site.name=Hollow Mere bottling hall",
    "--set", "site.time_zone=Europe/Dublin", "--set", "meter.map=insertion-meter.yaml",
    "--set", "line.port=./meter-port",
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copy(DEMO / "insertion-meter.yaml", tmp_path)
    return tmp_path


def test_options_alone_make_a_point(command: ModuleType, folder: Path) -> None:
    done = command.run(
        "point",
        "new",
        "h.yaml",
        *OPTIONS,
        "--set",
        "pipe.standard=EN 10255 medium DN 50",
        "--json",
        cwd=folder,
    )
    assert done.status == 0, done
    assert json.loads(done.out) == {"file": "h.yaml", "point": "header-1", "faults": []}
    assert "arithmetic, not permission" in done.err
    shown = command.run("point", "show", "h.yaml", "--json", cwd=folder)
    assert json.loads(shown.out)["pipe"]["inside_diameter_mm"] == 53.1


def test_a_file_is_never_overwritten(command: ModuleType, folder: Path) -> None:
    (folder / "h.yaml").write_text("mine")
    done = command.run("point", "new", "h.yaml", *OPTIONS, cwd=folder)
    assert done.status == 2
    assert (folder / "h.yaml").read_text() == "mine"


def test_nobody_there_to_answer_is_told_the_options(command: ModuleType, folder: Path) -> None:
    done = subprocess.run(
        [str(command.PROGRAM), "point", "new", "h.yaml"],
        cwd=folder, input="", capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "--set meter.map=" in done.stderr
    assert not (folder / "h.yaml").exists()


def test_answers_that_end_too_early_are_told_as_options_that_go_on(command: ModuleType, folder: Path) -> None:
    """One line too many at the name: back, and on; the options told then make the file."""
    typed = "headr-1\nback\nheader-1\n\nHollow Mere bottling hall\nEurope/Dublin\n"
    done = subprocess.run(
        [str(command.PROGRAM), "point", "new", "h.yaml"],
        cwd=folder, input=typed, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert not (folder / "h.yaml").exists()
    assert (
        "nothing was written; still needed, in a script: --set meter.map=… --set line.port=…" in done.stderr
    )
    (line,) = [line for line in done.stderr.splitlines() if line.startswith("  pipeledger point new h.yaml")]
    words = shlex.split(line)[1:]
    assert words[3:] == [
        "--set", "name=header-1", "--set", "site.name=Hollow Mere bottling hall",
        "--set", "site.time_zone=Europe/Dublin",
    ]  # fmt: skip
    done = command.run(*words, *OPTIONS[-4:], cwd=folder)
    assert done.status == 0, done
    assert parse_point(folder / "h.yaml").faults == ()


def test_a_wrong_answer_is_asked_again(command: ModuleType, folder: Path) -> None:
    """Typed in: a length without its unit, a pressure that does not say which."""
    answers = [
        "header-1", "", "Hollow Mere", "Europe/Dublin", "1.008 bar(a)", "header flow",
        "insertion-meter.yaml", "20", "", "", "./meter", "60.3", "60.3 mm", "3.6 mm", "measured", "53.1 mm",
        "centre", "10 mm", "142 mm", "8 mm", "1.8 m", "single elbow", "0.6 m", "air", "7 bar", "7 bar(g)",
        "25 degC", "40 m3/h to 420 m3/h", "20 degC", "1 bar(a)", "1 s",
    ]  # fmt: skip
    done = subprocess.run(
        [str(command.PROGRAM), "point", "new", "h.yaml"],
        cwd=folder, input="\n".join(answers) + "\n", capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "no number with a unit" in done.stderr
    assert "gauge or absolute" in done.stderr
    parsed = parse_point(folder / "h.yaml")
    assert parsed.faults == ()
    shown = json.loads(command.run("point", "show", "h.yaml", "--json", cwd=folder).out)
    assert (shown["insertion"]["mark_mm"], shown["missing"]) == (180.15, [])


def test_what_contradicts_itself_is_written_and_told(command: ModuleType, folder: Path) -> None:
    wide = ("--set", "pipe.outside_diameter=60.3 mm", "--set", "pipe.wall_thickness=31 mm")
    done = command.run("point", "new", "h.yaml", *OPTIONS, *wide, cwd=folder)
    assert done.status == 1
    assert "leave no bore" in done.out
    assert (folder / "h.yaml").exists()


def test_next_years_point_begins_with_the_archive(command: ModuleType, tmp_path: Path) -> None:
    """Recorded, corrected in the ledger, repeated in an empty folder: the correction is in the new file."""
    shutil.copytree(DEMO, tmp_path / "hall")
    parsed = parse_map((DEMO / "insertion-meter.yaml").read_bytes(), "insertion-meter.yaml")
    assert parsed.map is not None
    hall, point, archive = tmp_path / "hall", "bottling-hall-header.yaml", str(tmp_path / "kept")
    with SimulatedLine([SimulatedMeter(parsed.map)], end=PtyEnd(hall / "meter-port")):
        done = command.run("log", point, "--archive", archive, "--every", "500ms", "--for", "1s", cwd=hall)
    assert done.status == 0, done
    (tmp_path / "new").mkdir()
    done = command.run("point", "new", point, "--from", archive, cwd=tmp_path / "new")
    assert done.status == 0, done
    for name in (point, "job.yaml", "insertion-meter.yaml"):
        assert (tmp_path / "new" / name).read_bytes() == (hall / name).read_bytes()
    wider = ("--set", "pipe.inside_diameter=54.5mm")
    command.run("point", "amend", point, "--from", "2026-05-03", *wider, "--archive", archive, cwd=hall)
    again = ("--from", archive, "--set", "line.port=./other")
    done = command.run("point", "new", "again.yaml", *again, cwd=tmp_path / "new")
    assert done.status == 0, done
    assert "pipe.inside_diameter = 54.5mm" in done.err
    found = parse_point(tmp_path / "new/again.yaml").point
    assert found is not None
    assert found.pipe is not None
    assert str(found.pipe.inside_diameter) == "54.5 mm"
    assert found.line.port == "./other"
    refused = command.run("point", "new", "b.yaml", "--from", archive, "--point", "b", cwd=tmp_path / "new")
    assert (refused.status, "it has bottling-hall-header" in refused.err) == (2, True)
