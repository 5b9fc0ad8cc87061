"""Whether each of the four ways reaches every record within the limits of Modbus and of the meter."""

from protocols.modbus import limits
from protocols.modbus.tables import Table
from protocols.register_map.build.memory import BuiltMemory
from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries, Key
from protocols.register_map.grammar import memory as m
from protocols.register_map.grammar import values as g
from protocols.register_map.memory_model import (
    ByFiles,
    ByQueue,
    ByRegisters,
    ByWindow,
    Counts,
    LogMemory,
    Place,
)
from protocols.register_map.model import Number, Wire


def check_way(built: BuiltMemory, wire: Wire, report: Report) -> None:
    """The faults of the one way a map gives."""
    memory, entries = built.memory, built.way
    match memory.reached_by:
        case ByWindow() as way:
            _check_window(way, memory, wire, entries, report)
        case ByRegisters() as way:
            _check_area(way, memory, wire, entries, report)
        case ByFiles() as way:
            _check_files(way, memory, wire, entries, report)
        case ByQueue() as way:
            _check_queue(way, memory, entries, report)


def _check_counts(number: Number | None, key: Key[Entries], memory: LogMemory, last: int, entries: Entries,
                  report: Report) -> None:  # fmt: skip
    """A register that takes numbers up to `last` must hold them all."""
    if number is not None and memory.modulus(number) <= last and memory.number_wraps_at is None:
        report.fault(
            entries.at(key),
            f"{number.kind} holds numbers up to {memory.modulus(number) - 1}, but the last one needed is "
            f"{last}; check its type",
            "pointer too narrow",
        )


def _check_window(way: ByWindow, memory: LogMemory, wire: Wire, entries: Entries, report: Report) -> None:
    size, most = memory.record.registers, wire.registers_per_read
    _check_counts(way.pointer, m.POINTER, memory, memory.capacity - 1, entries, report)
    end = way.data.address + way.records * size
    if end > limits.ADDRESSES:
        report.fault(
            entries.at(m.DATA),
            f"the window ends at {end - 1}; the last address is 65535",
            "beyond the last address",
        )
    if way.echo is not None and way.echo.table is not way.data.table:
        report.fault(
            entries.at(m.ECHO),
            f"the echo is in the {way.echo.table} registers and the data are in the {way.data.table} "
            "registers: no read holds both",
            "echo read apart",
        )
    for number, key in ((way.pointer, m.POINTER), (way.echo, m.ECHO)):
        if number is not None and _inside(number, way.data, way.records * size):
            report.fault(
                entries.at(key),
                f"lies within the window, which is {way.data.address} to {end - 1}",
                "register among the records",
            )
    for place, key in ((way.data, m.DATA), (way.echo, m.ECHO)):
        if way.write_and_read and place is not None and place.table is not Table.HOLDING:
            report.fault(
                entries.at(key),
                "function 23 reads holding registers only; say holding: here",
                "function 23 elsewhere",
            )
    if way.echo is not None and way.echo.table is way.data.table:
        _check_span(way, way.echo, size, most, entries, report)
    elif way.records * size > most:
        report.fault(
            entries.at(m.WINDOW_RECORDS),
            f"{way.records} records of {size} registers are {way.records * size}, but registers_per_read is "
            f"{most}; {most // size} fit",
            "wider than a read",
        )


def _inside(number: Number, place: Place, registers: int) -> bool:
    return (
        number.table is place.table
        and number.address < place.address + registers
        and place.address < number.address + number.addresses
    )


def _check_span(way: ByWindow, echo: Number, size: int, most: int, entries: Entries, report: Report) -> None:
    """Echo and records must come from one read, since an echo read apart proves nothing."""

    def span(records: int) -> int:
        first = min(echo.address, way.data.address)
        return max(echo.address + echo.addresses, way.data.address + records * size) - first

    if span(1) > most:
        report.fault(
            entries.at(m.ECHO),
            f"echo and one record span {span(1)} registers, but registers_per_read is {most}: no read holds "
            "both; leave echo out if the meter has none nearer",
            "echo read apart",
        )
    elif span(way.records) > most:
        fits = next(records for records in range(way.records, 0, -1) if span(records) <= most)
        report.fault(
            entries.at(m.WINDOW_RECORDS),
            f"echo and {way.records} records of {size} registers span {span(way.records)}, but "
            f"registers_per_read is {most}; {fits} fit",
            "wider than a read",
        )


def _check_area(way: ByRegisters, memory: LogMemory, wire: Wire, entries: Entries, report: Report) -> None:
    size = memory.record.registers
    if size > wire.registers_per_read:
        report.fault(
            entries.node,
            f"a record has {size} registers, but registers_per_read is {wire.registers_per_read}",
            "wider than a read",
        )
    if (way.bank is None) != (way.records_per_bank is None):
        there, missing = (m.BANK, m.PER_BANK) if way.bank is not None else (m.PER_BANK, m.BANK)
        report.fault(
            entries.at(there),
            f"{there.name} goes with {missing.name}; give both or neither",
            "bank incomplete",
        )
        return
    records = way.records_per_bank or memory.capacity
    end = way.data.address + records * size
    if end > limits.ADDRESSES:
        key = m.PER_BANK if way.bank is not None else g.TABLES[way.data.table]
        fits = (limits.ADDRESSES - way.data.address) // size
        report.fault(
            entries.at(key),
            f"{records} records of {size} registers from {way.data.address} on end at {end - 1}; the last "
            f"address is 65535, {fits} fit" + ("" if way.bank is not None else "; are there banks?"),
            "beyond the last address",
        )
    if way.bank is not None and way.records_per_bank is not None:
        last = (memory.capacity - 1) // way.records_per_bank
        if memory.modulus(way.bank) <= last:
            report.fault(
                entries.at(m.BANK), f"{way.bank.kind} cannot take the last bank, {last}", "pointer too narrow"
            )
        if _inside(way.bank, way.data, records * size):
            report.fault(
                entries.at(m.BANK), "the bank's register lies among the records", "register among the records"
            )


def _check_files(way: ByFiles, memory: LogMemory, wire: Wire, entries: Entries, report: Report) -> None:
    size = memory.record.registers
    if size > wire.registers_per_file_read:
        report.fault(
            entries.node,
            f"a record has {size} registers, and one read of a file has at most "
            f"{wire.registers_per_file_read}",
            "wider than a read",
        )
    step = 1 if way.counts is Counts.RECORDS else size
    last = (way.records_per_file - 1) * step
    if last >= limits.FILE_RECORDS:
        fits = (limits.FILE_RECORDS - 1) // step + 1
        report.fault(
            entries.at(m.PER_FILE),
            f"the last record of a file would be number {last}; record numbers of function 20 are 0 to "
            f"{limits.FILE_RECORDS - 1}, so {fits} records fit"
            + ("" if step == 1 else "; or does the file count records? Then say counts: records"),
            "numbers beyond a file",
        )
    file = way.first_file + (memory.capacity - 1) // way.records_per_file
    if file > limits.FILE_LAST:
        report.fault(
            entries.at(m.FIRST_FILE),
            f"the last file would be {file}; files are 1 to 65535",
            "beyond the last file",
        )


def _check_queue(way: ByQueue, memory: LogMemory, entries: Entries, report: Report) -> None:
    if memory.record.registers > limits.QUEUE_REGISTERS:
        report.fault(
            entries.node,
            f"a record has {memory.record.registers} registers, and a queue's reply at most "
            f"{limits.QUEUE_REGISTERS}",
            "wider than a read",
        )
    _check_counts(way.next_wanted, m.NEXT_WANTED, memory, memory.capacity - 1, entries, report)
