"""A unit told by a register is written either beside its codes or as `register`; both mean the same."""

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Column
from protocols.register_map.parse import parse_map

HEAD = "register_map: 1\nmeter: constructed\nreadings:\n  level: {input: 40, type: uint16, unit: "


@pytest.mark.parametrize(
    "unit",
    [
        "{input: 41, type: uint16, codes: {1: bar, 2: psi}}",
        "{register: {input: 41, type: uint16}, codes: {1: bar, 2: psi}}",
    ],
)
def test_both_ways_of_writing_a_told_unit(unit: str) -> None:
    parsed = parse_map(f"{HEAD}{unit}}}\n".encode(), "m.yaml")
    assert parsed.map is not None, parsed.faults
    told = parsed.map.reading("level").told_unit
    assert told is not None
    assert told.number.columns() == (Column(Table.INPUT, 41),)
    assert told.codes == {1: "bar", 2: "psi"}


@pytest.mark.parametrize(
    ("unit", "column", "fault"),
    [
        ("{codes: {1: bar}}", 42, "the unit says none; give exactly one of coil, discrete, input, holding"),
        ("{register: {input: 41, type: uint16}, type: int16, codes: {1: bar}}", 42,
         "beside register stands type; write it inside register"),
        ("{register: {input: 41}, codes: {1: bar}}", 53, "an input register needs a type"),
    ],
)  # fmt: skip
def test_a_told_unit_without_its_place_is_told(unit: str, column: int, fault: str) -> None:
    parsed = parse_map(f"{HEAD}{unit}}}\n".encode(), "m.yaml")
    assert parsed.map is None
    (found,) = parsed.faults
    assert (found.line, found.column) == (4, column)
    assert found.fault.startswith(fault)
