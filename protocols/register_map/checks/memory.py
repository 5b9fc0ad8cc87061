"""What goes together in `log_memory`: the record's fields, and whether the way reaches every record."""

from collections.abc import Iterable, Sequence

from protocols.modbus import limits
from protocols.register_map.build.memory import BuiltMemory
from protocols.register_map.build.numbers import Built
from protocols.register_map.checks.kinds import INTEGERS
from protocols.register_map.checks.layout import check_overlaps
from protocols.register_map.checks.values import check_value
from protocols.register_map.checks.ways import check_way
from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries, Key
from protocols.register_map.grammar import memory as m
from protocols.register_map.grammar import values as g
from protocols.register_map.memory_model import ByFiles, ByQueue, ByRegisters, LogMemory
from protocols.register_map.model import Kind, Value, Wire
from protocols.units import Dimension, unit_of

#: A record a second would count up to here for 136 years.
_NEVER_REACHED = 1 << 32
_COMMANDS = frozenset({"recording", "idle", "erase"})
_MOMENTS = (Kind.UNIX_TIME, Kind.CALENDAR)
_CHANGES = (g.SCALE, g.OFFSET, Key("plus", g.PLUS.form, ""), g.TIMES_TEN_TO, g.CODES, g.BITS)


def check_memory(
    built: BuiltMemory, wire: Wire, settings: Sequence[Built], bytes_per_register: int, report: Report
) -> None:
    """Every fault of the memory. `settings` are the map's: one may tell the interval."""
    if bytes_per_register == 4:
        report.fault(
            built.entries.node,
            "a log memory is counted in registers of 16 bits, but bytes_per_register is 4 in wire; leave it "
            "out there and say it at the values that have 32 bits behind each address",
            "memory of four bytes a register",
        )
    for value in built.values():
        check_value(value, report)
    _check_record(built, report)
    _check_sessions(built, wire, report)
    _check_words(built, report)
    _check_numbers(built, report)
    _check_times(built, settings, report)
    _check_clock(built, report)
    check_way(built, wire, report)


def _check_clock(built: BuiltMemory, report: Report) -> None:
    """Warn where times as people write them stand without the zone they are told in."""
    if built.entries.has(m.CLOCK):
        return
    for field in (*built.record, *built.sessions):
        if field.value.name in ("time", "started") and field.value.number.kind is Kind.CALENDAR:
            report.warn(
                field.entries.at(g.TYPE),
                "a calendar without the zone of the meter's clock, so UTC is assumed; say clock: {zone: "
                "site} "
                "where it was set by a watch, or utc, or an offset such as +01:00",
                "clock without a zone",
            )


def _check_within(fields: Iterable[Built], registers: int, what: str, report: Report) -> None:
    for field in fields:
        for part, entries in field.parts:
            if part.address + part.words > registers:
                report.fault(
                    entries.at(g.AT),
                    f"{part.kind} at {part.address} ends at {part.address + part.words - 1}, but {what} has "
                    f"{registers} registers, 0 to {registers - 1}",
                    "field outside its record",
                )


def _check_record(built: BuiltMemory, report: Report) -> None:
    record = built.memory.record
    entries = built.entries.get(m.RECORD)
    assert entries is not None
    if isinstance(entries.get(m.REGISTERS), Entries) and entries.has(m.TOLD_REGISTERS):
        report.fault(
            entries.at(m.TOLD_REGISTERS),
            "the register of the width is given twice; take one of them out",
            "given twice",
        )
    _check_within(built.record, record.registers, "a record", report)
    check_overlaps(built.record, report)
    for field in built.record:
        _check_meaning(field, record.registers, report)


def _check_meaning(field: Built, registers: int, report: Report) -> None:
    """`number`, `time` and `check` must be what their names say, and nothing else may be a check."""
    value, entries = field.value, field.entries
    kind = value.number.kind
    if kind is Kind.CRC16 and value.name != "check":
        report.fault(
            entries.at(g.TYPE),
            "crc16 is the type of the field named check; call the field check",
            "checksum misplaced",
        )
    if entries.has(g.ORDER) and kind is not Kind.CRC16:
        report.fault(
            entries.at(g.ORDER), f"order belongs to a crc16, not to {kind}; take it out", "checksum misplaced"
        )
    if value.name == "number":
        _check_plain(field, "the record's number", report)
    elif value.name == "time" and kind not in _MOMENTS:
        report.fault(entries.at(g.TYPE), f"{kind} is no moment; time is unix time or calendar", "no moment")
    elif value.name == "check" and kind is not Kind.CRC16:
        report.fault(entries.at(g.TYPE), f"{kind} is no checksum; check is crc16", "checksum misplaced")
    elif value.name == "check" and value.number.address == 0:
        report.fault(
            entries.at(g.AT),
            "check covers the words before it, and there are none before word 0",
            "checksum misplaced",
        )
    elif value.name == "check" and value.number.address + 1 < registers:
        report.warn(
            entries.at(g.AT),
            f"check covers only the words before it; words {value.number.address + 1} to {registers - 1} "
            "are not checked",
            "words unchecked",
        )


def _check_plain(field: Built, what: str, report: Report) -> None:
    """A count must be a whole number as it is sent."""
    entries, kind = field.entries, field.value.number.kind
    if kind not in INTEGERS:
        report.fault(entries.at(g.TYPE), f"{what} must be an integer type, not {kind}", "count is changed")
    for key in _CHANGES:
        if entries.has(key):
            report.fault(
                entries.at(key),
                f"{key.name} changes {what}, which is counted; take it out",
                "count is changed",
            )


def _check_sessions(built: BuiltMemory, wire: Wire, report: Report) -> None:
    sessions, entries = built.memory.sessions, built.entries.get(m.SESSIONS)
    if sessions is None or entries is None:
        return
    _check_within(built.sessions, sessions.registers, "an entry of the sessions table", report)
    check_overlaps(built.sessions, report)
    table = entries.get(m.TABLE)
    assert table is not None
    if sessions.registers > wire.registers_per_read:
        report.fault(
            table.at(m.ENTRY_REGISTERS),
            f"an entry has {sessions.registers} registers, but registers_per_read is "
            f"{wire.registers_per_read}; no read can hold it",
            "wider than a read",
        )
    end = sessions.table.address + sessions.registers * (sessions.most or 1)
    if end > limits.ADDRESSES:
        report.fault(
            entries.at(m.MOST),
            f"{sessions.most or 1} entries end at {end - 1}; the last address is 65535",
            "beyond the last address",
        )
    for field in built.sessions:
        value, kind = field.value, field.value.number.kind
        if value.name == "started" and kind not in _MOMENTS:
            report.fault(
                field.entries.at(g.TYPE), f"{kind} is no moment; unix time or calendar is", "no moment"
            )
        elif value.name in ("records", "first"):
            _check_plain(field, f"'{value.name}' of a session", report)
        elif value.name == "interval" and not _is_time(value):
            report.fault(
                field.entries.at(g.UNIT),
                "an interval needs a unit of time; write such as unit: s",
                "interval without a unit of time",
            )


def _is_time(value: Value) -> bool:
    unit = None if value.unit is None else unit_of(value.unit)
    return unit is not None and unit.dimension is Dimension.TIME


def _check_words(built: BuiltMemory, report: Report) -> None:
    """The words that `recording` and `command` must have, and the three numbers of a lock."""
    recording = built.recording
    if recording is not None:
        missing = [word for word in ("idle", "recording") if word not in recording.value.codes.values()]
        if missing:
            report.fault(
                recording.entries.at(g.CODES),
                f"recording lacks the word {' and the word '.join(missing)}; its codes say which number is "
                "idle and which is recording",
                "words of recording",
            )
    command = built.command
    if command is not None and not _COMMANDS & set(command.value.codes.values()):
        report.fault(
            command.entries.at(g.CODES),
            "command takes none of the words recording, idle and erase; its codes say which number does what",
            "words of recording",
        )
    lock, entries = built.memory.lock, built.entries.get(m.LOCK)
    if lock is not None and entries is not None:
        if lock.open == lock.close:
            report.fault(entries.at(m.CLOSE), f"{lock.close} both opens and closes the lock", "lock unclear")
        if lock.busy == lock.close:
            report.fault(
                entries.at(m.BUSY),
                f"{lock.busy} both closes the lock and tells that it is held",
                "lock unclear",
            )


def _check_numbers(built: BuiltMemory, report: Report) -> None:
    """Whether the numbers can tell every record that is held from every other."""
    memory, entries = built.memory, built.entries
    if memory.number_wraps_at is not None and memory.number_wraps_at < memory.capacity:
        report.fault(
            entries.at(m.WRAPS_AT),
            f"numbers start again at {memory.number_wraps_at}, so that two of {memory.capacity} records "
            "would share one; check both",
            "extent of the memory unclear",
        )
    if memory.oldest is not None and memory.next is None:
        report.fault(
            entries.at(m.OLDEST),
            "oldest alone does not say where the records end; add next",
            "extent of the memory unclear",
        )
    if memory.is_ring:
        _check_ring(memory, entries, report)
    undecided = memory.count is None and memory.sessions is None and not memory.record.empty
    if memory.next is not None and (memory.oldest or memory.is_ring) and undecided:
        wraps = memory.modulus(memory.next)
        if wraps <= memory.capacity:
            report.fault(
                entries.at(m.NEXT),
                f"next starts again at {wraps}, and {memory.capacity} records fit: where it equals oldest, "
                "the memory may be empty or full; add count, or record: empty",
                "extent of the memory unclear",
            )


def _check_ring(memory: LogMemory, entries: Entries, report: Report) -> None:
    way = memory.reached_by
    extent = memory.sessions is not None or (memory.oldest is not None and memory.next is not None)
    by_place = isinstance(way, ByRegisters | ByFiles)
    numbered = by_place and memory.record.number is not None
    if not extent and not numbered and not (isinstance(way, ByQueue) and way.advance):
        or_number = ", or let the records tell their number" if by_place else ""
        report.fault(
            entries.at(m.WHEN_FULL),
            "a memory that overwrites its oldest must say where it begins: add oldest and next, or "
            f"sessions{or_number}; times alone cannot, since clocks are set",
            "extent of the memory unclear",
        )
    counted = memory.next or (memory.record.number and memory.record.number.number)
    if by_place and counted:
        wraps = memory.modulus(counted)
        if wraps % memory.capacity and wraps < _NEVER_REACHED:
            report.warn(
                entries.at(m.WRAPS_AT if entries.has(m.WRAPS_AT) else m.CAPACITY),
                f"numbers start again at {wraps}, which is no multiple of the capacity of {memory.capacity}: "
                "there, records of both turns would share a place; check both",
                "numbers no multiple of capacity",
            )


def _check_times(built: BuiltMemory, settings: Sequence[Built], report: Report) -> None:
    """Warn where no record can have a time."""
    memory = built.memory
    if memory.record.time is not None:
        return
    named = {field.value.name for field in built.sessions} | {
        "interval" for setting in settings if setting.value.name == "log_interval"
    }
    lacks = [name for name in ("started", "interval") if name not in named]
    if lacks:
        record = built.entries.get(m.RECORD)
        assert record is not None
        report.warn(
            record.at(m.RECORD_FIELDS),
            f"no record has a time: there is no field time, and no {' and no '.join(lacks)} in sessions"
            + (" (or a setting log_interval)" if "interval" in lacks else ""),
            "records without a time",
        )
