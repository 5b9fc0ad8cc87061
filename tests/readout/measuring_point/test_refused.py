"""What a point file may not say, each told at its place."""

import random
from pathlib import Path

import pytest

from readout.measuring_point.load import load_point
from readout.measuring_point.point import parse_point

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
HEAD = "measuring_point: 1\nname: header-1\nmeter: {map: m.yaml}\nline: {port: COM7}\n"
SITE = "site: {name: Hall, time_zone: UTC}\n"

#: A fifth line, the column of its fault, and words of it.
LINES = [
    ("pipe: {outside_diameter: 60.3, wall_thickness: 3.6 mm}", 26, "no number with a unit"),
    ("pipe: {outside_diameter: 60.3 bar, wall_thickness: 3.6 mm}", 26, "bar is a unit of pressure"),
    ("pipe: {outside_diameter: 60.3 mm}", 7, "wall_thickness"),
    ("pipe: {outside_diameter: 60.3 mm, wall_thickness: 31 mm}", 51, "leave no bore"),
    (
        "pipe: {outside_diameter: 60.3 mm, inside_diameter: 53 mm, wall_thickness: 3.6 mm}",
        7,
        "exactly one of",
    ),
    ("pipe: {outside_diameter: 2.4 in, wall_thickness: 31 mm}", 50, "less than 30.48 mm"),
    ("pipe: {circumference: 189.4 mm, wall_thickness: 31 mm}", 49, "leave no bore"),
    ("pipe: {inside_diameter: 53.1}", 25, "no number with a unit"),
    ("pipe: {standard: EN 10255 heavy DN 50}", 18, "allowed: EN 10255 medium or ASME"),
    ("pipe: {standard: EN 10255 medium DN 200}", 18, "has no DN 200"),
    ("pipe: {inside_diameter: 53 mm, table: pipes.csv}", 39, "needs the size"),
    ("pipe: {inside_diameter: 9 mm, probe: {stem_diameter: 10 mm}}", 54, "does not go into a bore of 9 mm"),
    ("pipe: {inside_diameter: 53 mm, probe: {far_wall: touch}}", 50, "may be touched"),
    ("pipe: {inside_diameter: 53 mm, inlet_run: {length: 1 m, asked_by_manual: 20 D}}", 74, "a number"),
    ("pipe: {inside_diameter: -53 mm}", 25, "more than 0"),
    ("conditions: {pressure: -1.02 bar(g)}", 24, "below vacuum; more than -1.01325 bar(g)"),
    ("conditions: {pressure: 0 bar(a)}", 24, "below vacuum"),
    ("conditions: {temperature: -300 degC}", 27, "more than -273.15 degC"),
    ("conditions: {fluid: compressed air}", 21, "allowed: air, nitrogen"),
    ("reference: {temperature: -1 K, pressure: 1 bar(a)}", 26, "below absolute zero"),
    ("pipe: {inside_diameter: 53 mm, diameter_from: meassured}", 47, "did you mean measured"),
    ("pipe: {inside_diameter: 53 mm, probe: {position: center}}", 50, "did you mean centre"),
    ("pipe: {inside_diameter: 53 mm, inlet_run: {after: elbow, length: 1 m}}", 51, "single elbow"),
    (
        "pipe: {inside_diameter: 53,1 mm}",
        25,
        "a decimal comma? '53,1 mm' reads as two entries here; write 53.1 mm",
    ),
    (
        "pipe: {standard:DN50, wall_thickness: 3 mm}",
        8,
        "has no value; write a space behind the colon: 'standard: DN50'",
    ),
    ("units: flow:m3/h", 8, "where a mapping is expected; write a space behind the colon: 'flow: m3/h'"),
    ("conditions: {pressure: 7 bar}", 24, "gauge or absolute"),
    ("conditions: {expected_flow: 40 to 420 m3/h}", 29, "no number with a unit"),
    ("conditions: {expected_flow: 420 m3/h to 40 m3/h}", 29, "lower end first"),
    ("conditions: {expected_flow: 420 m3/h}", 29, "no span"),
    ("conditions: {expected_flow: 1 m3/h to 9 m3/min}", 29, "same unit"),
    ("conditions: {expected_flow: 1 scfm to 9 scfm}", 29, "hides its reference conditions"),
    ("reference: {temperature: 0 degC, pressure: 1 bar(g)}", 44, "write bar(a)"),
    ("reference: {temperature: 0 degC}", 12, "lacks the key 'pressure'"),
    ("units: {pressure: bar}", 19, "bar(g) or bar(a)"),
    ("units: {flow: bar(g)}", 15, "unit of pressure"),
    ("energy: {price: 0.21 EUR}", 17, "0.21 EUR/kWh"),
    ("energy: {price: 0.21}", 17, "0.21 EUR/kWh"),
    ("record: {every: 10 ms}", 17, "out of range"),
    ("record: {every: 12:30}", 17, "base 60"),
    ("calendar: {production: Mo-Fr}", 24, "no list of weekdays"),
    ("calendar: {closed: [2026-02-30]}", 21, "no day of the calendar"),
    ('calendar: {shifts: {late: "22:00-22:00"}}', 27, "begins when it ends"),
    ("uncertainty: {velocity: {of_full_scale: 0.3 %}}", 25, "needs full_scale"),
    ("uncertainty: {inside_diameter: {half_width: 1 mm, k: 2, distribution: normal}}", 54, "not both"),
    ("uncertainty: {velocty: 2 %}", 15, "did you mean velocity"),
    ("pipe: {inside_diameter: 53 mm, fitting_height: 142 mm}", 32, "but of its 'probe': write it there"),
    ("pipe: {inside_diameter: 53 mm, length: 2 m}", 32, "but of its 'inlet_run' or 'outlet_run': write"),
    ("pipe: {inside_diameter: 53 mm, probe: {wall_thickness: 3 mm}}", 40, "but of the pipe, one level up"),
    ("pipe: {inside_diameter: 53 mm, probe: {customer: we}}", 40, "of the measuring point, 2 levels up"),
    ("pipe: {inside_diameter: 53 mm, probe: {after: tee}}", 40, "but of 'inlet_run', beside it"),
    ("stem_length: 400 mm", 1, "but of its 'pipe: probe': write it there"),
    ("units: {at: 7 bar(g)}", 9, "no key of units, but of 'energy', beside it"),
    ("units: {length: mm}", 9, "known: flow, velocity"),
    ("role: header", 7, "did you mean header flow"),
    ("job: missing.yaml", 6, "cannot be read"),
    ("aim: &a everything", 6, "an anchor"),
]


@pytest.mark.parametrize(("line", "column", "wanted"), LINES)
def test_a_wrong_line_is_told_at_its_column(tmp_path: Path, line: str, column: int, wanted: str) -> None:
    (tmp_path / "p.yaml").write_text(HEAD + line + "\n" + SITE)
    parsed = parse_point(tmp_path / "p.yaml")
    assert parsed.point is None
    assert any((f.line, f.column) == (5, column) and wanted in f.fault for f in parsed.faults), parsed.faults


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("site: {name: Hall, time_zone: UTC, atmospheric_pressure: '7'}",
         "'7': no number with a unit; write both, such as 1.008 bar(a)"),
        ("site: {name: Hall, time_zone: UTC, atmospheric_pressure: 1 bar(g)}",
         "'1 bar(g)': this pressure is absolute; write bar(a); write such as 1.008 bar(a)"),
        ("conditions: {pressure: '7'}", "'7': no number with a unit; write both, such as 7 bar(g)"),
        ("pipe: {circumference: '190'}", "'190': no number with a unit; write both, such as 189.4 mm"),
        ("uncertainty: {pressure: '5'}", "'5': no number with a unit; write both, such as 0.05 bar"),
        ("pipe: {circumference: '189,4 mm'}", "'189,4 mm': a decimal comma? write 189.4 mm"),
    ],
)  # fmt: skip
def test_a_refused_quantity_shows_an_example_of_its_own_key(tmp_path: Path, line: str, wanted: str) -> None:
    """Not any of its dimension: the air pressure is no 7 bar(g)."""
    (tmp_path / "p.yaml").write_text(HEAD + line + "\n" + (SITE if "site" not in line else ""))
    assert wanted in [fault.fault for fault in parse_point(tmp_path / "p.yaml").faults]


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        (SITE, "", "lacks the key 'site'"),
        ("line: {port: COM7}", "", "lacks the key 'line'"),
        ("{port: COM7}", "{baud_rate: 9600}", "lacks the key 'port'"),
        ("{map: m.yaml}", "{unit_address: 5}", "lacks the key 'map'"),
        ("name: header-1", "", "lacks the key 'name'"),
        ("header-1", "Header_1", "write such as header-1"),
        ("header-1", "'true'", "truth value"),
        ("time_zone: UTC", "time_zone: Dublin", "did you mean Europe/Dublin"),
        ("time_zone: UTC", "time_zone: ../etc/passwd", "no time zone"),
        ("time_zone: UTC", "time_zone: Europe", "no time zone"),
        ("measuring_point: 1", "measuring_point: 2", "format version"),
        ("m.yaml}", "m.yaml, unit_address: 0}", "1 to 247"),
        ("m.yaml}", "m.yaml, owner: theirs}", "allowed: ours, customer"),
    ],
)
def test_a_point_without_what_it_needs_is_refused(tmp_path: Path, old: str, new: str, wanted: str) -> None:
    assert old in HEAD + SITE
    (tmp_path / "p.yaml").write_text((HEAD + SITE).replace(old, new))
    parsed = parse_point(tmp_path / "p.yaml")
    assert parsed.point is None
    assert any(wanted in fault.fault for fault in parsed.faults), parsed.faults


def test_a_missing_map_is_told_at_the_key_that_names_it(tmp_path: Path) -> None:
    (tmp_path / "p.yaml").write_text(HEAD + SITE)
    found = load_point(tmp_path / "p.yaml")
    assert found.point is None
    assert [(fault.line, fault.column) for fault in found.faults] == [(3, 14)]
    assert str(tmp_path / "m.yaml") in found.faults[0].fault


def test_a_missing_point_file_is_told_by_its_name(tmp_path: Path) -> None:
    found = load_point(tmp_path / "nowhere.yaml")
    assert found.point is None
    assert "nowhere.yaml cannot be read: no such file" in str(found.faults[0])


def test_a_folder_in_place_of_a_file_is_a_fault_too(tmp_path: Path) -> None:
    assert load_point(tmp_path).point is None


@pytest.mark.parametrize("seed", range(100))
def test_a_point_with_random_damage_is_answered(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    for name in ("bottling-hall-header.yaml", "job.yaml"):
        text = (DEMO / name).read_text(encoding="utf-8")
        for _ in range(chance.randint(0, 5)):
            at = chance.randrange(len(text))
            mark = chance.choice(["", "0", ",", ":", "{", "]", "\n", "*a", "'", " to ", "(g)", "\x00", "e99"])
            text = text[:at] + mark + text[at + chance.choice([0, 1, 3, 30]) :]
        (tmp_path / name).write_text(text, encoding="utf-8")
    parsed = parse_point(tmp_path / "bottling-hall-header.yaml")
    assert (parsed.point is None) == any(fault.severity == "fault" for fault in parsed.faults)


@pytest.mark.parametrize("port", ["socket://192.0.2.7:4001", "/dev/ttyUSB7", "COM7"])
def test_a_port_given_for_a_point_file_is_told_as_that(port: str) -> None:
    (fault,) = parse_point(Path(port)).faults
    assert "a point file is wanted, which names its port under `line`" in fault.fault


def test_a_point_file_that_is_not_there_is_told_without_talk_of_other_files(tmp_path: Path) -> None:
    (fault,) = parse_point(tmp_path / "nofile.yaml").faults
    assert fault.fault.endswith("cannot be read: no such file or directory; see the path")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("register_map: 1\nmeter: m\nreadings: {flow: {input: 0, type: float32}}\n", "a register map"),
        ("job: 1\ncustomer: Hollow Mere bottling hall\n", "a job file"),
    ],
)
def test_a_file_of_another_kind_is_told_as_that_and_nothing_else(
    tmp_path: Path, text: str, kind: str
) -> None:
    (tmp_path / "given.yaml").write_text(text)
    (fault,) = parse_point(tmp_path / "given.yaml").faults
    assert (fault.line, fault.column) == (1, 1)
    assert fault.fault == f"this is {kind}, not a point file, which begins with `measuring_point: 1`"


def test_a_map_where_the_job_is_wanted_is_told_as_that(tmp_path: Path) -> None:
    (tmp_path / "given.yaml").write_text(f"{HEAD}job: map.yaml\n")
    (tmp_path / "map.yaml").write_text("register_map: 1\nmeter: m\nreadings: {}\n")
    told = [fault.fault for fault in parse_point(tmp_path / "given.yaml").faults]
    assert "this is a register map, not a job file, which begins with `job: 1`" in told
