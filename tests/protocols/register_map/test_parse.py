"""What an integrator writes becomes the map that is meant, or is told with its line and column."""

from decimal import Decimal
from pathlib import Path

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.faults import Fault
from protocols.register_map.model import Kind, Order, RegisterMap, Value
from protocols.register_map.parse import parse_map

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall/insertion-meter.yaml"


def map_of(text: str) -> RegisterMap:
    parsed = parse_map(text.encode(), "meter.yaml")
    assert parsed.map is not None, "\n".join(map(str, parsed.faults))
    return parsed.map


def reading(text: str, wire: str = "{}") -> Value:
    return map_of(f"register_map: 1\nmeter: m\nwire: {wire}\nreadings:\n  a: {text}\n").readings[0]


def faults_of(text: str) -> list[Fault]:
    return [fault for fault in parse_map(text.encode(), "meter.yaml").faults if fault.severity == "fault"]


NINE_MISTAKES = """\
register_map: 1
meter: Faulty meter
wire: {numbering: from 0, registers_per_read: 8}
readings:
  flow: {input: 0, type: flaot32, unit: m/s}
  speed: {input: 2, type: float32, unit: m/s, skale: 2}
  gas: {input: 4, type: float32, unit: m/s, unit: mm/s}
  octal: {input: 0100, type: uint16, unit: bar}
  comma:
    input: 8
    type: uint16
    unit: bar
    scale: 0,1
  comma_flow: {input: 9, type: uint16, scale: 0,1, unit: bar}
  first: {input: 20, type: uint32, unit: s}
  second: {input: 21, type: uint16, unit: s}
  wide: {holding: 100, type: text, registers: 12}
  past: {holding: 65536, type: uint16, unit: bar}
  printed: {holding: 40001, type: uint16, unit: bar}
"""


def test_nine_planted_mistakes_are_all_told_in_one_run_with_line_and_column() -> None:
    told = [(fault.line, fault.column, fault.fault) for fault in faults_of(NINE_MISTAKES)]
    planted = [
        (5, 26, "did you mean float32"),
        (6, 47, "did you mean scale"),
        (7, 45, "'unit' is given twice; first in line 7"),
        (8, 18, "64 (octal) or 100 (decimal)"),
        (13, 12, "write 0.1"),
        (14, 47, "write 0.1"),
        (16, 19, "overlaps 'first'"),
        (17, 47, "registers_per_read is 8"),
        (18, 19, "addresses go from 0 to 65535"),
        (19, 22, "numbering: from 0, large numbers meant"),
    ]
    assert [(line, column) for line, column, _ in told] == [(line, column) for line, column, _ in planted]
    for (_, _, text), (_, _, wanted) in zip(told, planted, strict=True):
        assert wanted in text


def test_line_and_column_point_at_the_mistake_itself() -> None:
    """Constructed: the words are looked for in the text, not in the program's answer."""
    rows = NINE_MISTAKES.splitlines()
    for fault in faults_of(NINE_MISTAKES):
        here = rows[fault.line - 1][fault.column - 1 :]
        assert here.startswith(("flaot32", "skale", "unit: mm", "0100", "0,1", "21", "12", "65536", "40001"))


def test_a_fault_reads_as_file_line_column_and_what_to_do() -> None:
    fault = faults_of("register_map: 1\nmeter: m\nreadings: {a: {input: 1, type: int17, unit: s}}\n")[0]
    assert str(fault).startswith("meter.yaml:3:32: 'int17' is no known type; did you mean int")


def test_the_map_of_the_demonstration_says_what_its_text_says() -> None:
    found = map_of(DEMO.read_text(encoding="utf-8"))
    assert parse_map(DEMO.read_bytes(), "m").faults == ()
    assert [value.name for value in found.readings] == [
        "flow",
        "velocity",
        "pressure",
        "temperature",
        "total",
        "state",
    ]
    flow = found.reading("flow")
    assert (flow.number.table, flow.number.address, flow.number.kind) == (Table.INPUT, 0, Kind.FLOAT32)
    assert (flow.number.word_order, flow.number.byte_order) == (Order.LOW_FIRST, Order.HIGH_FIRST)
    assert flow.reference is not None
    assert flow.reference.temperature.told is not None
    assert flow.reference.temperature.told.number.address == 20
    assert flow.reference.temperature.told.unit == "degC"
    total = found.reading("total")
    assert total.number.scale == Decimal("0.1")
    assert total.reference is not None
    assert total.reference.taken_from == "flow"
    assert total.totaliser is not None
    assert total.totaliser.rolls_over_at == Decimal(100000000)
    assert found.reading("pressure").gauge
    assert found.reading("state").bits == {0: "sensor fault", 1: "supply low", 4: "flow below cut-off"}
    assert [setting.writable for setting in found.settings] == [True, True, False, True, True]
    assert found.settings[1].steps == (Decimal("0.5"), Decimal(1), Decimal(2), Decimal(5), Decimal(10))
    assert (found.identity[0].number.words, found.identity[0].number.address) == (5, 40)
    assert (found.wire.registers_per_read, found.wire.bridge, found.wire.reply_within) == (32, 6, 0.25)
    assert found.wire.late_within == 1.0
    assert (found.serial.baud_rate, found.serial.parity, found.serial.unit_address) == (19200, "even", 20)
    assert found.map_version == "2"
    memory = found.log_memory
    assert memory is not None
    assert (memory.capacity, memory.record.registers, memory.is_ring) == (50000, 4, False)


def test_the_text_and_its_hash_are_kept() -> None:
    """The hash is that of the file's bytes."""
    import hashlib

    data = DEMO.read_bytes()
    found = parse_map(data, "m").map
    assert found is not None
    assert found.text.encode() == data
    assert found.sha256 == hashlib.sha256(data).hexdigest()


def test_everything_in_wire_has_a_default() -> None:
    wire = map_of(
        "register_map: 1\nmeter: m\nwire: {}\nreadings: {a: {input: 1, type: int16, unit: s}}\n"
    ).wire
    assert (wire.registers_per_read, wire.bridge, wire.write_with) == (125, 0, 16)
    assert (wire.reply_within, wire.late_within, wire.pause, wire.after_open) == (0.5, 1.0, 0.0, 0.0)


def test_the_late_window_is_never_shorter_than_the_reply_time() -> None:
    head = "register_map: 1\nmeter: m\nreadings: {a: {input: 1, type: int16, unit: s}}\n"
    assert map_of(head + "wire: {reply_within: 3 s}\n").wire.late_within == 3.0
    assert map_of(head + "wire: {reply_within: 3 s, late_within: 0.5s}\n").wire.late_within == 0.5


@pytest.mark.parametrize(
    ("numbering", "table", "printed", "address"),
    [
        # MODBUS Application Protocol V1.1b3, 4.4: data numbered 1 to n is addressed 0 to n-1
        ("from 0", "holding", "0", 0),
        ("from 0", "holding", "0x006B", 107),
        ("from 1", "holding", "108", 107),
        ("table digit", "holding", "40108", 107),
        ("table digit", "holding", "400108", 107),
        ("table digit", "input", "30001", 0),
        ("table digit", "input", "300001", 0),
        ("table digit", "input", "365536", 65535),
        ("table digit", "holding", "49999", 9998),
        ("from 0, large numbers meant", "holding", "40001", 40001),
        ("from 0", "holding", "30001", 30001),
    ],
)
def test_a_register_is_sent_as_the_manual_means_it(
    numbering: str, table: str, printed: str, address: int
) -> None:
    found = reading(f"{{{table}: {printed}, type: uint16, unit: s}}", f"{{numbering: '{numbering}'}}")
    assert found.number.address == address


def test_coils_and_discretes_are_counted_as_their_tables_are() -> None:
    assert reading("{coil: 20}", "{numbering: table digit}").number.address == 19
    found = reading("{discrete: 10197}", "{numbering: table digit}").number
    assert (found.address, found.kind, found.words) == (196, Kind.BIT, 1)


def test_a_value_of_parts_keeps_them_in_order() -> None:
    found = reading(
        "{input: 10, type: uint32, unit: m3, plus: [{input: 12, type: uint16, scale: 0.001}], "
        "times_ten_to: {input: 13, type: int16}}"
    )
    assert [part.address for part in found.parts()] == [10, 12, 13]
    assert found.plus[0].scale == Decimal("0.001")


def test_a_meter_with_four_bytes_behind_each_address() -> None:
    own = reading("{holding: 7006, type: float32, unit: m/s, bytes_per_register: 4}").number
    default = reading("{holding: 7006, type: float32, unit: m/s}", "{bytes_per_register: 4}").number
    assert (own.words, own.addresses) == (default.words, default.addresses) == (2, 1)


def test_a_told_unit_and_the_reference_of_one_of_its_codes() -> None:
    found = reading(
        "{holding: 48, type: uint32, unit: {holding: 50, type: uint16, codes: {0: kg/h, "
        "1: {unit: Nl/min, reference: {temperature: 0 degC, pressure: 1.01325 bar}}}}}"
    )
    assert found.told_unit is not None
    assert found.told_unit.codes == {0: "kg/h", 1: "Nl/min"}
    assert found.told_unit.references[1].pressure.text == "1.01325 bar"


def test_not_available_takes_numbers_and_register_words() -> None:
    found = reading(
        "{input: 1, type: uint32, unit: s, not_available: [4294967295, 0xFFFFFFFE, 7F7F FFFF, '8000 0000']}"
    )
    assert found.not_available.numbers == (Decimal(4294967295), Decimal(4294967294))
    assert found.not_available.words == ((0x7F7F, 0xFFFF), (0x8000, 0x0000))


def test_a_calendar_is_one_word_a_register() -> None:
    found = reading(
        "{holding: 5, type: calendar, layout: [minute/second, day/hour, year/month], coding: bcd}"
    )
    assert found.layout == (("minute", "second"), ("day", "hour"), ("year", "month"))
    assert (found.number.words, found.coding) == (3, "bcd")


def test_words_that_older_programs_take_for_true_and_false_stay_words() -> None:
    """YAML 1.2.2, 10.3.2 (core schema): only true and false are truth values; yes, no, on, off are text."""
    assert reading("{input: 1, type: uint16, codes: {0: off, 1: on, 2: no, 3: yes}}").codes == {
        0: "off", 1: "on", 2: "no", 3: "yes",
    }  # fmt: skip


def test_references_follow_each_other_to_the_conditions() -> None:
    found = map_of(
        "register_map: 1\nmeter: m\nreadings:\n"
        "  a: {input: 1, type: int16, unit: m3/h, reference: as b}\n"
        "  b: {input: 2, type: int16, unit: m3/h, reference: as c}\n"
        "  c: {input: 3, type: int16, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar}}\n"
    )
    assert found.readings[0].reference is not None
    assert found.readings[0].reference.temperature.text == "20 degC"
    assert found.readings[0].reference.taken_from == "b"


def test_a_map_of_log_memory_alone_needs_no_readings() -> None:
    found = map_of(
        "register_map: 1\nmeter: m\nlog_memory:\n  capacity: 10\n"
        "  record: {registers: 2, fields: {time: {at: 0, type: unix time}}}\n"
        "  reached_by: {registers: {input: 100}}\n"
    )
    assert found.log_memory is not None
    assert found.log_memory is not None
    assert found.readings == ()


def test_a_pressure_unit_that_says_gauge_is_a_gauge_pressure() -> None:
    assert reading("{input: 1, type: uint16, unit: bar(g)}").gauge
    assert not reading("{input: 1, type: uint16, unit: bar(a)}").gauge


def test_numbers_with_an_exponent_are_exact() -> None:
    assert reading("{input: 1, type: uint16, unit: s, scale: 1e3, offset: -2.5E-1}").number.scale == 1000


def test_bits_are_named_also_where_a_type_with_a_sign_reads_them() -> None:
    """0x8001 is -32767 as int16 (two's complement): bits 0 and 15."""
    text = (
        "register_map: 1\nmeter: m\nreadings:\n  alarm: {input: 4, type: uint16, bits: {0: low, 7: sensor}}\n"
    )
    found = parse_map(text.encode(), "map.yaml").map
    assert found is not None
    (alarm,) = found.readings
    assert alarm.set_bits(-32767, 1) == alarm.set_bits(0x8001, 1) == ["low", "bit15"]
    assert alarm.set_bits(0, 1) == []
    assert alarm.set_bits(0x80, 2) == ["sensor"]
