"""Checked entries of `log_memory` to its model, and where everything that is checked together stands."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from protocols.modbus.tables import Table
from protocols.register_map.build.numbers import Building, Built, address_of, build_number
from protocols.register_map.build.values import build_value
from protocols.register_map.document import Scalar
from protocols.register_map.forms import Entries, Key
from protocols.register_map.grammar import memory as m
from protocols.register_map.grammar import values as g
from protocols.register_map.memory_model import (
    AfterPowerLoss,
    ByFiles,
    ByQueue,
    ByRegisters,
    ByWindow,
    Counts,
    Empty,
    Holds,
    Lock,
    LogMemory,
    MarkedAt,
    MeterClock,
    Place,
    Record,
    SessionTable,
    Way,
    WhenFull,
)
from protocols.register_map.model import Kind, Number, Value


@dataclass(frozen=True)
class BuiltMemory:
    """The memory with the entries it came from; fields of record and sessions still to be resolved."""

    memory: LogMemory
    entries: Entries
    way: Entries
    record: tuple[Built, ...]
    sessions: tuple[Built, ...]
    recording: Built | None
    command: Built | None

    def values(self) -> tuple[Built, ...]:
        """Everything with a reference or unit of its own, in the order `resolved` expects it."""
        own = (self.recording, self.command)
        return (*self.record, *self.sessions, *(one for one in own if one is not None))

    def resolved(self, values: Sequence[Value]) -> LogMemory:
        """The memory with the given values in the place of those of `values()`."""
        fields = tuple(values[: len(self.record)])
        entry = values[len(self.record) : len(self.record) + len(self.sessions)]
        sessions = self.memory.sessions
        if sessions is not None:
            sessions = replace(sessions, fields={field.name: field for field in entry})
        rest = list(values[len(self.record) + len(self.sessions) :])
        recording = None if self.recording is None else rest.pop(0)
        command = None if self.command is None else rest.pop(0)
        record = replace(self.memory.record, fields=fields)
        return replace(self.memory, record=record, sessions=sessions, recording=recording, command=command)


def build_memory(entries: Entries, building: Building) -> BuiltMemory | None:
    """The memory; None where what it rests on is missing or faulty, which is told."""
    capacity = entries.get(m.CAPACITY)
    record_entries, reached = entries.get(m.RECORD), entries.get(m.REACHED_BY)
    session_entries, lock = entries.get(m.SESSIONS), entries.get(m.LOCK)
    fields = _record_fields(record_entries, building)
    session_fields = _session_fields(session_entries, building)
    sessions = None if session_entries is None else _sessions(session_entries, session_fields, building)
    recording, command = (_told(entries, key, building) for key in (m.RECORDING, m.COMMAND))
    way, way_entries = _way(reached, building)
    numbers = {key.name: _counter(entries, key, building) for key in (m.OLDEST, m.NEXT, m.HELD)}
    lock_built = None if lock is None else _lock(lock, building)
    if capacity is None or record_entries is None or way is None or way_entries is None or not fields:
        return None
    after, holds = entries.get(m.AFTER_POWER_LOSS), entries.get(m.HOLDS)
    clock = entries.get(m.CLOCK)
    zone = None if clock is None else clock.get(m.ZONE)
    memory = LogMemory(
        capacity=capacity,
        record=_record(record_entries, fields, building),
        reached_by=way,
        when_full=WhenFull(entries.get(m.WHEN_FULL) or WhenFull.STOP),
        after_power_loss=None if after is None else AfterPowerLoss(after),
        holds=None if holds is None else Holds(holds),
        marked_at=MarkedAt(entries.get(m.MARKED_AT) or MarkedAt.START),
        clock=MeterClock(zone or "utc"),
        recording=None if recording is None else recording.value,
        command=None if command is None else command.value,
        oldest=numbers["oldest"],
        next=numbers["next"],
        count=numbers["count"],
        number_wraps_at=entries.get(m.WRAPS_AT),
        lock=lock_built,
        sessions=sessions,
    )
    return BuiltMemory(memory, entries, way_entries, fields, session_fields, recording, command)


def _name(name: str, entries: Entries) -> tuple[Scalar, Entries]:
    """A name the map does not write: it stands where its value does."""
    return Scalar(name, entries.node.line, entries.node.column), entries


def _told(entries: Entries, key: Key[Entries], building: Building) -> Built | None:
    """A register whose numbers have words."""
    found = entries.get(key)
    return None if found is None else build_value(*_name(key.name, found), building)


def _counter(entries: Entries, key: Key[Entries], building: Building) -> Number | None:
    found = entries.get(key)
    return None if found is None else build_number(found, building, Kind.UINT16)


def _record_fields(entries: Entries | None, building: Building) -> tuple[Built, ...]:
    fields = None if entries is None else entries.get(m.RECORD_FIELDS)
    built = [build_value(name, its, building) for name, its in (fields or {}).values()]
    return tuple(one for one in built if one is not None)


def _session_fields(entries: Entries | None, building: Building) -> tuple[Built, ...]:
    fields = None if entries is None else entries.get(m.SESSION_FIELDS)
    if fields is None:
        return ()
    keys = (m.STARTED, m.INTERVAL, m.RECORDS, m.FIRST)
    named = [_name(key.name, its) for key in keys if (its := fields.get(key)) is not None]
    built = [build_value(name, its, building) for name, its in named]
    return tuple(one for one in built if one is not None)


def _record(entries: Entries, fields: Sequence[Built], building: Building) -> Record:
    width = entries.get(m.REGISTERS)
    told = _counter(entries, m.TOLD_REGISTERS, building)
    if isinstance(width, Entries):
        told = _counter(width, m.TOLD_REGISTERS, building)
        width = None
    ends = [part.address + part.words for built in fields for part in built.value.parts()]
    forms = entries.get(m.EMPTY)
    return Record(
        registers=width or max(ends),
        fields=tuple(built.value for built in fields),
        told=told,
        stated=width is not None,
        empty=() if forms is None else tuple(Empty(word) for word in forms.values),
    )


def _sessions(entries: Entries, fields: Sequence[Built], building: Building) -> SessionTable | None:
    count = _counter(entries, m.COUNT, building)
    table = entries.get(m.TABLE)
    place = None if table is None else _place(table, building)
    registers = None if table is None else table.get(m.ENTRY_REGISTERS)
    if count is None or place is None or registers is None:
        return None
    named = {built.value.name: built.value for built in fields}
    return SessionTable(count, place, registers, named, entries.get(m.MOST))


def _place(entries: Entries, building: Building) -> Place | None:
    for table in (Table.INPUT, Table.HOLDING):
        key = g.TABLES[table]
        if entries.has(key):
            address = address_of(table, key, entries, building)
            return None if address is None else Place(table, address)
    return None


def _lock(entries: Entries, building: Building) -> Lock | None:
    register = build_number(entries, building, Kind.UINT16)
    opens, closes = entries.get(m.OPEN), entries.get(m.CLOSE)
    if register is None or opens is None or closes is None:
        return None
    return Lock(register, opens, closes, entries.get(m.BUSY))


def _way(reached: Entries | None, building: Building) -> tuple[Way | None, Entries | None]:
    """The way to the records, with its entries."""
    for key, build in _BUILD:
        found = None if reached is None else reached.get(key)
        if found is not None:
            return build(found, building), found
    return None, None


def _window(entries: Entries, building: Building) -> Way | None:
    pointer, echo = _counter(entries, m.POINTER, building), _counter(entries, m.ECHO, building)
    data = entries.get(m.DATA)
    place, records = None if data is None else _place(data, building), entries.get(m.WINDOW_RECORDS)
    if pointer is None or place is None or records is None:
        return None
    return ByWindow(pointer, place, records, echo, entries.has(m.WRITE_AND_READ), entries.has(m.ADVANCE))


def _area(entries: Entries, building: Building) -> Way | None:
    place, bank = _place(entries, building), _counter(entries, m.BANK, building)
    return None if place is None else ByRegisters(place, bank, entries.get(m.PER_BANK))


def _files(entries: Entries, building: Building) -> Way | None:  # noqa: ARG001  (one signature for four ways)
    first, records = entries.get(m.FIRST_FILE), entries.get(m.PER_FILE)
    if first is None or records is None:
        return None
    return ByFiles(first, records, Counts(entries.get(m.COUNTS) or Counts.REGISTERS))


def _queue(entries: Entries, building: Building) -> Way | None:
    address = address_of(Table.HOLDING, m.ADDRESS, entries, building)
    wanted = _counter(entries, m.NEXT_WANTED, building)
    if address is None or (wanted is None and entries.has(m.NEXT_WANTED)):
        return None
    return ByQueue(address, wanted)


_BUILD = ((m.WINDOW, _window), (m.AREA, _area), (m.FILES, _files), (m.QUEUE, _queue))
