"""A point file that says enough gives the page its sketch and its uncertainty; a correction stands beside."""

from pathlib import Path
from types import ModuleType

import pytest

from readout.report.language.words import Words
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
    assert "The mean flow is 66 ± " in html
    assert " m3/h at 20 degC, 1 bar(a); the total has the same ± " in html


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
