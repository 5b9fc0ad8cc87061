"""What the meter is set to against what the point file says, in sentences."""

from pathlib import Path

import pytest

from readout.measuring_point.load import load_point
from readout.measuring_point.model import MeasuringPoint
from readout.meter.differences import differences, is_another

POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, serial_number: EX-0042}
line: {port: /dev/nothing}
pipe: {outside_diameter: 60.3 mm, wall_thickness: 3.6 mm, diameter_set_in_meter: 53.1 mm}
reference: {temperature: 20 degC, pressure: 1 bar(a)}
"""


@pytest.fixture
def point(tmp_path: Path) -> MeasuringPoint:
    (tmp_path / "map.yaml").write_text(
        "register_map: 1\nmeter: m\nserial: {unit_address: 1}\nreadings: {flow: {input: 0, type: uint16}}\n"
    )
    (tmp_path / "point.yaml").write_text(POINT)
    loaded = load_point(tmp_path / "point.yaml").point
    assert loaded is not None
    return loaded.point


def told(value: float, unit: str) -> dict:
    return {"value": value, "unit": unit, "flag": None}


@pytest.mark.parametrize(
    "settings",
    [
        {},
        {"inside_diameter": told(53.1, "mm")},
        {"inside_diameter": told(53.099998474121094, "mm")},  # a single-precision 53.1 as a double
        {"inside_diameter": told(5.31, "cm")},
        {"reference_temperature": told(68, "degF"), "reference_pressure at holding 41": told(1000, "mbar")},
        {"inside_diameter": told(60, "furlong")},
        {"inside_diameter": {"value": None, "unit": "mm", "flag": "not available"}},
    ],
)
def test_what_agrees_in_whatever_unit_is_not_told(point: MeasuringPoint, settings: dict) -> None:
    assert differences(point, {"serial_number": "EX-0042"}, settings) == []


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        (
            {"inside_diameter": told(50, "mm")},
            "inside_diameter is 50 mm in the meter, and 53.1 mm in the point file",
        ),
        ({"inside_diameter": told(2, "in")}, "inside_diameter is 2 in in the meter"),
        (
            {"reference_temperature at holding 40": told(0.0, "degC")},
            "reference_temperature is 0.0 degC in the meter, and 20 degC in the point file",
        ),
        (
            {"reference_pressure": told(1013, "mbar")},
            "reference_pressure is 1013 mbar in the meter, and 1 bar",
        ),
    ],
)
def test_what_differs_is_a_sentence(point: MeasuringPoint, settings: dict, said: str) -> None:
    (sentence,) = differences(point, {}, settings)
    assert said in sentence


def test_another_meter_is_named(point: MeasuringPoint) -> None:
    assert is_another(point, {"serial_number": "EX-0043"})
    assert not is_another(point, {"serial_number": "EX-0042"})
    assert not is_another(point, {"serial_number": None})
    (sentence,) = differences(point, {"serial_number": "EX-0043"}, {})
    assert "the serial number EX-0043, the point file says EX-0042" in sentence
