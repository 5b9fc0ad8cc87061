"""Findings on the meter's own memory: its records, and the way to them."""

from protocols.register_map.findings.finding import Finding


def _memory(
    lines: str = "", record: str = "", way: str = "registers: {input: 1000}", capacity: int = 100
) -> str:
    """A small memory in which one thing differs: 4 registers a record, a time and a flow."""
    return (
        f"log_memory:\n  capacity: {capacity}\n"
        + "".join(f"  {line}\n" for line in (lines or "count: {input: 50}").splitlines())
        + "  record:\n    registers: 4\n    fields:\n"
        + "".join(f"      {line}\n" for line in (record or _FIELDS).splitlines())
        + f"  reached_by: {{{way}}}"
    )


_FIELDS = "time: {at: 0, type: unix time}\nflow: {at: 2, type: uint16, unit: kg/h}"
_WINDOW = (
    "window: {{pointer: {{holding: 82{pointer}}}, echo: {echo}, data: {{holding: 402}}, records: {records}}}"
)
_CALENDAR = (
    "time: {at: 0, type: calendar, coding: bcd, layout: [minute/second, day/hour, year/month]}\n"
    "flow: {at: 3, type: uint16, unit: kg/h}"
)
_GOOD = _memory()
_TABLE = (
    "sessions:\n  count: {input: 100}\n  table: {input: 110, registers: 6}\n  fields:\n"
    "    started: {at: 0, type: unix time}\n    interval: {at: 2, type: uint16, unit: s}\n"
    "    records: {at: 3, type: uint32}"
)

FINDINGS = (
    Finding(
        "memory of four bytes a register", "fault",
        "A record's fields are counted in registers of 16 bits; with 32 bits behind each address every "
        "second one would be missed.",
        _GOOD,
        "wire: {bytes_per_register: 4}\n" + _GOOD,
    ),
    Finding(
        "field outside its record", "fault",
        "The field would be read from the next record: the flow of another moment.",
        _GOOD,
        _memory(record=_FIELDS.replace("at: 2", "at: 4")),
    ),
    Finding(
        "no moment", "fault",
        "Records are placed by it; a plain number is no moment until its zero and its unit are known.",
        _GOOD,
        _memory(record=_FIELDS.replace("unix time", "uint32")),
    ),
    Finding(
        "count is changed", "fault",
        "Records are counted, asked for and compared by this number; a scaled one names another record.",
        _memory(record=_FIELDS + "\nnumber: {at: 3, type: uint16}"),
        _memory(record=_FIELDS + "\nnumber: {at: 3, type: uint16, scale: 10}"),
    ),
    Finding(
        "words unchecked", "warning",
        "A checksum covers what stands before it; a damaged word behind it would not be noticed.",
        _memory(record="time: {at: 0, type: unix time}\nflow: {at: 2, type: uint16, unit: kg/h}\n"
                       "check: {at: 3, type: crc16}"),
        _memory(record="time: {at: 0, type: unix time}\nflow: {at: 3, type: uint16, unit: kg/h}\n"
                       "check: {at: 2, type: crc16}"),
    ),
    Finding(
        "interval without a unit of time", "fault",
        "Times of records are counted with it: 60 may be seconds or minutes.",
        _memory(_TABLE),
        _memory(_TABLE.replace("unit: s", "unit: 1")),
    ),
    Finding(
        "words of recording", "fault",
        "The program starts and stops a recording, or waits for its end, by these words; without them it "
        "cannot tell whether the meter records.",
        _memory("count: {input: 50}\nrecording: {holding: 80, type: uint16, codes: {0: idle, 1: recording}}"),
        _memory("count: {input: 50}\nrecording: {holding: 80, type: uint16, codes: {0: off, 1: on}}"),
    ),
    Finding(
        "lock unclear", "fault",
        "One number would both open and close the memory, so nobody could tell which of the two was done.",
        _memory("count: {input: 50}\nlock: {holding: 90, open: 1, close: 0, busy: 2}"),
        _memory("count: {input: 50}\nlock: {holding: 90, open: 1, close: 1}"),
    ),
    Finding(
        "extent of the memory unclear", "fault",
        "Without its first and last record a ring has no beginning: old and new records would be mixed up.",
        _memory("when_full: overwrite oldest\noldest: {input: 96, type: uint32}\nnext: {input: 98, type: "
        "uint32}"),
        _memory("when_full: overwrite oldest"),
    ),
    Finding(
        "numbers no multiple of capacity", "warning",
        "Where the number starts again in the middle of a turn, records of two turns would share a place.",
        _memory("when_full: overwrite oldest\noldest: {input: 96}\nnext: {input: 98}\ncount: {input: 94}",
                capacity=128),
        _memory("when_full: overwrite oldest\noldest: {input: 96}\nnext: {input: 98}\ncount: {input: 94}"),
    ),
    Finding(
        "records without a time", "warning",
        "Rows without a time cannot be laid beside anything; usually the manual has a start and an "
        "interval elsewhere.",
        _GOOD,
        _memory(record="flow: {at: 2, type: uint16, unit: kg/h}"),
    ),
    Finding(
        "clock without a zone", "warning",
        "A meter's calendar is set by a watch or by UTC; taken for the wrong one, every record is off by "
        "the zone's hours, and by one more in summer.",
        _memory("count: {input: 50}\nclock: {zone: site}", record=_CALENDAR),
        _memory(record=_CALENDAR),
    ),
    Finding(
        "pointer too narrow", "fault",
        "A register of 16 bits cannot ask for record 70,000: the meter would send one of the first again.",
        _memory(way=_WINDOW.format(pointer=", type: uint32", echo="{holding: 400, type: uint32}", records=11),
                capacity=100000),
        _memory(way=_WINDOW.format(pointer="", echo="{holding: 400, type: uint32}", records=11),
                capacity=100000),
    ),
    Finding(
        "echo read apart", "fault",
        "The echo proves where the window stands only if it comes in the same reply as the records.",
        _memory(way=_WINDOW.format(pointer="", echo="{holding: 401}", records=11)),
        _memory(way=_WINDOW.format(pointer="", echo="{input: 401}", records=11)),
    ),
    Finding(
        "register among the records", "fault",
        "One address cannot be a record and the register that chooses it; one of the two was read off "
        "wrongly.",
        _memory(way=_WINDOW.format(pointer="", echo="{holding: 401}", records=11)),
        _memory(way=_WINDOW.format(pointer="", echo="{holding: 403}", records=11)),
    ),
    Finding(
        "function 23 elsewhere", "fault",
        "Function 23 writes and reads holding registers; there is no such request for input registers.",
        _memory(way="window: {pointer: {holding: 82}, data: {holding: 402}, records: 11, "
                    "write_and_read: allowed}"),
        _memory(way="window: {pointer: {holding: 82}, data: {input: 402}, records: 11, "
                    "write_and_read: allowed}"),
    ),
    Finding(
        "bank incomplete", "fault",
        "A bank's register and the records of one bank go together: without one of them the record after "
        "the first bank has no address.",
        _memory(way="registers: {input: 1000, bank: {holding: 84}, records_per_bank: 50}"),
        _memory(way="registers: {input: 1000, bank: {holding: 84}}"),
    ),
    Finding(
        "numbers beyond a file", "fault",
        "Function 20 numbers a file's registers from 0 to 9999; what lies beyond has no request.",
        _memory(way="files: {first_file: 1, records_per_file: 2500}", capacity=5000),
        _memory(way="files: {first_file: 1, records_per_file: 5000}", capacity=5000),
    ),
    Finding(
        "beyond the last file", "fault",
        "Files are numbered up to 65535; with so few records in each, the last ones could not be asked for.",
        _memory(way="files: {first_file: 1, records_per_file: 2500}", capacity=5000),
        _memory(way="files: {first_file: 65530, records_per_file: 100}", capacity=5000),
    ),
)  # fmt: skip
