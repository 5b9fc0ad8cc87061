"""What a map may not say, each told at its place with what is allowed."""

import pytest

from protocols.register_map.parse import parse_map

#: One value `a` of the readings, and words of its fault.
READINGS = [
    ("{input: 08, type: int16, unit: s}", "8 (decimal)"),
    ("{input: 40_001, type: int16, unit: s}", "write 40001"),
    ("{input: 12:30, type: int16, unit: s}", "base 60"),
    ("{input: 1e3, type: int16, unit: s}", "write 1000"),
    ("{input: '16', type: int16, unit: s}", "without quotes"),
    ("{input: -1, type: int16, unit: s}", "out of range"),
    ("{input: 1.5, type: int16, unit: s}", "no whole number"),
    ("{input: , type: int16, unit: s}", "nothing"),
    ("{type: int16, unit: s}", "exactly one of coil, discrete, input, holding"),
    ("{input: 1, holding: 2, type: int16, unit: s}", "has input and holding"),
    ("{input: 1, unit: s}", "needs a type"),
    ("{coil: 1, type: uint16}", "takes no type"),
    ("{discrete: 1, scale: 2}", "takes no scale"),
    ("{input: 65535, type: uint32, unit: s}", "ends at 65536"),
    ("{input: 1, type: text}", "needs its length"),
    ("{input: 1, type: float32, registers: 4, unit: s}", "takes 2 registers, not 4"),
    ("{input: 1, type: crc16}", "record of the log memory"),
    ("{input: 1, type: int16, unit: s, scale: 0}", "makes every value 0"),
    ("{input: 1, type: int16, unit: s, scale: .inf}", "no number"),
    ("{input: 1, type: int16, unit: s, range: [5, 1]}", "lower one first"),
    ("{input: 1, type: int16, unit: s, range: [0,4, 160]}", "decimal comma"),
    ("{input: 1, type: int16, unit: s, gauge: true}", "belongs to a pressure"),
    ("{input: 1, type: int16, unit: bar, gauge: yes}", "write true or false"),
    ("{input: 1, type: int16, unit: bar, quantity: velocity}", "is a unit of pressure"),
    ("{input: 1, type: uint16, codes: {0: a}, scale: 0.1}", "looked up by"),
    ("{input: 1, type: uint16, codes: {70000: a}}", "uint16 cannot hold 70000"),
    ("{input: 1, type: uint16, codes: {1: a, 0x1: b}}", "given twice"),
    ("{input: 1, type: float32, bits: {0: a}}", "integer type"),
    ("{input: 1, type: uint16, bits: {16: a}}", "bits 0 to 15"),
    ("{input: 1, type: uint16, bits: {0: a}, codes: {0: a}}", "not both"),
    ("{input: 1, type: uint16, codes: {0: null}}", "no text in YAML"),
    ("{input: 1, type: int16, unit: s, not_available: [65535]}", "read as int16 are -1"),
    ("{input: 1, type: uint16, unit: s, not_available: [-1]}", "read as uint16 are 65535"),
    ("{input: 1, type: uint16, unit: s, not_available: [6553.5]}", "raw numbers are whole"),
    ("{input: 1, type: bcd16, unit: s, not_available: [65535]}", "only 0 to 9999"),
    ("{input: 1, type: uint32, unit: s, not_available: [FFFF]}", "1 words, but uint32 has 2"),
    ("{input: 1, type: uint32, unit: s, not_available: [none]}", "neither a raw number"),
    ("{input: 1, type: text, registers: 2, not_available: [7]}", "register words in hex"),
    ("{input: 1, type: calendar, coding: bcd}", "needs a layout"),
    ("{input: 1, type: calendar, layout: [day/hour, year/month]}", "needs its coding"),
    ("{input: 1, type: calendar, coding: bcd, layout: [day/huor, year/month]}", "did you mean hour"),
    ("{input: 1, type: calendar, coding: bcd, layout: [day/hour, none/month]}", "no year"),
    ("{input: 1, type: calendar, coding: bcd, layout: [day/day, year/month]}", "stands twice"),
    ("{input: 1, type: uint16, unit: s, layout: [day/hour, year/month]}", "belongs to a calendar"),
    ("{input: 1, type: uint16, unit: scfm}", "hides its reference conditions"),
    ("{input: 1, type: uint16, unit: Nm3/h}", "0 degC and 1.01325 bar"),
    ("{input: 1, type: uint16, unit: m3/h, reference: {temperature: 20 degC}}", "lacks the key 'pressure'"),
    ("{input: 1, type: uint16, unit: m3/h, reference: {temperature: 20 bar, pressure: 1 bar}}",
     "no unit of temperature"),
    ("{input: 1, type: uint16, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar(g)}}",
     "is absolute"),
    ("{input: 1, type: uint16, unit: m3/h, reference: as b}", "no reading has that name"),
    ("{input: 1, type: uint16, unit: m3/h, reference: as a}", "go round in a circle (a → a)"),
    ("{input: 1, type: uint16, unit: m3/h, reference: as other}", "has no reference of its own"),
    ("{input: 1, type: uint16, unit: m3/h, reference: like other}", "write `as NAME`"),
    ("{input: 1, type: uint32, unit: s, plus: [{holding: 3, type: uint16}]}", "different tables"),
    ("{input: 1, type: uint32, unit: s, plus: [{input: 4, type: uint16}]}", "1 unlisted registers"),
    ("{input: 1, type: uint32, unit: s, times_ten_to: {input: 200, type: int16}}", "span 200 registers"),
    ("{input: 1, type: uint32, unit: s, times_ten_to: {input: 3, type: float32}}", "must be an integer type"),
    ("{input: 1, type: uint32, unit: s, times_ten_to: {input: 3, type: int16, scale: 2}}",
     "'scale' is no key of the register, but of the reading, one level up"),
    ("{input: 1, type: uint32, unit: s, parts: apart}", "has one part only"),
    ("{input: 1, type: uint32, unit: s, parts: a part}", "allowed: apart"),
    ("{input: 1, type: uint16, unit: s, bytes_per_register: 4}", "each address of this meter holds 4"),
    ("{input: 1, type: uint16, unit: s, write: allowed}", "only a setting is written"),
    ("{input: 1, type: uint16, unit: }", "nothing stands here"),
    ("{input: 1, type: uint16, unit: s, totaliser: {rolls_over_at: 0}}", "too small"),
    ("[input, 1]", "a list where a mapping is expected"),
    ("{input: &x 1, type: uint16, unit: s}", "an anchor ('&x')"),
    ("{input: *x, type: uint16, unit: s}", "an alias ('*x')"),
    ("{input: !!int 1, type: uint16, unit: s}", "a tag"),
    ("{input: !%1b[2J 1, type: uint16, unit: s}", "a tag ('!"),
    ("{<<: {input: 1}, type: uint16, unit: s}", "a merge key"),
    ('{input: 1, type: uint16, unit: "s\\e[2J"}', "control character"),
    ('{input: 1, type: "uint\\e[2J", unit: s}', "'uint\\u001b[2J' is no known type"),
    ("{input: 1, type: uint16, unit: bar(a), gauge: true}", "says the opposite"),
    ("{input: 1, type: uint16, unit: text, with a comma}", "put a text that holds a comma in quotes"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "wanted"), READINGS)
def test_a_wrong_value_is_told_in_its_line(value: str, wanted: str) -> None:
    text = (
        f"register_map: 1\nmeter: m\nreadings:\n  a: {value}\n"
        "  other: {holding: 900, type: uint16, unit: m3/h, basis: actual}\n"
    )
    told = [fault for fault in parse_map(text.encode(), "m.yaml").faults if fault.severity == "fault"]
    assert [fault.line for fault in told] == [4] * len(told)
    assert any(wanted in fault.fault for fault in told), told


#: A whole map behind its first two lines, where the fault is, and words of it.
MAPS = [
    ("readings: {}", 3, 11, "an empty mapping"),
    ("fluid: air", 1, 1, "needs readings or log_memory"),
    ("readings: {Flow: {input: 1, type: int16, unit: s}}", 3, 12, "is no name"),
    ("readings: {time: {input: 1, type: int16, unit: s}}", 3, 12, "is a column of every row"),
    ("readings: {raw_a: {input: 1, type: int16, unit: s}}", 3, 12, "begins with raw_"),
    ("readings: {a_flag: {input: 1, type: int16, unit: s}}", 3, 12, "ends with _flag"),
    ("readings: {a_unit: {input: 1, type: int16, unit: s}}", 3, 12, "ends with _unit"),
    ("principle: termal", 3, 12, "did you mean thermal"),
    ("serial: {baud_rate: 9600, parity: evne}", 3, 35, "did you mean even"),
    ("serial: {unit_address: 248}", 3, 24, "1 to 247"),
    ("serial: {stop_bits: 3}", 3, 21, "allowed: 1, 2"),
    ("wire: {registers_per_read: 126}", 3, 28, "1 to 125"),
    ("wire: {reply_within: 300}", 3, 22, "such as 300 ms"),
    ("wire: {reply_within: 5 min}", 3, 22, "out of range"),
    ("wire: {numbering: from 2}", 3, 19, "did you mean from"),
    ("wire: {numbering: from 0, large numbers meant}", 3, 27, "put a text that holds a comma in quotes"),
    ("wire: {write_with: 5}", 3, 20, "allowed: 6, 16"),
    ("wire: {tolerate: [anything]}", 3, 19, "no departure"),
    ("wire: {word_order: big endian}", 3, 20, "allowed: high first, low first"),
    ("wire: {numbering: table digit}\nreadings: {a: {input: 40001, type: int16, unit: s}}", 4, 23,
     "printed for the holding table, but the key says input"),
    ("wire: {numbering: table digit}\nreadings: {a: {input: 17, type: int16, unit: s}}", 4, 23,
     "30001 to 39999"),
    ("wire: {numbering: from 1}\nreadings: {a: {input: 0, type: int16, unit: s}}", 4, 23, "the first is 1"),
    ("settings: {damping: {holding: 1, type: uint16, scale: 0.3, unit: s, steps: [0.6, 1]}}", 3, 82,
     "cannot be written"),
    ("meter: again", 3, 1, "given twice; first in line 2"),
    ("manual: [a]", 3, 9, "allowed: a single value or a mapping"),
    ("log_memory: 3", 3, 13, "where a mapping is expected"),
    ("---\nmeter: b", 3, 1, "a second document"),
    ("a: b: c", 3, 5, "a second colon in this line"),
    ("readings:\n\tflow: 1", 4, 1, "a tab stands in the indentation"),
]  # fmt: skip


@pytest.mark.parametrize(("rest", "line", "column", "wanted"), MAPS)
def test_a_wrong_map_is_told_at_its_place(rest: str, line: int, column: int, wanted: str) -> None:
    parsed = parse_map(f"register_map: 1\nmeter: m\n{rest}\n".encode(), "m.yaml")
    assert parsed.map is None
    found = [fault for fault in parsed.faults if (fault.line, fault.column) == (line, column)]
    assert any(wanted in fault.fault for fault in found), [str(fault) for fault in parsed.faults]


def test_another_format_version_is_refused() -> None:
    parsed = parse_map(b"register_map: 2\nmeter: m\nreadings: {a: {coil: 1}}\n", "m.yaml")
    assert [(fault.line, fault.column) for fault in parsed.faults] == [(1, 15)]


#: Allowed, but probably not meant: two readings `a` and `b`, and words of the warning.
WARNINGS = [
    ("a: {input: 1, type: uint16, unit: degC, range: [-20, 60]}", "has no negative numbers"),
    ("a: {input: 1, type: float32, unit: kg, totaliser: true}", "16,777,216"),
    ("a: {input: 1, type: uint16, unit: m3/h}", "without a reference"),
    ("a: {input: 1, type: uint16}", "has no unit"),
    ("a: {input: 1, type: uint16, unit: furlong}", "not in the table"),
    ("a: {input: 1, type: uint16, unit: s}\n  b: {input: 1, type: uint16, unit: s}", "same registers as 'a'"),
    ("a: {input: 1, type: uint16, unit: s}\n  b: {input: 1, type: uint32, unit: s}", "same registers as 'a'"),
]


@pytest.mark.parametrize(("values", "wanted"), WARNINGS)
def test_what_is_probably_not_meant_is_a_warning_and_the_map_stands(values: str, wanted: str) -> None:
    parsed = parse_map(f"register_map: 1\nmeter: m\nreadings:\n  {values}\n".encode(), "m.yaml")
    assert parsed.map is not None
    assert [fault.severity for fault in parsed.faults] == ["warning"]
    assert wanted in parsed.faults[0].fault
    assert ": warning: " in str(parsed.faults[0])


def test_a_value_astride_two_others_is_told_though_it_starts_with_one_of_them() -> None:
    text = (
        "register_map: 1\nmeter: m\nreadings:\n"
        "  low: {input: 11, type: uint16, unit: s}\n"
        "  high: {input: 10, type: uint16, unit: s}\n"
        "  both: {input: 10, type: uint32, unit: s}\n"
    )
    told = parse_map(text.encode(), "m.yaml").faults
    assert [(fault.line, fault.column, fault.severity) for fault in told] == [(6, 17, "fault")]
    assert "overlaps 'low': both use the input register at address 11" in told[0].fault


#: Allowed and meant: no word is said.
SILENT = [
    "fluid: water\nreadings: {a: {input: 1, type: uint16, unit: m3/h}}",
    "principle: magnetic\nreadings: {a: {input: 1, type: uint16, unit: m3/h}}",
    "readings: {a: {input: 1, type: uint16, unit: m3/h, basis: actual}}",
    "readings: {a: {input: 1, type: uint16, unit: 1}}",
    "readings: {a: {input: 1, type: uint16, unit: m³/h, reference: {temperature: 0 °C, pressure: 1013 hPa}}}",
    "readings: {a: {input: 1, type: uint16, scale: -0.1, unit: s, range: [-9, 0]}}",
    "readings: {a: {input: 1, type: uint16, unit: s, times_ten_to: {input: 2, type: int16}}, "
    "b: {input: 3, type: uint16, unit: s, times_ten_to: {input: 2, type: int16}}}",
    "readings: {a: {input: 1, type: uint16, unit: bar(g), gauge: true}}",
    "wire: {bridge: 1}\nreadings: {a: {input: 1, type: uint32, unit: s, plus: [{input: 4, type: uint16}]}}",
    "readings: {a: {input: 1, type: uint32, unit: s, plus: [{input: 4, type: uint16}]}, "
    "between: {input: 3, type: uint16, unit: s}}",
    "readings: {a: {input: 1, type: uint32, unit: s, parts: apart, plus: [{holding: 4, type: uint16}]}}",
    "readings: {a: {input: 1, type: uint16, unit: m3/h, reference: {temperature: 20 degC, "
    "pressure: {input: 2, type: uint16, unit: mbar(a)}}}}",
    "readings: {a: {discrete: 1, codes: {0: closed, 1: open}}}",
    "readings: {a: {input: 1, type: text, registers: 3, not_available: ['FFFF FFFF FFFF']}}",
]


@pytest.mark.parametrize("rest", SILENT)
def test_what_is_meant_is_taken_in_silence(rest: str) -> None:
    parsed = parse_map(f"register_map: 1\nmeter: m\n{rest}\n".encode(), "m.yaml")
    assert parsed.faults == ()
    assert parsed.map is not None


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (b"measuring_point: 1\nname: header\njob: job.yaml\npipe: {}\n", "a point file"),
        (b"job: 1\ncustomer: Hollow Mere bottling hall\n", "a job file"),
    ],
)
def test_a_file_of_another_kind_is_told_as_that_and_nothing_else(text: bytes, kind: str) -> None:
    (fault,) = parse_map(text, "given.yaml").faults
    assert str(fault) == (
        f"given.yaml:1:1: this is {kind}, not a register map, which begins with `register_map: 1`"
    )


def test_a_map_with_a_stray_key_of_a_job_is_still_a_map() -> None:
    faults = [fault.fault for fault in parse_map(b"register_map: 1\njob: 1\n", "m.yaml").faults]
    assert any("unknown key 'job'" in fault for fault in faults)
