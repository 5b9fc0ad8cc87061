"""What a point file said, corrected afterwards: checked as the file is, with its effect on the flow."""

import re
from decimal import Decimal
from pathlib import Path

import pytest

from readout.errors import WrongUse
from readout.measuring_point.amendment.amend import Amended, amended, change_of
from readout.measuring_point.amendment.lines import file_lines
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
    told = "53.10 mm (outside_diameter: 60.3 mm, wall_thickness: 3.6 mm)"  # 60.3 − 2 × 3.6
    assert found.was == {"pipe.inside_diameter": told}


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


@pytest.mark.parametrize("key", ["pipe.inside_diameter=54.5mm", "pipe.diameter_set_in_meter=53.1 mm"])
def test_two_diameters_that_the_file_tells_already_are_a_correction_when_written_again(
    tmp_path: Path, key: str
) -> None:
    """Known before the recording, and left in the meter: (54.5/53.1)² − 1 = +5.34 %."""
    file = tmp_path / "p.yaml"
    file.write_text(
        "measuring_point: 1\nname: header\nsite: {name: Hall, time_zone: UTC}\nmeter: {map: m.yaml}\n"
        "line: {port: COM7}\npipe: {inside_diameter: 54.5 mm, diameter_set_in_meter: 53.1 mm}\n"
    )
    found = amend(key, file=file)
    assert found.diameter is not None
    assert found.diameter.percent == pytest.approx(5.34, abs=0.005)
    assert amend("role=branch flow", "pipe.diameter_from=measured", file=file).diameter is None


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
        ("role=[", "a value is expected here, not the end of the line"),
    ],
)
def test_what_a_file_may_not_say_is_refused_in_the_same_words(text: str, wanted: str) -> None:
    with pytest.raises(WrongUse, match=re.escape(wanted)):
        amend(text)


@pytest.mark.parametrize(
    ("pipe", "change", "lines"),
    [
        (
            "{standard: EN 10255 medium DN 50, diameter_set_in_meter: 52 mm}",
            "pipe.inside_diameter=54.5 mm",
            [
                "pipe:",
                "  inside_diameter: 54.5 mm  # in place of `standard`",
                # EN 10255 medium DN 50: 60.3 mm outside, 3.6 mm wall; (60.3 − 54.5) / 2 = 2.9
                "  wall_thickness: 2.90 mm  # 60.30 mm outside less the bore",
                "  diameter_from: measured  # if it was",
            ],
        ),
        (  # a wall of 3.6 mm does not go with a bore of 54.5 mm in 60.3 mm: it would shift the mark
            "{outside_diameter: 60.3 mm, wall_thickness: 3.6 mm, diameter_set_in_meter: 52 mm}",
            "pipe.inside_diameter=54.5 mm",
            [
                "pipe:",
                "  inside_diameter: 54.5 mm  # in place of `outside_diameter`",
                "  wall_thickness: 2.90 mm  # 60.30 mm outside less the bore, halved, for the mark on the "
                "stem; measure it; in place of 3.6 mm",
                "  diameter_from: measured  # if it was",
            ],
        ),
        (
            "{inside_diameter: 53.1 mm, diameter_from: measured}",
            "pipe.inside_diameter=54.5 mm",
            [
                "pipe:",
                "  inside_diameter: 54.5 mm",
                "  diameter_set_in_meter: 53.10 mm  # as long as the meter is set to that",
            ],
        ),
        (
            "{inside_diameter: 53.1 mm}",
            "conditions.pressure=6 bar(g)",
            ["conditions:", "  pressure: 6 bar(g)"],
        ),
        ("{inside_diameter: 53.1 mm}", "role=branch flow", ["role: branch flow"]),
    ],
)
def test_the_lines_for_the_point_file_are_such_as_it_takes(
    tmp_path: Path, pipe: str, change: str, lines: list[str]
) -> None:
    """With them the file is without faults, and nothing of the old size is lost."""
    file = tmp_path / "p.yaml"
    rest = "measuring_point: 1\nname: header\nsite: {name: Hall, time_zone: UTC}\nmeter: {map: m.yaml}\n"
    file.write_text(f"{rest}line: {{port: COM7}}\npipe: {pipe}\n")
    _, before = read_point(file)
    assert before is not None
    found = amend(change, file=file)
    told = file_lines(before, found, [change_of(change)])
    assert [line[: len(wanted)] for line, wanted in zip(told, lines, strict=True)] == lines
    if not told[0].startswith("pipe"):
        told.append(f"pipe: {pipe}")
    elif "diameter_set_in_meter" in pipe:
        told.append("  diameter_set_in_meter: 52 mm")
    file.write_text(f"{rest}line: {{port: COM7}}\n" + "\n".join(told) + "\n")
    files, again = read_point(file)
    assert again is not None, [str(fault) for report in files.reports for fault in report.faults()]


def test_a_standards_bore_is_told_as_what_it_replaces(tmp_path: Path) -> None:
    """EN 10255 medium, DN 50: 60.3 mm outside, 3.6 mm wall, so 53.1 mm inside."""
    file = tmp_path / "p.yaml"
    file.write_text(
        "measuring_point: 1\nname: header\nsite: {name: Hall, time_zone: UTC}\nmeter: {map: m.yaml}\n"
        "line: {port: COM7}\npipe: {standard: EN 10255 medium DN 50}\n"
    )
    found = amend("pipe.inside_diameter=54.5 mm", file=file)
    assert found.was == {"pipe.inside_diameter": "53.10 mm (standard: EN 10255 medium DN 50)"}
