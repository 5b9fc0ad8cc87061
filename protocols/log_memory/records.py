"""Words of a reply to records: which are none, which number and time they tell, whether their check fits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.memory_model import Record
from protocols.register_map.model import Column, Kind, Number
from protocols.values.decode import Words, decode, record_check
from protocols.values.words import WordTable, raw_numbers

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Batch:
    """Records that are proven to be those asked for, in the order of their numbers.

    `session` counts the sessions the meter tells, from 0. `numbers` int64 [n] are extended, `words` uint16
    [n, registers] as sent. `fits` [n]: the record's own check agrees (True where it has none). `unfinished`
    [n]: its interval may still be running, so it may read otherwise next time. `again`: asked for although
    it was known already. `dummies`: how many empty records were dropped between them.
    `started_ms`, `interval_ms` and `first` are the session's as it was told when they were asked for; `first`
    is extended. They name it where the list of sessions has moved on since.
    """

    session: int
    numbers: NDArray[np.int64]
    words: WordTable
    fits: Mask
    unfinished: Mask
    again: bool = False
    dummies: int = 0
    started_ms: int | None = None
    interval_ms: int | None = None
    first: int = 0


def split(words: Sequence[int], skip: int, registers: int, count: int) -> WordTable:
    """`count` records [count, registers] that begin behind `skip` words."""
    data = np.array(words[skip : skip + count * registers], dtype=np.uint16)
    return data.reshape(count, registers)


def columns(table: WordTable) -> Mapping[Column, Words]:
    """Records [n, registers] as `decode` takes them: column i is the field's word i."""
    here = np.ones(len(table), np.bool_)
    return {Column(None, place): Words(table[:, place], here) for place in range(table.shape[1])}


def empty(record: Record, table: WordTable) -> Mask:
    """Where [n] a record is none: one of the forms the map lists."""
    found = np.zeros(len(table), np.bool_)
    for form in record.empty:
        found |= (table == form.word).all(axis=1)
    return found


def fits(record: Record, table: WordTable) -> Mask:
    """Where [n] the record's own check agrees with its words; everywhere for records without one."""
    if record.check is None:
        return np.ones(len(table), np.bool_)
    return record_check(record.check, columns(table))


def own_numbers(record: Record, table: WordTable) -> NDArray[np.int64] | None:
    """The number [n] each record tells, as told; -1 for digits that are none. None: they tell no number."""
    field = record.number
    if field is None:
        return None
    raw, good = raw_of(field.number, table)
    return np.where(good, raw, -1).astype(np.int64)


def raw_of(number: Number, table: WordTable) -> tuple[NDArray[np.int64], Mask]:
    """The raw numbers [n] at a field's place in rows [n, words], and where they are some."""
    words = table[:, number.address : number.address + number.words]
    raw, good = raw_numbers(words, number.kind, number.word_order, number.byte_order)
    return raw.astype(np.int64), good


def own_times(record: Record, table: WordTable) -> tuple[NDArray[np.int64], Mask] | None:
    """The time [n] each record tells, ms since 1970 by the meter's own clock, and where it is a time."""
    field = record.time
    if field is None:
        return None
    found = decode(field, columns(table))
    return found.data, found.available


def whole(number: Number, words: Sequence[int]) -> int | None:
    """One whole number from its words as sent; None for digits that are none."""
    table = np.array([words], dtype=np.uint16)
    raw, good = raw_numbers(table, number.kind, number.word_order, number.byte_order)
    return int(raw[0]) if good[0] and number.kind is not Kind.TEXT else None
