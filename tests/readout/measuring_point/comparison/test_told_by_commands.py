"""`log` and `memory fetch` say at their start how the meter is set otherwise than the point file says."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine

DEMO = Path(__file__).parents[4] / "demo_data/bottling_hall"
POINT = "bottling-hall-header.yaml"


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[Path]:
    """The demonstration's meter, set to 53.1 mm, in a pipe that is 54.5 mm wide."""
    shutil.copytree(DEMO, tmp_path / "hall")
    file = tmp_path / "hall" / POINT
    text = file.read_text(encoding="utf-8").replace("wall_thickness: 3.6 mm", "wall_thickness: 2.9 mm")
    file.write_text(text, encoding="utf-8")
    parsed = parse_map((DEMO / "insertion-meter.yaml").read_bytes(), "insertion-meter.yaml")
    assert parsed.map is not None
    with SimulatedLine([SimulatedMeter(parsed.map)], end=PtyEnd(tmp_path / "hall/meter-port")):
        yield tmp_path / "hall"


def test_log_says_that_the_meter_reads_low_and_records_all_the_same(command: ModuleType, hall: Path) -> None:
    """(53.1/54.5)² − 1 = −5.1 %."""
    done = command.run("log", POINT, "--archive", "kept", "--every", "500ms", "--for", "1s", cwd=hall)
    assert done.status == 0
    assert "53.1 mm and the pipe has 54.5 mm" in done.err
    assert "it reads 5.1 % low" in done.err
    assert done.err.count("reads 5.1 % low") == 1
    assert "2 rows (2 ok)" in done.err


def test_fetching_says_it_too(command: ModuleType, hall: Path) -> None:
    done = command.run("memory", "fetch", POINT, "--archive", "kept", cwd=hall)
    assert "it reads 5.1 % low" in done.err
