"""A meter's settings against its point file, in sentences with the effect on the flow."""

import math
from pathlib import Path
from typing import Any

import pytest

from protocols.register_map.parse import parse_map
from readout.measuring_point.comparison.compare import Finding, compare, reads
from readout.measuring_point.pipe.bore import bore_of
from readout.measuring_point.point import parse_point

POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml}
line: {port: /dev/nothing}
pipe: {outside_diameter: 60.3 mm, wall_thickness: 2.9 mm, diameter_from: measured}
conditions: {fluid: air, pressure: 7 bar(g), temperature: 20 degC, expected_flow: 3 m3/h to 420 m3/h}
reference: {temperature: 20 degC, pressure: 1 bar(a)}
record: {every: 1 s}
"""
MAP = """\
register_map: 1
meter: Hollow Mere test meter
principle: thermal
serial: {unit_address: 1}
readings: {flow: {input: 0, type: float32, unit: m3/h}}
"""


def findings(
    tmp_path: Path, settings: dict[str, Any], offset_s: float | None = None, point: str = POINT
) -> list[Finding]:
    (tmp_path / "point.yaml").write_text(point)
    parsed = parse_point(tmp_path / "point.yaml")
    found = parse_map(MAP.encode(), "map.yaml").map
    assert parsed.point is not None, parsed.faults
    assert found is not None
    bore = None if parsed.point.pipe is None else bore_of(parsed.point.pipe)
    return compare(parsed.point, found, settings, bore, clock_offset_s=offset_s)


def told(value: object, unit: str | None = None) -> dict[str, Any]:
    return {"value": value, "unit": unit, "flag": None}


AGREEING = {
    "inside_diameter": told(54.5, "mm"),
    "reference_temperature at holding 40": told(20.0, "degC"),
    "reference_pressure at holding 41": told(1000, "mbar"),
    "gas": told("Air"),  # in whatever case, and with other words beside it
    "damping": told(1.0, "s"),
    "low_flow_cut_off": told(0.3, "m/s"),
    "flow_unit": told("m3/h"),
}


def test_nothing_is_said_where_all_agrees(tmp_path: Path) -> None:
    assert findings(tmp_path, AGREEING, offset_s=-0.9) == []
    assert findings(tmp_path, {}) == []


def test_a_meter_set_to_a_narrower_pipe_reads_low(tmp_path: Path) -> None:
    """(53.1/54.5)² − 1 = −5.07 %, recomputed by hand."""
    (found,) = findings(tmp_path, AGREEING | {"inside_diameter": told(53.099998474121094, "mm")})
    assert found.effect_percent == pytest.approx(-5.07, abs=0.005)
    assert "computes with an inside diameter of 53.1 mm and the pipe has 54.5 mm" in found.text
    assert found.text.endswith("it reads 5.1 % low")


def test_the_diameter_is_compared_in_any_unit(tmp_path: Path) -> None:
    (found,) = findings(tmp_path, {"inside_diameter": told(2.125, "in")})
    assert found.effect_percent == pytest.approx(100 * ((53.975 / 54.5) ** 2 - 1))


def test_a_meter_not_set_as_the_file_says_is_told_apart_from_a_wrong_pipe(tmp_path: Path) -> None:
    point = POINT.replace("diameter_from: measured", "diameter_set_in_meter: 53.1 mm")
    first, second = findings(tmp_path, {"inside_diameter": told(50, "mm")}, point=point)
    assert "the point file says that it is set to 53.1 mm" in first.text
    assert second.effect_percent == pytest.approx(100 * ((50 / 54.5) ** 2 - 1))
    (only,) = findings(tmp_path, {"inside_diameter": told(53.1, "mm")}, point=point)
    assert only.text.endswith("reads 5.1 % low")


def test_normal_cubic_metres_taken_for_free_air_read_low(tmp_path: Path) -> None:
    """1 m³ at 0 °C and 1.01325 bar is 1.087440 m³ at 20 °C and 1 bar (ideal gas, recomputed)."""
    settings = {"reference_temperature": told(0, "degC"), "reference_pressure": told(1.01325, "bar")}
    (found,) = findings(tmp_path, settings)
    assert found.effect_percent == pytest.approx(100 * (1 / 1.087440 - 1), abs=1e-4)
    assert "reads 8.0 % low" in found.text


def test_a_meter_that_tells_only_one_condition_is_compared_by_that(tmp_path: Path) -> None:
    (found,) = findings(tmp_path, {"reference_temperature": told(68.0, "degF")}) or (None,)
    assert found is None
    (found,) = findings(tmp_path, {"reference_temperature": told(60.0, "degF")})
    assert found.effect_percent == pytest.approx(100 * (288.7056 / 293.15 - 1), abs=1e-3)


def test_impossible_conditions_are_no_figure(tmp_path: Path) -> None:
    (found,) = findings(tmp_path, {"reference_pressure": told(0, "mbar")})
    assert found.effect_percent is None
    assert "below absolute zero or vacuum" in found.text


def test_another_gas_is_told_without_a_figure(tmp_path: Path) -> None:
    (found,) = findings(tmp_path, {"gas": told("Argon")})
    assert "set to Argon, and the point file says air" in found.text
    assert found.effect_percent is None


def test_a_unit_that_the_map_does_not_know_of_is_told(tmp_path: Path) -> None:
    """1 m³/min read as 1 m³/h is a sixtieth: 98.3 % low."""
    (found,) = findings(tmp_path, {"flow_unit": told("m3/min")})
    assert found.effect_percent == pytest.approx(100 * (1 / 60 - 1))
    (mass,) = findings(tmp_path, {"flow_unit": told("kg/h")})
    assert mass.effect_percent is None
    assert findings(tmp_path, {"flow_unit": told("m³/h")}) == []


def test_damping_longer_than_the_interval_flattens_peaks(tmp_path: Path) -> None:
    """1 − exp(−1/10) = 9.5 % of a step within a row of 1 s; a first-order lag."""
    (found,) = findings(tmp_path, {"damping": told(10, "s")})
    assert f"shows {100 * (1 - math.exp(-0.1)):.0f} %" in found.text


def test_expected_flows_below_the_cut_off_read_nothing(tmp_path: Path) -> None:
    """1 m/s × π/4 × (54.5 mm)² = 8.40 m³/h, above the 3 m³/h expected."""
    (found,) = findings(tmp_path, {"low_flow_cut_off": told(1.0, "m/s")})
    assert "8.4 m3/h in this pipe" in found.text
    assert found.effect_percent == -100
    (feet,) = findings(tmp_path, {"low_flow_cut_off": told(196.850394, "ft/min")})
    assert "8.4 m3/h" in feet.text


@pytest.mark.parametrize(("offset", "said"), [(75.0, "75 s ahead of"), (-3600.0, "3600 s behind")])
def test_a_clock_that_is_off_is_told(tmp_path: Path, offset: float, said: str) -> None:
    (found,) = findings(tmp_path, {}, offset_s=offset)
    assert said in found.text


@pytest.mark.parametrize(
    "settings",
    [
        {"inside_diameter": told(None, "mm")},
        {"inside_diameter": told(60, "furlong")},
        {"inside_diameter": told(7, "bar")},
        {"inside_diameter": told("wide", "mm")},
        {"damping": told(10, None)},
        {"gas": told(3)},
    ],
)
def test_what_is_not_understood_is_not_judged(tmp_path: Path, settings: dict[str, Any]) -> None:
    assert findings(tmp_path, settings) == []


def test_an_effect_is_told_as_high_low_or_right() -> None:
    assert [reads(percent) for percent in (5.12, -5.07, 0.01)] == [
        "reads 5.1 % high", "reads 5.1 % low", "reads right",
    ]  # fmt: skip


@pytest.mark.parametrize(("value", "flag"), [(2.718e23, "above range"), (0.002, "below range")])
def test_a_setting_outside_its_range_is_doubted_and_not_compared(
    tmp_path: Path, value: float, flag: str
) -> None:
    """53.1 mm with its words exchanged are 2.718e+23 mm: the map is wrong, and no meter reads 1e45 % high."""
    settings = AGREEING | {"inside_diameter": {"value": value, "unit": "mm", "flag": flag}}
    (found,) = findings(tmp_path, settings)
    assert (found.setting, found.effect_percent, found.doubtful) == ("inside_diameter", None, True)
    assert f"inside_diameter as {value:.4g} mm, outside its range in the map" in found.text
