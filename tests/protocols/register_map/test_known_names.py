"""Settings that are compared with the point file by name: what bears another name is told."""

import pytest

from protocols.register_map.parse import parse_map


def said(lines: str) -> list[str]:
    """What `map check` says of a map with these settings or identity."""
    text = f"register_map: 1\nmeter: m\nreadings: {{alarm: {{discrete: 0}}}}\n{lines}\n"
    return [str(fault) for fault in parse_map(text.encode(), "m.yaml").faults]


@pytest.mark.parametrize(
    ("name", "unit", "proper"),
    [
        ("pipe_inner_diameter", "mm", "inside_diameter"),
        ("bore", "in", "inside_diameter"),
        ("filter_time", "s", "damping"),
        ("creep_suppression", "m/s", "low_flow_cut_off"),
        ("recording_interval", "s", "log_interval"),
        ("rohrinnendurchmesser", "mm", "inside_diameter"),
        ("daempfung", "s", "damping"),
        ("schleichmengenunterdrueckung", "m/s", "low_flow_cut_off"),
        ("aufzeichnungsintervall", "min", "log_interval"),
        ("diametre_interieur", "mm", "inside_diameter"),
    ],
)
def test_another_name_is_told_once(name: str, unit: str, proper: str) -> None:
    (fault,) = said(f"settings: {{{name}: {{holding: 30, type: uint16, unit: {unit}}}}}")
    assert f"m.yaml:4:12: warning: '{name}' may be what is called {proper} here" in fault


@pytest.mark.parametrize(
    ("name", "rest", "proper"),
    [
        ("gas_type", "type: uint16, codes: {0: air, 1: argon}", "gas"),
        ("medium", "type: uint16, codes: {0: air, 1: argon}", "gas"),
        ("uhrzeit", "type: unix time", "clock"),
        ("date_time", "type: calendar, layout: [minute/second, day/hour, year/month], coding: bcd", "clock"),
    ],
)
def test_a_gas_or_a_clock_under_another_name_is_told(name: str, rest: str, proper: str) -> None:
    (fault,) = said(f"settings: {{{name}: {{holding: 30, {rest}}}}}")
    assert f"'{name}' may be what is called {proper} here" in fault


@pytest.mark.parametrize(
    "settings",
    [
        "{inside_diameter: {holding: 30, type: uint16, unit: mm}}",
        # the proper name is there: the other is something else
        "{inside_diameter: {holding: 30, type: uint16, unit: mm}, "
        "flange_diameter: {holding: 31, type: uint16, unit: mm}}",
        # of another dimension
        "{filter: {holding: 30, type: uint16, codes: {0: off, 1: on}}}",
        "{gas_unit: {holding: 30, type: uint16, codes: {0: kg/h, 1: g/s}}}",
        "{gas_factor: {holding: 30, type: uint16, scale: 0.001, unit: 1}}",
        "{time_constant_2: {holding: 30, type: uint16, unit: 1}}",
        "{diameter_unit: {holding: 30, type: uint16, codes: {0: mm, 1: inch}}}",
    ],
)
def test_what_is_named_well_or_something_else_is_not_asked_about(settings: str) -> None:
    assert said(f"settings: {settings}") == []


def test_a_serial_number_under_another_name_is_told() -> None:
    (fault,) = said("identity: {serial: {holding: 200, type: text, registers: 5}}")
    assert "'serial' may be what is called serial_number here" in fault
