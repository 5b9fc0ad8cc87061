"""All figures of a place together, against worked examples."""

from pathlib import Path

import pytest

from readout.measuring_point.conditions.gases import Model
from readout.measuring_point.figures.figures import Figures, figures_of
from readout.measuring_point.figures.place import find_place
from readout.measuring_point.figures.text import expected_table, insertion_rows, significant
from readout.measuring_point.flow.expected import Fit

MAP = """\
register_map: 1
meter: Hollow Mere test meter
fluid: FLUID
principle: thermal
serial: {unit_address: 1}
readings:
  velocity: {input: 0, type: float32, unit: m/s, quantity: velocity, basis: actual, range: [0.4, 160]}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin, atmospheric_pressure: 1.01325 bar(a)}
meter: {map: map.yaml}
line: {port: /dev/nothing}
pipe:
  inside_diameter: 53.1 mm
  probe: {position: centre, stem_diameter: 10 mm}
conditions: {pressure: 7 bar(g), temperature: 20 degC, expected_flow: 58.7469 m3/h to 587.469 m3/h}
reference: {temperature: 0 degC, pressure: 1.01325 bar(a)}
"""


def figures(
    tmp_path: Path, *changes: tuple[str, str], fluid: str = "compressed air", model: Model = Model.IDEAL
) -> Figures:
    text = POINT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "map.yaml").write_text(MAP.replace("FLUID", fluid))
    (tmp_path / "point.yaml").write_text(text)
    found = find_place(tmp_path / "point.yaml")
    assert found.place is not None, found.faults
    return figures_of(found.place, model)


def test_the_chain_from_velocity_to_free_air(tmp_path: Path) -> None:
    """53.1 mm, 10 m/s mean, 7 bar(g), 20 °C: constructed, recomputed by hand with the ideal gas."""
    high = figures(tmp_path).expected[-1]
    case = high.case
    assert case.velocity_m_per_s == pytest.approx(10, rel=1e-5)
    assert significant(case.line_flow.amount * 3600) == "79.72"
    volumes = {reference.name: volume.amount * 3600 for reference, volume in high.volumes}
    assert significant(volumes["normal"]) == "587.5"
    assert significant(volumes["free air"]) == "638.8"
    assert case.reynolds == pytest.approx(276930, rel=0.01)


def test_the_mass_flow_of_the_real_gas(tmp_path: Path) -> None:
    """79.7226 m³/h in the pipe are 761.32 kg/h by CoolProp's real air; the expected flow is given as mass."""
    found = figures(
        tmp_path,
        ("58.7469 m3/h to 587.469 m3/h", "76.132 kg/h to 761.32 kg/h"),
        model=Model.REAL,
    )
    assert found.expected[-1].case.line_flow.amount * 3600 == pytest.approx(79.7226, rel=1e-3)


def test_the_terminal_shows_the_chain_to_the_digits_given(tmp_path: Path) -> None:
    shown = {row[0]: row for row in expected_table(figures(tmp_path))}
    assert shown["in the pipe, m³/h"][2] == "79.72"
    assert shown["normal, m³/h"][2] == "587.5"
    assert shown["free air, m³/h"][2] == "638.8"
    assert shown["velocity, m/s"][2] == "10.00"


def test_a_centre_velocity_is_corrected_by_the_profile_unless_the_meter_does(tmp_path: Path) -> None:
    """10 m/s at the centre are 65.1068 m³/h for n = 7 (49/60); here n goes by the Reynolds number."""
    plain = figures(tmp_path).expected[-1]
    assert plain.correction == pytest.approx(49 / 60, rel=0.02)
    assert plain.correction == plain.case.profile_factor
    applied = figures(tmp_path, ("  probe:", "  applied_in_meter: [velocity profile]\n  probe:"))
    assert applied.expected[-1].correction == 1


def test_a_sensor_elsewhere_than_calibrated_for_is_corrected_once(tmp_path: Path) -> None:
    """At the point of mean velocity with the centre's factor applied: about 60/49 (power law, n = 7)."""
    found = figures(
        tmp_path,
        ("position: centre", "position: mean velocity, calibrated_for: centre"),
        ("  probe:", "  applied_in_meter: [velocity profile]\n  probe:"),
    )
    assert found.expected[-1].correction == pytest.approx(60 / 49, rel=0.02)


def test_at_the_point_of_mean_velocity_little_is_to_correct_and_a_millimetre_counts(tmp_path: Path) -> None:
    """±0.2 % for n = 6 to 10 (power law); 1 mm near the wall changes the reading by about 2 %."""
    found = figures(tmp_path, ("position: centre", "position: mean velocity")).expected[-1]
    assert found.correction == pytest.approx(1, abs=0.003)
    assert found.millimetre_percent == pytest.approx(-2.3, abs=0.3)


def test_the_low_end_is_compared_with_the_meters_range(tmp_path: Path) -> None:
    """1 m/s is more than twice 0.4 m/s; 0.5 m/s is not; 0.3 m/s is below."""
    fits = {
        low: figures(tmp_path, ("58.7469 m3/h", f"{low} m3/h")).expected[0].fit
        for low in ("58.7469", "29.373", "17.624")
    }
    told = [None if fit is None else fit.fit for fit in fits.values()]
    assert told == [Fit.WITHIN, Fit.LOW_END, Fit.BELOW]


def test_the_force_on_the_stem(tmp_path: Path) -> None:
    """7 bar on a 10 mm stem: 54.98 N; an absolute pressure counts less the air around."""
    gauge, absolute = figures(tmp_path), figures(tmp_path, ("7 bar(g)", "8.01325 bar(a)"))
    assert gauge.force is not None
    assert absolute.force is not None
    assert gauge.force.newton == pytest.approx(54.98, abs=0.005)
    assert absolute.force.newton == pytest.approx(gauge.force.newton)


def test_the_air_pressure_of_a_height(tmp_path: Path) -> None:
    """500 m: 95 461.3 Pa by the US Standard Atmosphere 1976, as fluids 1.3.1 computes it."""
    found = figures(tmp_path, ("atmospheric_pressure: 1.01325 bar(a)", "altitude: 500 m"))
    assert found.atmosphere_pa == pytest.approx(95461.3, abs=0.1)
    assert found.atmosphere_from == "standard atmosphere at 500 m"


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        ((", atmospheric_pressure: 1.01325 bar(a)", ""), "atmospheric_pressure or altitude"),
        (("pressure: 7 bar(g), ", ""), "give conditions: pressure and temperature"),
        (("reference: {temperature: 0 degC, pressure: 1.01325 bar(a)}\n", ""), "give reference"),
        ((", expected_flow: 58.7469 m3/h to 587.469 m3/h", ""), "give conditions: expected_flow"),
        (
            ("pipe:\n  inside_diameter: 53.1 mm\n  probe: {position: centre, stem_diameter: 10 mm}\n", ""),
            "give pipe",
        ),
        ((", stem_diameter: 10 mm", ""), "give probe: stem_diameter"),
    ],
)
def test_what_cannot_be_worked_out_says_what_to_give(
    tmp_path: Path, change: tuple[str, str], wanted: str
) -> None:
    assert any(wanted in sentence for sentence in figures(tmp_path, change).missing)


def test_an_unknown_fluid_is_not_taken_for_air(tmp_path: Path) -> None:
    found = figures(tmp_path, fluid="biogas")
    assert found.expected == ()
    assert any("give conditions: fluid" in sentence for sentence in found.missing)
    named = figures(tmp_path, ("{pressure: 7", "{fluid: nitrogen, pressure: 7"), fluid="biogas")
    assert named.place.fluid == "nitrogen"
    assert named.expected


def test_water_needs_no_reference(tmp_path: Path) -> None:
    """4 bar(a), 20 °C, 1 m/s in 53.1 mm: Re 52 930 (CoolProp), 7.97226 m³/h."""
    found = figures(
        tmp_path,
        ("7 bar(g)", "4 bar(a)"),
        ("58.7469 m3/h to 587.469 m3/h", "0.797226 m3/h to 7.97226 m3/h"),
        ("reference: {temperature: 0 degC, pressure: 1.01325 bar(a)}\n", ""),
        fluid="water",
    )
    high = found.expected[-1]
    assert high.case.velocity_m_per_s == pytest.approx(1, rel=1e-5)
    assert high.case.reynolds == pytest.approx(52930, rel=2e-3)
    assert high.volumes == ()


@pytest.mark.parametrize(
    ("number", "shown"),
    [(79.7226, "79.72"), (587.469, "587.5"), (10, "10.00"), (276930, "276900"), (0.09996, "0.09996"),
     (9.9996, "10.00"), (0, "0")],
)  # fmt: skip
def test_numbers_are_shown_to_four_digits(number: float, shown: str) -> None:
    assert significant(number) == shown


@pytest.mark.parametrize(
    ("pipe", "wanted"),
    [
        ("standard: EN 10255 medium DN 50; probe: {position: centre}",
         "give probe: fitting_height, probe: sensor_to_tip"),
        ("inside_diameter: 53 mm; probe: {fitting_height: 142 mm, sensor_to_tip: 8 mm}",
         "give pipe: wall_thickness"),
        ("inside_diameter: 53 mm; wall_thickness: 3 mm; probe: {fitting_height: 142 mm}",
         "give probe: sensor_to_tip"),
    ],
)  # fmt: skip
def test_only_what_lacks_for_the_mark_is_asked_for(tmp_path: Path, pipe: str, wanted: str) -> None:
    """A standard tells the wall, and a probe's measures may be there already."""
    told = "inside_diameter: 53.1 mm\n  probe: {position: centre, stem_diameter: 10 mm}"
    place = figures(tmp_path, (told, pipe.replace("; ", "\n  "))).place
    assert place.insertion is not None
    rows = {row[0]: row for row in insertion_rows(place.insertion, place)}
    assert rows["mark on the stem"][1:] == ("–", wanted)
