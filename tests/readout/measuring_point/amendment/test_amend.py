"""What a point file said, corrected afterwards: checked as the file is, with its effect on the flow."""

import re
from decimal import Decimal
from pathlib import Path

import pytest

from readout.errors import WrongUse
from readout.measuring_point.amendment.amend import Amended, amended, change_of
from readout.measuring_point.pipe.bore import bore_of
from readout.measuring_point.point import read_point

DEMO = Path(__file__).parents[4] / "demo_data/bottling_hall/bottling-hall-header.yaml"


def amend(*texts: str, file: Path = DEMO) -> Amended:
    files, point = read_point(file)
    assert point is not None
    return amended(files, point, [change_of(text) for text in texts])


def test_a_wider_pipe_than_set_in_the_meter_raises_the_flow() -> None:
    """53.1 mm set in the meter, 54.5 mm true: (54.5/53.1)² − 1 = +5.34 %, recomputed by hand."""
    found = amend("pipe.inside_diameter=54.5mm")
    assert found.diameter is not None
    assert found.diameter.percent == pytest.approx(5.34, abs=0.005)
    assert found.diameter.said_by == "pipe: diameter_set_in_meter"
    assert found.was == {"pipe.inside_diameter": None}


def test_the_new_size_stands_in_place_of_the_old_one() -> None:
    found = amend("pipe.inside_diameter=54.5mm")
    assert found.point.pipe is not None
    assert found.point.pipe.outside_diameter is None
    assert bore_of(found.point.pipe).inside_mm == Decimal("54.5")


def test_a_corrected_wall_leads_to_the_same() -> None:
    """60.3 − 2 × 2.9 = 54.5 mm."""
    found = amend("pipe.wall_thickness=2.9 mm", "pipe.diameter_from=measured")
    assert found.diameter is not None
    assert found.diameter.percent == pytest.approx(5.34, abs=0.005)
    assert found.was == {"pipe.wall_thickness": "3.6 mm", "pipe.diameter_from": "measured"}


def test_without_the_meters_own_diameter_the_files_is_taken(tmp_path: Path) -> None:
    file = tmp_path / "p.yaml"
    file.write_text(
        "measuring_point: 1\nname: header\nsite: {name: Hall, time_zone: UTC}\nmeter: {map: m.yaml}\n"
        "line: {port: COM7}\npipe: {inside_diameter: 53.1 mm}\n"
    )
    found = amend("pipe.inside_diameter=54.5 mm", file=file)
    assert found.diameter is not None
    assert found.diameter.percent == pytest.approx(5.34, abs=0.005)
    assert found.diameter.said_by == "the point file's diameter before"


def test_other_keys_do_not_touch_the_diameter() -> None:
    found = amend("conditions.pressure=6.5 bar(g)", "role=branch flow")
    assert found.diameter is None
    assert found.was == {"conditions.pressure": "7 bar(g)", "role": "header flow"}
    assert found.point.role == "branch flow"
    assert found.point.conditions is not None
    assert str(found.point.conditions.pressure) == "6.5 bar(g)"
    assert str(found.point.conditions.temperature) == "25 degC"


def test_a_key_of_the_job_is_amended_beside_its_others() -> None:
    found = amend("site.atmospheric_pressure=0.99 bar(a)")
    assert str(found.point.site.atmospheric_pressure) == "0.99 bar(a)"
    assert found.point.site.time_zone == "Europe/Dublin"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("pipe.inside_diameter", "write KEY=VALUE"),
        ("=54.5mm", "write KEY=VALUE"),
        ("pipe..x=1", "write KEY=VALUE"),
        ("pipe.inside_diameter=54.5", "no number with a unit"),
        ("pipe.inside_diameter=54,5 mm", "decimal comma"),
        ("pipe.wall_thickness=31 mm", "leave no bore"),
        ("pipe.insidediameter=54.5 mm", "unknown key"),
        ("pipe.probe=54.5 mm", "where a mapping is expected"),
        ("conditions.pressure=7 bar", "gauge or absolute"),
        ("conditions.pressure=-2 bar(g)", "below vacuum"),
        ("role.x=1", "has no keys of its own"),
        ("name=other", "is not amended"),
        ("meter.map=other.yaml", "is another installation"),
        ("role=*a", "alias"),
        ("role=[", "YAML"),
    ],
)
def test_what_a_file_may_not_say_is_refused_in_the_same_words(text: str, wanted: str) -> None:
    with pytest.raises(WrongUse, match=re.escape(wanted)):
        amend(text)
