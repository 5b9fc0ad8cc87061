"""What a sealed table holds: types from the map, values from raw words, nothing invented."""

import json
import struct
from datetime import UTC, datetime

import pyarrow as pa
import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.plan.plan import plan_round, polled_values
from readout.sealing.record import UNSTEADY, Record, pack
from readout.sealing.table import metadata_of, schema_of, table_of, unsteady_names
from storage.journal import Row

MAP = """\
register_map: 1
meter: constructed
serial: {unit_address: 5}
wire: {bridge: 4}
readings:
  flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar}}
  pressure: {input: 20, type: uint16, scale: 0.001, unit: bar, gauge: true, not_available: [65535]}
  temperature: {input: 21, type: int16, unit: degC, range: [-40, 60]}
  counter: {input: 22, type: uint48, unit: m3}
  state: {input: 25, type: uint16, bits: {0: sensor fault, 3: supply low}}
  mode: {input: 26, type: uint16, codes: {1: idle, 2: recording}}
  label: {input: 27, type: text, registers: 2}
  set_at: {input: 30, type: unix time}
  relay: {coil: 3}
  level: {input: 40, type: uint16, unit: {input: 41, type: uint16, codes: {1: bar, 2: psi}}}
"""
FORMAT = SerialFormat(19200, "even", 8, 1)
DUE = 1_777_852_800_000


def record_of(text: str = MAP) -> Record:
    parsed = parse_map(text.encode(), "constructed.yaml")
    assert parsed.map is not None, parsed.faults
    plan = plan_round(parsed.map, polled_values(parsed.map), FORMAT, 5)
    return Record(
        name="hall", source="live", columns=plan.columns, map_text=text, map_sha256=parsed.map.sha256,
        point={"text": "name: hall"}, plan={}, meter={"serial_number": "HM-1"}, settings={}, line={},
        version="0",
    )  # fmt: skip


def row(record: Record, read: dict[str, int], sequence: int = 1, **changes: object) -> Row:
    """A row with words by `table address`; what is not given was not received."""
    packed, present = pack([read.get(f"{c.table} {c.address}") for c in record.columns])
    given = {
        "point": "hall",
        "source": "live",
        "plan": "p",
        "due": DUE,
        "time": DUE + 31,
        "clock": "synchronised",
        "status": "ok",
        "words": packed,
        "present": present,
        "sequence": sequence,
    }
    given |= changes
    return Row(**given)  # type: ignore[arg-type]  # the fields of a row by name


def words(**blocks: bytes) -> dict[str, int]:
    """`input_16=bytes` → words from that register on, high byte first."""
    found = {}
    for where, data in blocks.items():
        table, start = where.split("_")
        for i, (word,) in enumerate(struct.iter_unpack(">H", data)):
            found[f"{table} {int(start) + i}"] = word
    return found


GOOD = words(
    input_16=struct.pack(">f", 123.456),
    input_20=struct.pack(">Hh", 7012, -5),
    input_22=(2**47 + 1).to_bytes(6, "big"),
    input_25=struct.pack(">HH", 0b1001, 2),
    input_27=b"HM 1",
    input_30=struct.pack(">I", 1_777_852_800),
    input_40=struct.pack(">HH", 61, 2),
    coil_3=struct.pack(">H", 1),
)


def test_types_come_from_the_map() -> None:
    kinds = {field.name: str(field.type) for field in schema_of(record_of())}
    assert {name: kinds[name] for name in kinds if not name.startswith("raw_")} == {
        "sequence": "int64", "due": "timestamp[ms, tz=UTC]", "time": "timestamp[ms, tz=UTC]",
        "clock": "string", "status": "string", "flow": "float", "flow_flag": "string", "pressure": "double",
        "pressure_flag": "string", "temperature": "int16", "temperature_flag": "string", "counter": "uint64",
        "state": "uint16", "mode": "uint16", "mode_flag": "string", "label": "string", "label_flag": "string",
        "set_at": "timestamp[ms, tz=UTC]", "relay": "bool", "level": "uint16", "level_flag": "string",
        "level_unit": "string",
    }  # fmt: skip
    assert {kind for name, kind in kinds.items() if name.startswith("raw_")} == {"uint16"}
    assert {"raw_input_16", "raw_coil_3", "raw_input_24"} <= kinds.keys()


def test_a_good_row_has_the_meters_values() -> None:
    record = record_of()
    (found,) = table_of(record, [row(record, GOOD)]).to_pylist()
    assert found["flow"] == struct.unpack(">f", struct.pack(">f", 123.456))[0]
    assert found["pressure"] == 7.012
    assert found["temperature"] == -5
    assert found["counter"] == 2**47 + 1
    assert (found["state"], found["mode"], found["label"], found["relay"]) == (9, 2, "HM 1", True)
    assert found["set_at"] == datetime(2026, 5, 4, tzinfo=UTC)
    assert (found["level"], found["level_unit"]) == (61, "psi")
    assert found["due"] == datetime(2026, 5, 4, tzinfo=UTC)
    assert found["raw_input_20"] == 7012
    assert [name for name in found if name.endswith("_flag") and found[name] is not None] == []


def test_what_was_not_received_is_null_without_a_flag() -> None:
    record = record_of()
    lost = row(record, {}, status="no reply", time=None)
    (found,) = table_of(record, [lost]).to_pylist()
    there = {name for name, value in found.items() if value is not None}
    assert there == {"sequence", "due", "clock", "status"}


def test_a_skipped_row_has_no_words_at_all() -> None:
    record = record_of()
    skipped = row(record, {}, status="skipped", time=None, words=b"", present=b"")
    (found,) = table_of(record, [skipped]).to_pylist()
    assert found["status"] == "skipped"
    assert found["flow"] is None
    assert found["raw_input_16"] is None


@pytest.mark.parametrize(
    ("changed", "name", "value", "flag"),
    [
        (words(input_16=bytes.fromhex("7FC00000")), "flow", None, "not a number"),
        (words(input_16=bytes.fromhex("7F800000")), "flow", None, "not a number"),
        (words(input_20=struct.pack(">H", 65535)), "pressure", None, "not available"),
        (words(input_21=struct.pack(">h", -41)), "temperature", -41, "below range"),
        (words(input_21=struct.pack(">h", 61)), "temperature", 61, "above range"),
        (words(input_26=struct.pack(">H", 17)), "mode", 17, "unknown code"),
        (words(input_41=struct.pack(">H", 9)), "level", 61, "unknown unit"),
    ],
)
def test_flags_say_why(changed: dict[str, int], name: str, value: object, flag: str) -> None:
    record = record_of()
    (found,) = table_of(record, [row(record, GOOD | changed)]).to_pylist()
    assert (found[name], found[f"{name}_flag"]) == (value, flag)


def test_unsteady_values_are_null_and_named() -> None:
    total = "  total: {input: 60, type: uint16, unit: m3, parts: apart, plus: [{input: 90, type: uint16}]}\n"
    text = MAP + total
    record = record_of(text)
    read = GOOD | words(input_60=b"\x00\x01", input_90=b"\x00\x02")
    rows = [row(record, read), row(record, read, 2, cause=f"{UNSTEADY} total")]
    found = table_of(record, rows).to_pylist()
    assert [(r["total"], r["total_flag"]) for r in found] == [(3.0, None), (None, "unsteady")]
    assert unsteady_names(f"bad CRC {UNSTEADY} a b") == {"a", "b"}
    assert unsteady_names("bad CRC") == frozenset()


def test_the_record_survives_the_journal_and_fills_the_metadata() -> None:
    record = record_of()
    again = Record.from_text(record.to_text())
    assert again == record
    entries = metadata_of(again, [row(record, GOOD), row(record, GOOD, 2)])
    assert set(entries) == {
        f"pipeledger.{key}"
        for key in ("format", "point", "map", "map_sha256", "plan", "meter", "settings", "clock_offset",
                    "line", "version", "rows")
    }  # fmt: skip
    assert json.loads(entries["pipeledger.map"]) == MAP
    assert json.loads(entries["pipeledger.rows"])["count"] == 2
    assert json.loads(entries["pipeledger.meter"]) == {"serial_number": "HM-1"}


def test_columns_tell_unit_reference_and_register() -> None:
    schema = schema_of(record_of())
    about = {key.decode(): text.decode() for key, text in schema.field("flow").metadata.items()}
    assert about == {"unit": "m3/h", "reference": "20 degC, 1 bar", "register": "input 16 float32"}
    assert schema.field("pressure").metadata[b"unit"] == b"bar(g)"
    assert json.loads(schema.field("state").metadata[b"words"]) == {
        "bits": {"0": "sensor fault", "3": "supply low"}
    }
    assert json.loads(schema.field("mode").metadata[b"words"]) == {"codes": {"1": "idle", "2": "recording"}}


def test_an_empty_stretch_has_the_same_columns() -> None:
    record = record_of()
    assert table_of(record, []).schema.equals(pa.schema(schema_of(record)))
