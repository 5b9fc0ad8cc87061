"""A log memory in words and rows: what it holds, who is in it, and how its records are reached."""

from collections.abc import Iterator
from dataclasses import dataclass

from protocols.register_map.memory_model import (
    AfterPowerLoss,
    ByFiles,
    ByQueue,
    ByRegisters,
    ByWindow,
    Counts,
    Holds,
    LogMemory,
    MarkedAt,
)
from protocols.register_map.model import Number, RegisterMap
from readout.plan.listing.rows import Row, Rows

_AFTER = {
    AfterPowerLoss.RESUMES: "recording resumes",
    AfterPowerLoss.NEW_SESSION: "a new session begins",
    AfterPowerLoss.STOPS: "recording has stopped",
}
_HOLDS = {
    Holds.SAMPLE: "a sample of its interval",
    Holds.MEAN: "the mean of its interval",
    Holds.MINIMUM: "the minimum of its interval",
    Holds.MAXIMUM: "the maximum of its interval",
    Holds.TOTAL: "the total of its interval",
}


@dataclass(frozen=True, slots=True)
class Memory:
    """`facts` as name and words; `registers` of the memory itself; fields of a session and of a record.

    Fields stand at their place inside the session's entry or the record, counted from 0.
    """

    facts: tuple[tuple[str, str], ...]
    registers: tuple[Row, ...]
    session: tuple[Row, ...]
    record: tuple[Row, ...]


def memory_of(register_map: RegisterMap, rows: Rows) -> Memory | None:
    """The map's log memory; None where it has none."""
    memory = register_map.log_memory
    if memory is None:
        return None
    sessions = () if memory.sessions is None else memory.sessions.fields.values()
    return Memory(
        tuple(_facts(register_map, memory, rows)),
        tuple(_registers(memory, rows)),
        tuple(row for field in sessions for row in rows.of_value(field)),
        tuple(row for field in memory.record.fields for row in rows.of_value(field)),
    )


def _facts(register_map: RegisterMap, memory: LogMemory, rows: Rows) -> Iterator[tuple[str, str]]:
    record, words_apiece = memory.record, memory.record.registers
    yield "capacity", f"{memory.capacity} records"
    yield "when full", "the oldest are overwritten" if memory.is_ring else "it stops"
    if memory.after_power_loss is not None:
        yield "after a power loss", _AFTER[memory.after_power_loss]
    if memory.holds is not None:
        yield "a record holds", _HOLDS[memory.holds]
    end = "end" if memory.marked_at is MarkedAt.END else "start"
    if record.time is not None:
        yield "a record's time", f"its own, the {end} of its interval"
    else:
        more = " + 1" if memory.marked_at is MarkedAt.END else ""
        yield "a record's time", f"started + (n{more}) x interval, n from 0: the {end} of its interval"
    yield (
        "its clock",
        {"utc": "UTC", "site": "the site's, summer time and all"}.get(
            memory.clock.zone, f"UTC{memory.clock.zone}"
        ),
    )
    told = "" if record.told is None else f", told by {_where(record.told, rows)}"
    yield "a record's width", f"{words_apiece} registers{told}"
    if record.empty:
        yield "an empty place", " or ".join(f"{each}" for each in record.empty)
    if memory.number_wraps_at is not None:
        yield "numbers", f"start again at 0 where {memory.number_wraps_at} would come"
    if memory.sessions is not None:
        most = "" if memory.sessions.most is None else f", {memory.sessions.most} at most"
        table = rows.place(memory.sessions.table.table, memory.sessions.table.address)
        yield "sessions", f"from {table} on, {memory.sessions.registers} registers each{most}"
    if memory.lock is not None:
        lock = memory.lock
        busy = "" if lock.busy is None else f"; it reads {lock.busy} while another port holds it"
        yield (
            "lock",
            f"{lock.open} written to {_where(lock.register, rows)} opens, {lock.close} closes{busy}",
        )
    yield "reached by", _way(memory, rows, register_map.wire.write_with)


def _way(memory: LogMemory, rows: Rows, write_with: int) -> str:
    way, width = memory.reached_by, memory.record.registers
    if isinstance(way, ByWindow):
        return _window(way, width, rows, write_with)
    if isinstance(way, ByRegisters):
        data = rows.place(way.data.table, way.data.address)
        number = "n mod capacity" if memory.is_ring else "n"
        if way.bank is None or way.records_per_bank is None:
            return f"registers of their own: record n is at {data} + ({number}) x {width}"
        return (
            f"registers of their own, in banks: n div {way.records_per_bank} is written to "
            f"{_where(way.bank, rows)} with function {write_with}, then record n is at {data} + "
            f"({number} mod {way.records_per_bank}) x {width}"
        )
    if isinstance(way, ByFiles):
        place = f"n mod {way.records_per_file}"
        counted = place if way.counts is Counts.RECORDS else f"({place}) x {width}"
        ring = ", n counted modulo the capacity" if memory.is_ring else ""
        return (
            f"files (function 20): record n is in file {way.first_file} + n div {way.records_per_file}, "
            f"record number {counted}{ring}"
        )
    assert isinstance(way, ByQueue)
    if way.next_wanted is None:
        return f"a queue (function 24) at address {way.address} as sent; every read takes records out of it"
    return (
        f"a queue (function 24) at address {way.address} as sent, after the number of the first record "
        f"wanted was written to {_where(way.next_wanted, rows)} with function {write_with}"
    )


def _window(way: ByWindow, width: int, rows: Rows, write_with: int) -> str:
    last = way.data.address + way.records * width
    data = rows.place(way.data.table, way.data.address, last - way.data.address)
    said = [
        f"a window: the number of the first record wanted is written to {_where(way.pointer, rows)} "
        f"with function {write_with}, then {way.records} records lie in {data}"
    ]
    if way.echo is not None:
        said.append(f"{_where(way.echo, rows)} tells which record comes first, in the same read")
    if way.write_and_read:
        said.append("function 23 writes and reads in one request")
    if way.advance:
        said.append("reading the last register moves the window on")
    return "; ".join(said)


def _registers(memory: LogMemory, rows: Rows) -> Iterator[Row]:
    if memory.recording is not None:
        yield from rows.of_value(memory.recording)
    if memory.command is not None:
        yield from rows.of_value(memory.command)
    way = memory.reached_by
    named: dict[str, Number | None] = {
        "oldest": memory.oldest,
        "next": memory.next,
        "count": memory.count,
        "session count": None if memory.sessions is None else memory.sessions.count,
        "record width": memory.record.told,
        "lock": None if memory.lock is None else memory.lock.register,
        "pointer": way.pointer if isinstance(way, ByWindow) else None,
        "echo": way.echo if isinstance(way, ByWindow) else None,
        "bank": way.bank if isinstance(way, ByRegisters) else None,
        "next wanted": way.next_wanted if isinstance(way, ByQueue) else None,
    }
    written = {"lock", "pointer", "bank", "next wanted"}
    for name, number in named.items():
        if number is not None:
            yield rows.of_number(name, number, written=name in written)


def _where(number: Number, rows: Rows) -> str:
    assert number.table is not None  # a memory's own registers lie in the meter's tables
    return rows.place(number.table, number.address, number.addresses)
