"""The user's words for a setting: units, words, steps and ranges, each refusal with what to write."""

from decimal import Decimal
from pathlib import Path

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Column
from readout.errors import WrongUse
from readout.measuring_point.load import load_point
from readout.meter.wanted import ours, wanted, words_for, writable_setting


@pytest.mark.parametrize(
    ("name", "text", "meant"),
    [
        ("inside_diameter", "53.1 mm", "53.1"),
        ("inside_diameter", "53.1mm", "53.1"),
        ("inside_diameter", "2 in", "50.8"),  # the inch is 25.4 mm exactly (agreement of 1959)
        ("inside_diameter", "0.05 m", "50"),
        ("log_interval", "5 min", "300"),
        ("log_interval", "1min", "60"),
        ("reference_temperature", "68 degF", "20"),  # (68 - 32) × 5/9
        ("reference_temperature", "273.15 K", "0"),
        ("reference_pressure", "1.01325 bar(a)", "1013.25"),
        ("reference_pressure", "1000 mbar", "1000"),
        ("line_pressure", "7 bar(g)", "7"),
        ("zero", "-0.25", "-0.25"),
        ("pulse", "3 furlong", "3"),  # a unit that only this map knows
    ],
)
def test_a_value_is_taken_in_the_settings_own_unit(hall, name: str, text: str, meant: str) -> None:
    setting = hall.setting(name)
    assert wanted(setting, text, setting.unit) == Decimal(meant)


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("inside_diameter", "53.1", "this setting is in mm"),
        ("inside_diameter", "53,1 mm", "a decimal comma"),
        ("inside_diameter", "53.1 mn", "unknown unit 'mn'"),
        ("inside_diameter", "5 s", "5 s is a time, and mm is a unit of length"),
        ("inside_diameter", "11.9 mm", "outside what the map allows: 12 mm to 900 mm"),
        ("inside_diameter", "901 mm", "outside what the map allows"),
        (
            "log_interval",
            "5 s",
            "takes only 1, 2, 10, 20, 60, 300 s; 5 s is not among them, the nearest is 2 s",
        ),
        ("line_pressure", "7 bar", r"a pressure \(g\), above the air around it; write such as 1 bar\(g\)"),
        ("line_pressure", "7 bar(a)", r"write such as 1 bar\(g\)"),
        ("reference_pressure", "1 bar(g)", r"a pressure \(a\), absolute"),
        ("zero", "1 mm", "has no unit in the map"),
        ("pulse", "3 m", "is in 'furlong'"),
        ("gas", "nitrogn", "did you mean nitrogen; its words are: air, nitrogen, carbon dioxide"),
        ("gas", "3", "cannot be '3'"),
        ("alarms", "sensor fault, suply low", "has no 'suply low'; did you mean supply low"),
        ("output", "maybe", "write on or off"),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_what_can(hall, name: str, text: str, said: str) -> None:
    setting = hall.setting(name)
    with pytest.raises(WrongUse, match=said):
        wanted(setting, text, setting.unit)


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        # 53.1 as IEEE 754 single is 42546666; this map sends the low word first (worked out by hand)
        ("inside_diameter", "53.1 mm", [0x6666, 0x4254]),
        ("log_interval", "20 s", [20]),
        ("zero", "-0.25", [0xFFE7]),  # -25 in two's complement
        ("gas", "Nitrogen", [1]),
        ("gas", "2", [2]),
        ("alarms", "supply low, memory full", [0x0202]),
        ("alarms", "none", [0]),
        ("label", "DN 50", [0x444E, 0x2035, 0x3000, 0]),
        ("output", "on", [1]),
        ("output", "false", [0]),
        ("reference_temperature", "-5 degC", [0xFFCE]),
    ],
)
def test_what_is_written_are_exactly_these_registers(hall, name: str, text: str, words: list[int]) -> None:
    setting = hall.setting(name)
    before = dict.fromkeys(setting.columns(), 0x7777)
    assert list(words_for(setting, wanted(setting, text, setting.unit), before).values()) == words


def test_a_value_that_the_register_could_hold_only_rounded_is_refused(hall) -> None:
    setting = hall.setting("reference_temperature")
    with pytest.raises(WrongUse, match=r"would be rounded to 20\.1"):
        words_for(setting, wanted(setting, "20.13 degC", "degC"), dict.fromkeys(setting.columns(), 0))


PARTS = """\
register_map: 1
meter: Hollow Mere test meter
serial: {unit_address: 12}
readings: {flow: {input: 0, type: float32}}
settings:
  pulse:
    holding: 10
    type: uint16
    unit: {holding: 12, type: uint16, codes: {0: l, 1: m3}}
    times_ten_to: {holding: 11, type: int16}
    write: allowed
"""


@pytest.mark.parametrize(
    ("text", "before", "words"),
    [
        ("500 l", (7, 2), {10: 5}),  # the power of ten stays
        ("0.5 m3", (7, 2), {10: 5}),  # 500 l
        ("550 l", (7, 2), {10: 550, 11: 0}),  # 5.5 × 10^2 cannot be told: the power of ten must go
        ("700 l", (7, 2), {}),
        ("90000000 l", (7, 2), {10: 9000, 11: 4}),
    ],
)
def test_a_power_of_ten_and_a_told_unit_stay_where_they_can(make_hall, text: str, before, words) -> None:
    hall = make_hall(map_text=PARTS)
    setting = hall.setting("pulse")
    now = {
        Column(Table.HOLDING, address): word for address, word in zip((10, 11, 12), (*before, 0), strict=True)
    }
    found = words_for(setting, wanted(setting, text, "l"), now)
    assert {column.address: word for column, word in found.items()} == words


def test_settings_that_are_not_there_or_not_to_be_written_are_named(hall) -> None:
    assert writable_setting(hall.map, "gas").name == "gas"
    with pytest.raises(WrongUse, match="no such setting: inside_diametr; did you mean inside_diameter"):
        writable_setting(hall.map, "inside_diametr")
    with pytest.raises(WrongUse, match=r"damping is not to be written.*write: allowed for it \(line 11\)"):
        writable_setting(hall.map, "damping")


@pytest.mark.parametrize("owner", ["ours", "customer"])
def test_a_customers_meter_is_never_written_to(tmp_path: Path, owner: str) -> None:
    (tmp_path / "map.yaml").write_text(
        "register_map: 1\nmeter: m\nserial: {unit_address: 1}\nreadings: {flow: {input: 0, type: uint16}}\n"
    )
    (tmp_path / "point.yaml").write_text(
        "measuring_point: 1\nname: header\n"
        "site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}\n"
        f"meter: {{map: map.yaml, owner: {owner}}}\nline: {{port: /dev/nothing}}\n"
    )
    loaded = load_point(tmp_path / "point.yaml").point
    assert loaded is not None
    if owner == "ours":
        ours(loaded.point)
    else:
        with pytest.raises(WrongUse, match="owner: customer, so nothing is written to this meter"):
            ours(loaded.point)
