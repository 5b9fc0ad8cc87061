"""Slips that come with copying a manual, all told at once, each in its line (M15, M17, M04)."""

import pytest

from protocols.register_map.parse import parse_map

#: What older readers of YAML make of these, measured with one: 64, "08", 40001, False, 750, the second one.
WRITTEN = """\
register_map: 1
meter: Mere 5 vane meter
wire: {reply_within: 12:30}
readings:
  octal: {input: 0100, type: uint16, unit: s}
  eight: {input: 08, type: uint16, unit: s}
  under: {input: 40_001, type: uint16, unit: s}
  no: {input: 10, type: uint16, unit: no}
  large: {input: 11, type: uint16, unit: s, scale: 1e3}
  comma:
    input: 12
    type: uint16
    unit: s
    scale: 0,1
  twice: {input: 13, type: uint16, unit: s}
  twice: {input: 14, type: uint16, unit: s}
  adrift: {adress: 15, input: 15, type: uint16, unit: s}
"""


def test_whatever_yaml_might_read_otherwise_is_told_or_taken_as_written() -> None:
    """M15."""
    parsed = parse_map(WRITTEN.encode(), "map.yaml")
    assert [(fault.line, fault.name) for fault in parsed.faults] == [
        (3, "number written oddly"), (5, "leading zeros"), (6, "leading zeros"),
        (7, "number written oddly"), (8, "unknown unit"), (14, "decimal comma"), (16, "given twice"),
        (17, "unknown key"),
    ]  # fmt: skip
    good = "\n".join(line for number, line in enumerate(WRITTEN.splitlines(), 1) if number in (1, 2, 4, 8, 9))
    found = parse_map(good.encode(), "map.yaml").map
    assert found is not None
    assert found.reading("no").unit == "no", "a word, no truth value"
    assert found.reading("large").number.scale == 1000


COPIED = """\
register_map: 1
meter: Mere 5 vane meter
wire: {registers_per_read: 8}
readings:
  total: {input: 10, type: uint32, unit: kg}
  flow: {input: 11, type: float32, unit: kg/h}
  total: {input: 20, type: uint32, unit: kg}
  label: {holding: 60, type: text, registers: 12}
  speed: {input: 30, type: float32, registers: 1, unit: m/s}
  count: {input: 40, type: uint16}
  past: {input: 65535, type: uint32, unit: s}
  warm: {input: 50, type: uint16, scale: 0.001, unit: degC, range: [0, 90]}
"""


def test_copied_rows_are_told_once_each_with_their_line() -> None:
    """M17: overlap, name twice, too long for a read, type and length, no unit, past the end, limit."""
    assert [(fault.line, fault.name) for fault in parse_map(COPIED.encode(), "map.yaml").faults] == [
        (6, "overlap"), (7, "given twice"), (8, "wider than a read"), (9, "length disagrees with type"),
        (10, "unit missing"), (11, "beyond the last address"), (12, "range beyond the type"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "told"),
    [
        ("uint16", True),
        ("uint32", True),
        ("bcd16", True),
        ("int16", False),
        ("sign16", False),
        ("float32", False),
    ],
)
def test_a_range_below_zero_needs_a_type_with_a_sign(kind: str, told: bool) -> None:
    """M04."""
    text = (
        f"register_map: 1\nmeter: m\nreadings: {{a: {{input: 1, type: {kind}, unit: s, range: [-20, 60]}}}}\n"
    )
    names = [fault.name for fault in parse_map(text.encode(), "map.yaml").faults]
    assert names == (["unsigned below zero"] if told else [])


@pytest.mark.parametrize("numbering", ["", "wire: {numbering: from 0}\n"])
def test_a_bare_40001_is_refused_with_both_readings(numbering: str) -> None:
    """M01: address 0 of a printed number, or address 40001 itself."""
    text = (
        f"register_map: 1\nmeter: m\n{numbering}readings: {{a: {{holding: 40001, type: float32, unit: s}}}}\n"
    )
    (fault,) = parse_map(text.encode(), "map.yaml").faults
    assert fault.name == "two meanings of a number"
    assert "address 0 (then say `numbering: table digit`)" in fault.fault
    assert "address 40001 itself" in fault.fault


@pytest.mark.parametrize(
    ("table", "words"), [("input", "an input register"), ("holding", "a holding register")]
)
def test_a_number_without_its_table_digit_names_the_register(table: str, words: str) -> None:
    head = "register_map: 1\nmeter: m\nwire: {numbering: table digit}\n"
    text = f"{head}readings: {{a: {{{table}: 3, type: int16}}}}\n"
    fault = parse_map(text.encode(), "map.yaml").faults[0]
    assert f"3 has no table digit; under `numbering: table digit` {words} is" in fault.fault
