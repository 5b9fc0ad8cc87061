"""Whole records: many at once, from numbers, moments and quantities to words, with the truth beside them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocols.modbus.crc import crc16_rows
from protocols.register_map.memory_model import LogMemory, Record
from protocols.register_map.model import Kind, Order, Value
from protocols.values.words import WordTable, ordered, raw_words
from simulators.log_memory.faults import MemoryFaults
from simulators.log_memory.faults.kinds import Fault
from simulators.log_memory.kept.fields import Field, Told
from simulators.plant import Quantity

Milliseconds = NDArray[np.int64]

#: Words of a calendar are made from these, in this order of `_figures`.
_PARTS = ("year", "month", "day", "weekday", "hour", "minute", "second")
_DAY_MS = 86_400_000
_THURSDAY = 4  # 1970-01-01 was one; Monday is weekday 1


@dataclass(frozen=True, slots=True)
class Written:
    """n records as the meter holds them: `words` uint16 [n, registers], and what their fields tell.

    `figures_ms` int64 [n]: the record's own time as its figures read, ms since 1970, whole seconds; None
    where records have none. `has_time` [n]: there is a time at all; `dummy` [n]: the record is none.
    """

    words: WordTable
    told: Mapping[str, Told]
    figures_ms: Milliseconds | None
    has_time: NDArray[np.bool_]
    dummy: NDArray[np.bool_]


class RecordWriter:
    """Writes the records of one memory."""

    def __init__(self, memory: LogMemory) -> None:
        self._record = memory.record
        self._memory = memory
        self.fields = tuple(Field(value) for value in memory.record.values)

    def write(
        self, numbers: NDArray[np.int64], figures_ms: Milliseconds, columns: Mapping[str, Sequence[Quantity]]
    ) -> Written:
        """Records with extended `numbers` [n], marked at `figures_ms` [n]; `columns` has every value."""
        table = np.zeros((len(numbers), self._record.registers), np.uint16)
        told = {field.value.name: field.write(table, columns[field.value.name]) for field in self.fields}
        number, time = self._record.number, self._record.time
        if number is not None:
            run = number.number
            raw = numbers % self._memory.modulus(run)
            words = raw_words(raw, run.kind, run.word_order, run.byte_order)
            table[:, run.address : run.address + run.words] = words
        shown = None
        if time is not None:
            shown = figures_ms // 1000 * 1000
            run = time.number
            table[:, run.address : run.address + run.words] = time_words(time, shown)
        everywhere = np.ones(len(table), np.bool_)
        written = Written(table, told, shown, everywhere, ~everywhere)
        seal(self._record, table)
        return written

    def strike(self, written: Written, numbers: NDArray[np.int64], faults: MemoryFaults) -> None:
        """What goes wrong with records as they are written."""
        first, touched = int(numbers[0]), range(int(numbers[0]), int(numbers[-1]) + 1)
        for fault in faults.all_due(Fault.INVALID_TIME, touched):
            self._without_time(written, (fault.at or first) - first)
        for fault in faults.all_due(Fault.DAMAGED_CHECK, touched):
            assert self._record.check is not None
            written.words[(fault.at or first) - first, self._record.check.number.address] ^= 1
        for fault in faults.all_due(Fault.DUMMY, touched):
            row = (fault.at or first) - first
            written.words[row] = self._record.empty[0].word
            written.dummy[row] = True

    def _without_time(self, written: Written, row: int) -> None:
        """Digits that are none in a calendar; unix time has none such, so its clock shows 1970."""
        time = self._record.time
        assert time is not None
        run = time.number
        written.words[row, run.address : run.address + run.words] = 0xFFFF if run.kind is Kind.CALENDAR else 0
        written.has_time[row] = False
        seal(self._record, written.words[row : row + 1])


def seal(record: Record, table: WordTable) -> None:
    """Put the check over each record's words, where records have one."""
    if record.check is None:
        return
    at = record.check.number.address
    sent = np.ascontiguousarray(table[:, :at].astype(">u2")).view(np.uint8)
    words = raw_words(crc16_rows(sent), Kind.CRC16, record.check.number.word_order, record.check.crc_order)
    table[:, at : at + 1] = words


def time_words(time: Value, figures_ms: Milliseconds) -> WordTable:
    """The words [n, registers] of moments whose figures are from 2000 to 2099 (calendar) or 1970 to 2106."""
    run = time.number
    if run.kind is Kind.UNIX_TIME:
        return raw_words(figures_ms // 1000, run.kind, run.word_order, run.byte_order)
    figures = _figures(figures_ms)
    if (time.coding or "bcd") == "bcd":
        figures = {name: part // 10 * 16 + part % 10 for name, part in figures.items()}
    figures["none"] = np.zeros(len(figures_ms), np.int64)
    pairs = [figures[high] << 8 | figures[low] for high, low in time.layout]
    return ordered(np.stack(pairs, axis=1).astype(np.uint16), Order.HIGH_FIRST, run.byte_order)


def _figures(figures_ms: Milliseconds) -> dict[str, NDArray[np.int64]]:
    moments = figures_ms.astype("datetime64[ms]")
    months = moments.astype("datetime64[M]")
    days = moments.astype("datetime64[D]")
    since_midnight = figures_ms % _DAY_MS // 1000
    of_month = (days - months.astype("datetime64[D]")).astype(np.int64)
    count = months.astype(np.int64)
    found = (
        count // 12 + 1970 - 2000,
        count % 12 + 1,
        of_month + 1,
        (days.astype(np.int64) + _THURSDAY - 1) % 7 + 1,
        since_midnight // 3600,
        since_midnight // 60 % 60,
        since_midnight % 60,
    )
    return dict(zip(_PARTS, found, strict=True))
