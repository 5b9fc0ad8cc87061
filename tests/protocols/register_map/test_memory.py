"""What a map says of a log memory: read completely, and everything that cannot be told at its place."""

import pytest

from protocols.register_map.memory_model import (
    ByFiles,
    ByQueue,
    ByRegisters,
    ByWindow,
    Counts,
    Empty,
    Holds,
    LogMemory,
    MarkedAt,
    Place,
    WhenFull,
)
from protocols.register_map.model import Kind, Order
from protocols.register_map.parse import parse_map

HEAD = "register_map: 1\nmeter: m\nwire: {registers_per_read: 48, bridge: 4}\n"
#: A memory with everything in it, one key a line, reached by a window.
WHOLE = """\
log_memory:
  capacity: 40960
  when_full: stop
  holds: mean
  marked_at: end
  clock: {zone: site}
  recording: {holding: 80, type: uint16, codes: {0: idle, 1: recording}}
  lock: {holding: 90, open: 1, close: 0, busy: 2}
  sessions:
    count: {input: 100}
    table: {input: 110, registers: 7}
    most: 40
    fields:
      started: {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records: {at: 3, type: uint32}
      first: {at: 5, type: uint32}
  record:
    registers: 4
    empty: [all ones]
    fields:
      flow: {at: 0, type: uint16, scale: 0.1, unit: kg/h}
      heat: {at: 1, type: int16, scale: 0.1, unit: degC}
      number: {at: 2, type: uint16}
      check: {at: 3, type: crc16}
  reached_by:
    window:
      pointer: {holding: 82, type: uint32}
      echo: {holding: 400, type: uint32}
      data: {holding: 402}
      records: 11
      write_and_read: allowed
"""


def memory_of(text: str) -> LogMemory:
    parsed = parse_map((HEAD + text).encode(), "m.yaml")
    assert parsed.faults == ()
    assert parsed.map is not None
    assert parsed.map.log_memory is not None
    assert parsed.map.log_memory is not None
    return parsed.map.log_memory


def test_everything_is_read() -> None:
    memory = memory_of(WHOLE)
    assert (memory.capacity, memory.when_full, memory.holds) == (40960, WhenFull.STOP, Holds.MEAN)
    assert (memory.marked_at, memory.clock.zone, memory.clock.offset_s) == (MarkedAt.END, "site", None)
    assert memory.lock is not None
    assert (memory.lock.register.address, memory.lock.register.kind) == (90, Kind.UINT16)
    assert (memory.lock.open, memory.lock.close, memory.lock.busy) == (1, 0, 2)
    assert memory.recording is not None
    assert memory.recording.codes == {0: "idle", 1: "recording"}
    sessions = memory.sessions
    assert sessions is not None
    assert (sessions.count.kind, sessions.registers, sessions.most) == (Kind.UINT16, 7, 40)
    assert list(sessions.fields) == ["started", "interval", "records", "first"]
    record = memory.record
    assert (record.registers, record.stated, record.empty) == (4, True, (Empty.ALL_ONES,))
    assert [field.name for field in record.values] == ["flow", "heat"]
    assert record.number is not None
    assert record.check is not None
    assert record.check.crc_order is Order.LOW_FIRST
    assert record.time is None
    assert all(field.number.table is None for field in record.fields)
    way = memory.reached_by
    assert isinstance(way, ByWindow)
    assert (way.pointer.address, way.data.address, way.records) == (82, 402, 11)
    assert (way.write_and_read, way.advance) == (True, False)


#: Another `reached_by` and what it is read as.
OTHERS = [
    ("registers: {input: 1000, bank: {holding: 84}, records_per_bank: 10000}", ByRegisters),
    ("files: {first_file: 1, records_per_file: 2500, counts: records}", ByFiles),
    ("queue: {address: 600, next_wanted: {holding: 86, type: uint32}}", ByQueue),
    ("queue: {address: 600, advance: by read}", ByQueue),
]


def reached(way: str) -> str:
    return WHOLE[: WHOLE.index("    window:")] + f"    {way}\n"


@pytest.mark.parametrize(("way", "kind"), OTHERS)
def test_each_of_the_other_ways_is_read(way: str, kind: type) -> None:
    assert isinstance(memory_of(reached(way)).reached_by, kind)


def test_keys_of_the_ways() -> None:
    area, files, queue, moving = (memory_of(reached(way)).reached_by for way, _ in OTHERS)
    assert isinstance(area, ByRegisters)
    assert area.bank is not None
    assert (area.bank.kind, area.bank.address, area.records_per_bank) == (Kind.UINT16, 84, 10000)
    assert isinstance(files, ByFiles)
    assert (files.first_file, files.records_per_file, files.counts) == (1, 2500, Counts.RECORDS)
    assert isinstance(queue, ByQueue)
    assert isinstance(moving, ByQueue)
    assert (queue.address, queue.advance, moving.advance) == (600, False, True)


def test_printed_numbers_are_taken_as_the_map_counts_them() -> None:
    """Function 24's address is a register's (MODBUS Application Protocol V1.1b3, 6.18): it counts so too."""
    text = reached("queue: {address: 40601, next_wanted: {holding: 40087, type: uint32}}")
    for old, new in (("holding: 80", "holding: 40081"), ("holding: 90", "holding: 40091"),
                     ("input: 100", "input: 30101"), ("input: 110", "input: 30111")):  # fmt: skip
        text = text.replace(old, new)
    parsed = parse_map((HEAD.replace("bridge: 4", "numbering: table digit") + text).encode(), "m.yaml")
    assert parsed.map is not None, parsed.faults
    memory = parsed.map.log_memory
    assert memory is not None
    assert memory.sessions is not None
    assert isinstance(memory.reached_by, ByQueue)
    assert (memory.reached_by.address, memory.sessions.table) == (
        600,
        Place(memory.sessions.table.table, 110),
    )


#: What is replaced in the whole memory by what, the line of the fault in the text, and words of it.
REFUSED = [
    ("  capacity: 40960\n", "", "when_full", "lacks the key 'capacity'"),
    ("capacity: 40960", "capacity: 0", "capacity", "out of range"),
    ("when_full: stop", "when_full: stops", "when_full", "did you mean stop"),
    ("holds: mean", "holds: average", "holds", "allowed: sample, mean"),
    ("zone: site", "zone: CET", "zone", "utc, site, or an offset"),
    ("zone: site", "zone: +15:00", "zone", "+01:00"),
    ("1: recording}", "1: running}", "recording:", "lacks the word recording"),
    (
        "  lock:",
        "  command: {holding: 81, type: uint16, codes: {1: go}}\n  lock:",
        "command",
        "takes none of",
    ),
    ("close: 0", "close: 1", "lock", "both opens and closes"),
    ("busy: 2", "busy: 0", "lock", "tells that it is held"),
    ("lock: {holding: 90", "lock: {input: 90", "lock", "only holding registers can be written"),
    ("table: {input: 110, registers: 7}", "table: {input: 110, registers: 6}", "first:", "ends at 6"),
    ("table: {input: 110, registers: 7}", "table: {input: 110, registers: 60}", "table:", "no read can hold"),
    ("most: 40", "most: 20000", "most", "the last address is 65535"),
    ("started: {at: 0, type: unix time}", "started: {at: 0, type: uint32, unit: s}", "started", "no moment"),
    ("type: uint16, unit: s}", "type: uint16, unit: kg}", "interval", "unit of time"),
    ("records: {at: 3, type: uint32}", "records: {at: 3, type: float32}", "records:", "integer type"),
    ("records: {at: 3, type: uint32}", "records: {at: 3, type: uint32, scale: 2}", "records:", "counted"),
    ("first: {at: 5", "first: {at: 4", "first:", "overlaps 'records'"),
    ("registers: 4\n", "registers: 3\n", "check:", "record has 3 registers, 0 to 2"),
    ("    registers: 4\n", "", "empty", "needs registers or register"),
    ("heat: {at: 1, type: int16, scale: 0.1", "heat: {at: 1, type: int32, scale: 0.1", "number:",
     "overlaps 'heat': both use the record's word 2"),
    ("heat: {at: 1", "heat: {input: 1", "heat", "a field lies in its record; say at"),
    ("heat: {at: 1, type: int16, ", "heat: {at: 1, ", "heat", "a field needs a type"),
    ("heat: {at", "time: {at", "time:", "int16 is no moment"),
    ("heat: {at: 1, type: int16, scale: 0.1, unit: degC}", "heat: {at: 1, type: crc16}", "heat",
     "call the field check"),
    ("check: {at: 3, type: crc16}", "check: {at: 3, type: uint16}", "check:", "is no checksum"),
    ("number: {at: 2, type: uint16}", "number: {at: 2, type: uint16, scale: 0.1}", "number:", "is counted"),
    ("heat: {", "raw_heat: {", "heat", "begins with raw_"),
    ("heat: {", "session: {", "session:", "is a column of every row"),
    ("empty: [all ones]", "empty: [all sevens]", "empty", "all zeros"),
    ("unit: degC}", "unit: {register: {input: 9, type: uint16}, codes: {0: degC}}}", "heat", "say at"),
    ("records: 11", "records: 12", "records: 12", "span 50, but registers_per_read is 48; 11 fit"),
    ("echo: {holding: 400", "echo: {holding: 300", "echo", "no read holds both"),
    ("echo: {holding: 400", "echo: {input: 400", "echo", "no read holds both"),
    ("echo: {holding: 400", "echo: {holding: 410", "echo", "within the window"),
    ("pointer: {holding: 82, type: uint32}", "pointer: {holding: 82, type: bcd16}", "pointer", "up to 9999"),
    ("pointer: {holding: 82, type: uint32}", "pointer: {input: 82}", "pointer", "can be written"),
    ("data: {holding: 402}", "data: {holding: 65530}", "data", "the last address is 65535"),
    ("data: {holding: 402}", "data: {input: 402}", "data", "function 23 reads holding registers only"),
    ("when_full: stop", "number_wraps_at: 1000", "number_wraps_at", "would share one"),
    ("when_full: stop", "oldest: {input: 50}", "oldest", "add next"),
]  # fmt: skip


@pytest.mark.parametrize(("right", "wrong", "at", "wanted"), REFUSED)
def test_a_wrong_memory_is_told_in_its_line(right: str, wrong: str, at: str, wanted: str) -> None:
    assert right in WHOLE
    text = HEAD + WHOLE.replace(right, wrong, 1)
    parsed = parse_map(text.encode(), "m.yaml")
    assert parsed.map is None
    faults = [fault for fault in parsed.faults if wanted in fault.fault]
    assert faults, [str(fault) for fault in parsed.faults]
    lines = [number for number, line in enumerate(text.splitlines(), 1) if at in line]
    assert faults[0].line in lines


#: Another way in the place of the window, and words of its fault.
WRONG_WAYS = [
    ("registers: {input: 1000}", "the last address is 65535, 16134 fit; are there banks?"),
    ("registers: {input: 1000, bank: {holding: 84}}", "bank goes with records_per_bank"),
    ("registers: {input: 1000, bank: {holding: 84}, records_per_bank: 20000}", "16134 fit"),
    ("registers: {holding: 1000, bank: {holding: 1004}, records_per_bank: 100}", "lies among the records"),
    ("files: {first_file: 1, records_per_file: 2501}", "so 2500 records fit; or does the file count records"),
    ("files: {first_file: 65535, records_per_file: 2500}", "the last file would be 65551"),
    ("files: {first_file: 0, records_per_file: 2500}", "1 to 65535"),
    ("queue: {address: 600}", "exactly one of next_wanted, advance"),
    ("queue: {address: 600, next_wanted: {holding: 86, type: bcd16}}", "holds numbers up to 9999"),
    ("queue: {address: 70000, advance: by read}", "past the last one"),
    ("{}", "exactly one of window, registers, files, queue"),
]


@pytest.mark.parametrize(("way", "wanted"), WRONG_WAYS)
def test_a_way_that_does_not_reach_every_record_is_refused(way: str, wanted: str) -> None:
    parsed = parse_map((HEAD + reached(way)).encode(), "m.yaml")
    assert parsed.map is None
    assert any(wanted in fault.fault for fault in parsed.faults), [str(fault) for fault in parsed.faults]


@pytest.mark.parametrize(
    ("way", "registers", "wanted"),
    [
        ("queue: {address: 600, advance: by read}", 32, "a queue's reply at most 31"),
        ("files: {first_file: 1, records_per_file: 70}", 122, "at most 121"),
        (
            "registers: {input: 1000, bank: {holding: 84}, records_per_bank: 100}",
            49,
            "registers_per_read is 48",
        ),
    ],
)
def test_a_record_too_wide_for_its_way_is_refused(way: str, registers: int, wanted: str) -> None:
    """31 registers a queue's reply, 121 of a file (MODBUS Application Protocol V1.1b3, 6.18 and 6.14)."""
    text = HEAD + reached(way).replace("registers: 4\n", f"registers: {registers}\n")
    faults = parse_map(text.encode(), "m.yaml").faults
    assert any(wanted in fault.fault for fault in faults), [str(fault) for fault in faults]


RING = """\
log_memory:
  capacity: 1000
  when_full: overwrite oldest
  EXTENT
  record: {registers: 3, fields: {time: {at: 0, type: unix time}, a: {at: 2, type: uint16, unit: 1}}}
  reached_by: {registers: {input: 1000}}
"""


@pytest.mark.parametrize(
    ("extent", "wanted"),
    [
        (
            "holds: mean",
            "must say where it begins: add oldest and next, or sessions, or let the records tell",
        ),
        ("next: {input: 50}", "must say where it begins"),
        (
            "oldest: {input: 50}\n  next: {input: 51}\n  number_wraps_at: 1000",
            "may be empty or full; add count",
        ),
        ("oldest: {input: 50}\n  next: {input: 51}\n  number_wraps_at: 60500", "no multiple of the capacity"),
    ],
)
def test_a_ring_that_does_not_say_where_it_begins(extent: str, wanted: str) -> None:
    faults = parse_map((HEAD + RING.replace("EXTENT", extent)).encode(), "m.yaml").faults
    assert any(wanted in fault.fault for fault in faults), [str(fault) for fault in faults]


def test_records_without_any_time_are_a_warning() -> None:
    text = HEAD + RING.replace("time: {at: 0, type: unix time}, ", "").replace(
        "EXTENT", "oldest: {input: 50, type: uint32}\n  next: {input: 52, type: uint32}"
    )
    parsed = parse_map(text.encode(), "m.yaml")
    assert parsed.map is not None
    assert [fault.severity for fault in parsed.faults] == ["warning"]
    assert "no record has a time" in parsed.faults[0].fault


def test_a_check_in_the_middle_is_a_warning() -> None:
    text = HEAD + WHOLE.replace("number: {at: 2, type: uint16}", "check: {at: 2, type: crc16}").replace(
        "      check: {at: 3, type: crc16}\n", "      late: {at: 3, type: uint16, unit: 1}\n"
    )
    faults = parse_map(text.encode(), "m.yaml").faults
    assert [fault.severity for fault in faults] == ["warning"]
    assert "words 3 to 3 are not checked" in faults[0].fault
