"""What a layout makes of the records that were read, and whether that makes sense."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from protocols.log_memory.records import columns, fits, own_numbers
from protocols.register_map.memory_model import LogMemory, MarkedAt
from protocols.register_map.model import Kind, Span, Value
from protocols.values.decode import decode
from protocols.values.flags import Flag
from readout.diagnose.memory.layouts import EPOCHS, ORDERS, Layout, Turn

#: Records are expected to be this young at most, and their times to be no later than this from now [ms].
OLDEST_MS, LATEST_MS = 3 * 366 * 86_400_000, 86_400_000
#: Without a range, a value this many times larger than the current reading makes no sense …
TIMES_LARGER = 1000.0
#: … nor does one so much smaller that is not 0; and without a reading, one beyond these.
TIMES_SMALLER, LARGEST = 1e-6, 1e9

_AWAY = (Flag.NOT_A_NUMBER, Flag.INVALID_TIME)


@dataclass(frozen=True, slots=True)
class Sample:
    """What was read. Words are as sent.

    `run`: words from record `first` on, of as many records as came at once; `last_words`: record `last`.
    `entries`: the entries of the first and of the last session, None where the memory has no list of them;
    `places` are where in its session record `first` and `last` are. `now_ms` is the computer's time, ms since
    1970 UTC. `readings`: current values by name, None where not available, as the orders of `ORDERS` that are
    turned make them.
    """

    first: int
    last: int
    run: tuple[int, ...]
    last_words: tuple[int, ...]
    entries: tuple[tuple[int, ...], tuple[int, ...]] | None
    places: tuple[int, int]
    interval_ms: int | None
    now_ms: int
    readings: Mapping[frozenset[Turn], Mapping[str, float | None]]
    ranges: Mapping[str, Span]

    def now(self, layout: Layout) -> Mapping[str, float | None]:
        """The current readings in a layout's orders."""
        return self.readings.get(layout.turned & ORDERS, {})


@dataclass(frozen=True, slots=True)
class Shown:
    """One record as a layout reads it: its own number (None: it has none), its time, its values."""

    record: int
    number: int | None
    time_ms: int | None
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Judged:
    """A layout and what it makes of first, second and last record. `faults`: what makes no sense in it."""

    layout: Layout
    records: tuple[Shown, ...]
    faults: tuple[str, ...]

    @property
    def plausible(self) -> bool:
        """Whether everything makes sense."""
        return not self.faults


def judge(memory: LogMemory, layout: Layout, sample: Sample) -> Judged | None:
    """What the layout makes of the sample; None for a width that nothing read can tell of."""
    read = layout.memory(memory)
    rows = _rows(layout, sample)
    if len(rows) < 2 and layout.registers != memory.record.registers:
        return None
    table = np.array([words for _, words in rows], np.uint16)
    numbers = own_numbers(read.record, table)
    times = _times(read, layout, sample, [number for number, _ in rows], table)
    decoded = {field.name: decode(field, columns(table)) for field in read.record.values}
    shown = tuple(
        Shown(
            record,
            None if numbers is None else int(numbers[row]),
            None if times is None else times[row],
            {
                name: found.data[row].item() if hasattr(found.data[row], "item") else found.data[row]
                for name, found in decoded.items()
                if found.available[row]
            },
        )
        for row, (record, _) in enumerate(rows)
    )
    faults = [] if times is None else [*_time_faults(times, sample.now_ms)]
    if numbers is not None:
        modulus = read.modulus(read.record.number.number) if read.record.number is not None else 1
        faults += [
            f"record {record} tells the number {told}"
            for (record, _), told in zip(rows, numbers.tolist(), strict=True)
            if told != record % modulus
        ]
    if read.record.check is not None and not fits(read.record, table).all():
        faults.append("the check of a record does not fit it")
    for field in read.record.values:
        faults += _value_faults(field, decoded[field.name], layout, sample)
    return Judged(layout, shown, tuple(faults))


def distinct(judged: Iterable[Judged]) -> list[Judged]:
    """Without those that show just what an earlier one shows, and without multiples of a width that fits."""
    found: list[Judged] = []
    for one in judged:
        alike = (other for other in found if other.layout.registers == one.layout.registers)
        if any(other.records == one.records for other in alike):
            continue
        found.append(one)
    good = {(one.layout.turned, one.layout.epoch, one.layout.registers) for one in found if one.plausible}
    return [
        one
        for one in found
        if not any(
            (one.layout.turned, one.layout.epoch, width) in good
            for width in range(1, one.layout.registers)
            if one.layout.registers % width == 0
        )
    ]


def _rows(layout: Layout, sample: Sample) -> list[tuple[int, tuple[int, ...]]]:
    """Record numbers and words of first, second and last record, as far as they were read at this width."""
    width = layout.registers
    rows = [(sample.first, sample.run[:width])]
    if len(sample.run) >= 2 * width and sample.last > sample.first:
        rows.append((sample.first + 1, sample.run[width : 2 * width]))
    if sample.last > sample.first + 1 and len(sample.last_words) == width:
        rows.append((sample.last, sample.last_words))
    return [(number, words) for number, words in rows if len(words) == width]


def _times(
    read: LogMemory, layout: Layout, sample: Sample, records: Sequence[int], table: Any
) -> list[int | None] | None:
    """Times as the meter's clock tells them, ms since 1970; None where the map says of none."""
    field = read.record.time
    if field is not None:
        found = decode(field, columns(table))
        shift = _shift_ms(field, layout)
        pairs = zip(found.data.tolist(), found.available.tolist(), strict=True)
        return [data + shift if there else None for data, there in pairs]
    started = _started(read, layout, sample)
    if started is None or sample.interval_ms is None:
        return None
    marks = 1 if read.marked_at is MarkedAt.END else 0
    times: list[int | None] = []
    for record in records:
        begun, place = started[0], sample.places[0] + record - sample.first
        if record == sample.last and record > sample.first + 1:
            begun, place = started[1], sample.places[1]
        times.append(None if begun is None else begun + (place + marks) * sample.interval_ms)
    return times


def _started(read: LogMemory, layout: Layout, sample: Sample) -> list[int | None] | None:
    """When the first and the last session began."""
    field = None if read.sessions is None else read.sessions.fields.get("started")
    if field is None or sample.entries is None:
        return None
    found = decode(field, columns(np.array(sample.entries, np.uint16)))
    shift = _shift_ms(field, layout)
    pairs = zip(found.data.tolist(), found.available.tolist(), strict=True)
    return [data + shift if there else None for data, there in pairs]


def _shift_ms(field: Value, layout: Layout) -> int:
    return EPOCHS[layout.epoch] * 1000 if field.number.kind is Kind.UNIX_TIME else 0


def _time_faults(times: Sequence[int | None], now_ms: int) -> Iterator[str]:
    known = [time for time in times if time is not None]
    if len(known) < len(times):
        yield "a record has no time"
    if any(time < now_ms - OLDEST_MS for time in known):
        yield "a time is years ago"
    if any(time > now_ms + LATEST_MS for time in known):
        yield "a time is still to come"
    if any(after <= before for before, after in pairwise(known)):
        yield "the times do not rise"


def _value_faults(field: Value, decoded: Any, layout: Layout, sample: Sample) -> Iterator[str]:
    if np.isin(decoded.flag, _AWAY).any():
        yield f"{field.name} is no number"
    if (decoded.flag == Flag.UNKNOWN_CODE).any():
        yield f"{field.name} has a code that the map does not list"
    data = decoded.data[decoded.available]
    if data.dtype.kind not in "iuf" or field.codes or field.bits:
        return
    values = data.astype(np.float64)
    span = field.range or sample.ranges.get(field.name)
    now = sample.now(layout).get(field.name)
    if now and abs(now) < TIMES_SMALLER:
        yield f"the current {field.name} is of another size than numbers are in this order"
    if span is not None:
        if ((values < float(span.low)) | (values > float(span.high))).any():
            yield f"{field.name} is outside {span.low} to {span.high}"
        if now is not None and not float(span.low) <= now <= float(span.high):
            yield f"the current {field.name} is outside {span.low} to {span.high} in this order"
        return
    largest = LARGEST if now is None else max(abs(now), 1.0) * TIMES_LARGER
    size = np.abs(values[values != 0])
    if (size > largest).any() or (size < TIMES_SMALLER).any():
        yield f"{field.name} is of another size than " + (
            "numbers are" if now is None else "the current reading"
        )
