"""A point file that says enough gives the page its sketch and its uncertainty; a correction stands beside."""

import re
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from readout.report.language.words import Language, Words
from readout.report.page import page
from readout.review.review import Review, review
from storage.archive import Archive
from storage.ledger import Kind

POINT_FILE = """\
measuring_point: 1
name: NAME
job: job.yaml
role: header flow
meter: {map: map.yaml, serial_number: EX-0042}
line: {port: COM7}
pipe:
  inside_diameter: 53.1 mm
  wall_thickness: 3.6 mm
  diameter_set_in_meter: 53.1 mm
  probe: {position: centre, stem_diameter: 10 mm, fitting_height: 60 mm, sensor_to_tip: 8 mm}
conditions: {fluid: air, pressure: 7 bar(g), temperature: 25 degC}
reference: {temperature: 20 degC, pressure: 1 bar(a)}
uncertainty: {velocity: {of_reading: 2 %}, inside_diameter: 0.2 mm}
"""


@pytest.fixture(scope="module")
def found(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Review:
    """Two hours at 60 m3/h, corrected to 66 m3/h by the ledger."""
    root: Path = tmp_path_factory.mktemp("place") / "archive"
    dues = hall.every(10_000, "2026-05-05T08:00+01:00", "2026-05-05T10:00+01:00")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(10_000, file=POINT_FILE), dues, lambda due: (60.0, 7000, None))
        hall.seal(archive, dues[-1] + hall.HOUR)
        content = {
            "point": hall.POINT,
            "from": "2026-05-05T07:00:00+00:00",
            "set": {"pipe.inside_diameter": "55.7 mm"},
            "was": {"pipe.inside_diameter": "53.1 mm"},
            "flow_factor": 1.1,
            "computed_with_mm": 53.1,
            "why": "measured with a caliper",
        }
        archive.ledger.append(Kind.POINT, content)
    made = review(root, hall.POINT)
    assert made is not None
    return made


def test_the_mean_flow_is_told_with_its_uncertainty_and_conditions(found: Review) -> None:
    html = page([found], Words(), "Audit")
    told = re.search(r"The mean flow is 66\.?(\d*) ± (?:\d+)\.?(\d*) m³/h", html)
    assert told is not None
    assert len(told[1]) == len(told[2]), "a value ends where its uncertainty ends (JCGM 100:2008, 7.2.6)"
    assert " m³/h at 20 °C, 1 bar(a); the total has the same ± " in html


def test_the_probe_is_drawn_as_on_its_sheet(found: Review) -> None:
    html = page([found], Words(), "Audit")
    assert '<figure class="sketch"><svg' in html


def test_raw_stands_beside_corrected(found: Review) -> None:
    """60 m3/h as the meter told it, 66 m3/h after the factor of 1.1."""
    html = page([found], Words(), "Audit")
    row = '<th scope="row"><bdi>mean</bdi></th><td><bdi>60</bdi></td><td><bdi>66</bdi></td>'
    assert row in html
    assert "measured with a caliper" in html


def test_a_pressure_that_never_moves_blames_no_peak(found: Review) -> None:
    """Flow and pressure constant, and nothing measured out of hours: no problem is made of it."""
    html = page([found], Words(), "Audit")
    assert "the pressure hardly moved" in html
    assert "Nothing was measured out of hours" in html
    assert "pulls the pressure down" not in html


def test_a_list_of_pipes_that_stayed_at_home_is_told(hall: ModuleType, tmp_path: Path) -> None:
    """The archive keeps the point file, not the list that it names: no uncertainty, but a page."""
    size = POINT_FILE.replace(
        "inside_diameter: 53.1 mm\n  wall", "standard: works list DN 50\n  table: a.csv\n  wall"
    )
    file = size.replace("  wall_thickness: 3.6 mm\n", "").replace(
        "inside_diameter: 0.2 mm", "pressure: 0.1 bar"
    )
    dues = hall.every(60_000, "2026-05-05T08:00+01:00", "2026-05-05T09:00+01:00")
    with Archive.open(tmp_path / "archive") as archive:
        hall.fill(archive, hall.record(60_000, file=file), dues, lambda due: (60.0, 7000, None))
        hall.seal(archive, dues[-1] + hall.HOUR)
    made = review(tmp_path / "archive", hall.POINT)
    assert made is not None
    told = page([made], Words(), "Audit")
    assert "the list of pipes is not at hand, and &#39;works list DN 50&#39; is of it" in told
    assert "53.1 mm" not in told


def test_cautions_are_for_the_maps_fluid_where_the_point_file_has_no_pipe(
    hall: ModuleType, tmp_path: Path
) -> None:
    """A bench: nothing is said of a pipe, and the map says `fluid: compressed air`."""
    bench = POINT_FILE.partition("pipe:")[0]
    air = hall.MAP.replace("principle: thermal", "principle: thermal\nfluid: compressed air")
    dues = hall.every(10_000, "2026-05-05T08:00Z", "2026-05-05T08:10Z")
    with Archive.open(tmp_path / "archive") as archive:
        hall.fill(
            archive, hall.record(10_000, file=bench, map_text=air), dues, lambda due: (60.0, 7000, None)
        )
        hall.seal(archive, dues[-1] + hall.HOUR)
    made = review(tmp_path / "archive", hall.POINT)
    assert made is not None
    html = page([made], Words(), "Bench")
    assert "Cautions for whoever goes back to the pipe" in html
    assert "is not air or an inert gas" not in html
    assert "Peak or pressure: 10 minutes are too few to tell." in html


SETTINGS = "The meter&#39;s settings:"
NARROW = {"inside_diameter": {"value": 53.1, "unit": "mm", "flag": None}}
SAME = {"inside_diameter": {"value": 2.1457, "unit": "in", "flag": None}}  # 54.5 mm
MEASURED_BORE = POINT_FILE.replace(
    "inside_diameter: 53.1 mm\n  wall", "inside_diameter: 54.5 mm\n  wall"
).replace("  diameter_set_in_meter: 53.1 mm\n", "")
#: (54.5/53.1)² = 1.053425, and its reciprocal less 1 = -5.07 %, recomputed by hand.
RIGHT = 1.053425


def _set(hall: ModuleType, root: Path, settings: dict[str, Any], *factors: tuple[str, float]) -> Review:
    """Ten minutes in the 54.5 mm pipe with these settings, and the ledger's factors to flows since a time."""
    dues = hall.every(60_000, "2026-05-05T08:00Z", "2026-05-05T08:10Z")
    with Archive.open(root / "archive") as archive:
        record = hall.record(60_000, file=MEASURED_BORE, settings=settings)
        hall.fill(archive, record, dues, lambda due: (60.0, 7000, None))
        hall.seal(archive, dues[-1] + hall.HOUR)
        for since, factor in factors:
            content = {
                "point": hall.POINT, "from": since, "set": {"pipe.diameter_set_in_meter": "53.1 mm"},
                "was": {}, "flow_factor": factor, "computed_with_mm": 53.1,
            }  # fmt: skip
            archive.ledger.append(Kind.POINT, content)
    made = review(root / "archive", hall.POINT)
    assert made is not None
    return made


def test_a_meter_set_to_another_diameter_is_told_first(hall: ModuleType, tmp_path: Path) -> None:
    made = _set(hall, tmp_path, NARROW)
    told = (
        "The meter&#39;s settings: the meter computes with an inside diameter of 53.1 mm and the pipe has "
        "54.5 mm (given as inside diameter, assumed): it reads 5.1 % low. "
        "The figures on this page are not corrected for it."
    )
    assert page([made], Words(), "Audit").count(told) == 2  # among the answers, and in its section
    german = page([made], Words(Language.GERMAN), "Audit")
    assert "und das Rohr hat 54,5 mm" in german
    assert "Es zeigt 5,1\u00a0% zu wenig an. Die Zahlen auf dieser Seite sind dafür nicht" in german


def test_nobody_is_told_to_correct_twice(hall: ModuleType, tmp_path: Path) -> None:
    made = _set(hall, tmp_path, NARROW, ("2026-05-05T08:00:00+00:00", RIGHT))
    html = page([made], Words(), "Audit")
    assert SETTINGS not in html
    assert html.count("the figures on this page are corrected for it already, see the corrections") == 1


def test_another_factor_than_the_settings_ask_for_is_told(hall: ModuleType, tmp_path: Path) -> None:
    html = page([_set(hall, tmp_path, NARROW, ("2026-05-05T08:00:00+00:00", 1.1))], Words(), "Audit")
    assert "are corrected for it by a factor of 1.1, and 1.053 would be right." in html


def test_a_correction_from_the_middle_on_leaves_the_rest(hall: ModuleType, tmp_path: Path) -> None:
    """Dublin's clock is an hour ahead of UTC in May."""
    html = page([_set(hall, tmp_path, NARROW, ("2026-05-05T08:05:00+00:00", RIGHT))], Words(), "Audit")
    begin, middle, end = (f"2026-05-05 09:{minute} (UTC+0100)" for minute in ("00", "05", "10"))
    assert f"From {begin} until {middle}: {SETTINGS} the meter computes" in html
    assert f"From {middle} until {end}: The meter computes with another inside diameter" in html


def test_a_meter_set_right_in_between_is_told_with_its_time(hall: ModuleType, tmp_path: Path) -> None:
    dues = hall.every(60_000, "2026-05-05T08:00Z", "2026-05-05T08:10Z")
    with Archive.open(tmp_path / "archive") as archive:
        for settings, some in ((NARROW, dues[:5]), (SAME, dues[5:])):
            record = hall.record(60_000, file=MEASURED_BORE, settings=settings)
            hall.fill(archive, record, some, lambda due: (60.0, 7000, None))
            hall.seal(archive, dues[-1] + hall.HOUR)
    made = review(tmp_path / "archive", hall.POINT)
    assert made is not None
    html = page([made], Words(), "Audit")
    told = f"From 2026-05-05 09:00 (UTC+0100) until 2026-05-05 09:05 (UTC+0100): {SETTINGS} the meter"
    assert html.count(told) == html.count(SETTINGS) == 2


def test_other_settings_are_told_as_well_and_nothing_where_all_agrees(
    hall: ModuleType, tmp_path: Path
) -> None:
    """1 m³ at 0 °C is 293.15/273.15 m³ at 20 °C: read as those, the flow is 6.8 % low."""
    cold = {"reference_temperature": {"value": 0, "unit": "degC", "flag": None}}
    html = page([_set(hall, tmp_path / "cold", cold)], Words(), "Audit")
    assert "taken for those, it reads 6.8 % low; they have to be converted. The figures" in html
    assert SETTINGS not in page([_set(hall, tmp_path / "same", SAME)], Words(), "Audit")


def test_a_meter_that_was_set_right_is_not_corrected_without_a_word(hall: ModuleType, tmp_path: Path) -> None:
    html = page([_set(hall, tmp_path, SAME, ("2026-05-05T08:00:00+00:00", RIGHT))], Words(), "Audit")
    assert "own inside diameter, and the figures on this page are multiplied by 1.053 all the same" in html
    assert "the point file says that it is set to 53.1 mm: set one of them right.<" in html
