"""The four ways to records: what to send for some of them, where they lie in the reply, what proves it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from protocols.errors import RequestError
from protocols.log_memory.numbers import memory_modulus
from protocols.log_memory.state import covering, heads
from protocols.modbus import limits
from protocols.modbus.requests import (
    FilePart,
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    ReadWriteRegisters,
    Request,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from protocols.register_map.memory_model import (
    ByFiles,
    ByQueue,
    ByRegisters,
    ByWindow,
    Counts,
    LogMemory,
)
from protocols.register_map.model import Number, Wire
from protocols.values.words import raw_words


@dataclass(frozen=True, slots=True)
class Fetch:
    """How to get records `first` to `first + count - 1`.

    `point` is written before, in this order (empty where nothing is, or where `data` writes it itself).
    `data` brings the records behind `skip` words. `expected` is the number its echo or pointer must show as:
    `echo` in the reply of `data` at word `echo_at`, else, where `prove` is there, in the reply of that read
    afterwards. `whole`: the read takes the window's last register, so that the window may move on.
    """

    first: int
    count: int
    point: tuple[Request, ...]
    data: Request
    skip: int = 0
    expected: int = 0
    echo: Number | None = None
    echo_at: int = 0
    prove: ReadRequest | None = None
    whole: bool = False


class Reach:
    """Requests for the records of one memory, each of `registers` registers, under one meter's limits."""

    def __init__(self, memory: LogMemory, wire: Wire, registers: int | None = None) -> None:
        self.memory, self.wire = memory, wire
        self.registers = registers or memory.record.registers
        self._modulus = memory_modulus(memory)
        self.most = self._most()
        if self.most < 1:
            raise RequestError(
                f"A record of {self.registers} registers fits into no read of this meter by this way."
            )

    def wire_number(self, number: int) -> int:
        """An extended number as the meter counts it."""
        return number if self._modulus is None else number % self._modulus

    def place(self, number: int) -> int:
        """Which place of the memory a record is in, from 0: a ring's places are used again."""
        told = self.wire_number(number)
        return told % self.memory.capacity if self.memory.is_ring else told

    def together(self, first: int, count: int) -> int:
        """How many of `count` records from `first` on one read can bring."""
        way = self.memory.reached_by
        room = self.most
        if isinstance(way, ByRegisters | ByFiles):
            place = self.place(first)
            each = way.records_per_bank if isinstance(way, ByRegisters) else way.records_per_file
            if each is not None:
                room = min(room, each - place % each)
            room = min(room, self.memory.capacity - place) if place < self.memory.capacity else 1
        return max(1, min(room, count))

    def fetch(self, first: int, count: int, standing: int | None = None) -> Fetch:
        """The requests for `count` records that `together` allows; the pointer may be known to stand."""
        match self.memory.reached_by:
            case ByWindow() as way:
                return self._window(way, first, count, standing)
            case ByRegisters() as way:
                return self._area(way, first, count, standing)
            case ByFiles() as way:
                return self._files(way, first, count)
            case ByQueue() as way:
                return self._queue(way, first, count)

    def echo_of(self, way: ByWindow) -> Number | None:
        """What tells the window's place in the same read: the echo, or a pointer that lies near enough."""
        if way.echo is not None:
            return way.echo
        pointer = way.pointer
        if pointer.table is not way.data.table or self._span(way, pointer, 1) > self.wire.registers_per_read:
            return None
        beside = way.data.address - (pointer.address + pointer.addresses)
        behind = pointer.address - (way.data.address + way.records * self.registers)
        return pointer if 0 <= max(beside, behind) <= self.wire.bridge else None

    def _span(self, way: ByWindow, echo: Number, records: int) -> int:
        end = max(echo.address + echo.addresses, way.data.address + records * self.registers)
        return end - min(echo.address, way.data.address)

    def _most(self) -> int:
        way, registers = self.memory.reached_by, self.registers
        if isinstance(way, ByWindow):
            echo = self.echo_of(way)
            fitting = range(1, way.records + 1)
            if echo is None:
                return min(way.records, self.wire.registers_per_read // registers)
            return max(
                (n for n in fitting if self._span(way, echo, n) <= self.wire.registers_per_read), default=0
            )
        if isinstance(way, ByRegisters):
            return self.wire.registers_per_read // registers
        if isinstance(way, ByFiles):
            return self.wire.registers_per_file_read // registers
        return limits.QUEUE_REGISTERS // registers

    def _window(self, way: ByWindow, first: int, count: int, standing: int | None) -> Fetch:
        echo = self.echo_of(way)
        start, skip = way.data.address, 0
        end = start + count * self.registers
        if echo is not None:
            skip = max(0, start - echo.address)
            start, end = min(start, echo.address), max(end, echo.address + echo.addresses)
        modulus = self.memory.modulus(way.pointer)
        point = written(way.pointer, first % modulus, self.wire)
        data: Request = ReadRequest(way.data.table, start, end - start)
        if standing == first:
            point = ()
        elif way.write_and_read and len(point) == 1 and way.data.table is Table.HOLDING:
            words = number_words(way.pointer, first % modulus)
            data, point = ReadWriteRegisters(start, end - start, way.pointer.address, words), ()
        return Fetch(
            first, count, point, data, skip,
            expected=first % self.memory.modulus(echo or way.pointer),
            echo=echo,
            echo_at=0 if echo is None else echo.address - start,
            prove=_read_back(way.pointer) if echo is None else None,
            whole=count == way.records,
        )  # fmt: skip

    def _area(self, way: ByRegisters, first: int, count: int, standing: int | None) -> Fetch:
        place = self.place(first)
        bank, within = divmod(place, way.records_per_bank) if way.records_per_bank else (0, place)
        start = way.data.address + within * self.registers
        data = ReadRequest(way.data.table, start, count * self.registers)
        if way.bank is None:
            return Fetch(first, count, (), data)
        point = () if standing == bank else written(way.bank, bank, self.wire)
        return Fetch(first, count, point, data, expected=bank, prove=_read_back(way.bank))

    def _files(self, way: ByFiles, first: int, count: int) -> Fetch:
        file, within = divmod(self.place(first), way.records_per_file)
        record = within if way.counts is Counts.RECORDS else within * self.registers
        # one sub-request of many records: many of one record each would cost 61 % more characters
        part = FilePart(way.first_file + file, record, count * self.registers)
        return Fetch(first, count, (), ReadFileRecords((part,)))

    def _queue(self, way: ByQueue, first: int, count: int) -> Fetch:
        if way.next_wanted is None:
            return Fetch(first, count, (), ReadQueue(way.address))
        wanted = first % self.memory.modulus(way.next_wanted)
        point = written(way.next_wanted, wanted, self.wire)
        back = _read_back(way.next_wanted)
        return Fetch(first, count, point, ReadQueue(way.address), expected=wanted, prove=back)


def number_words(register: Number, number: int) -> tuple[int, ...]:
    """The words that write a whole number into a register."""
    raw = np.array([number], dtype=np.uint64)
    words = raw_words(raw, register.kind, register.word_order, register.byte_order)
    return tuple(int(word) for word in words[0])


def written(register: Number, number: int, wire: Wire) -> tuple[Request, ...]:
    """The writes that put a number into a register: one of function 16, or one of function 6 a word."""
    words = number_words(register, number)
    if wire.write_with == 16:
        return (WriteRegisters(register.address, words),)
    return tuple(WriteRegister(register.address + place, word) for place, word in enumerate(words))


def _read_back(register: Number) -> ReadRequest:
    return ReadRequest(register.table or Table.HOLDING, register.address, register.addresses)


@dataclass(frozen=True, slots=True)
class Estimate:
    """What a retrieval costs: requests sent, characters both ways, seconds with silences and turnarounds."""

    records: int
    requests: int
    characters: int
    seconds: float


def estimate(
    reach: Reach, ranges: Sequence[range], character_s: float, pause_s: float, turnaround_s: float,
    records_per_read: int | None = None,
) -> Estimate:  # fmt: skip
    """The cost of fetching these records without a fault, proof of position included.

    `character_s` is the time of one character on the wire, `pause_s` all silence a request takes (before it
    and before its reply), `turnaround_s` what the meter needs besides. A ring that does not prove its records
    by number and check is looked at after every read. Nothing is sent: the requests are made and counted.
    """
    memory = reach.memory
    proves_itself = memory.record.number is not None and memory.record.check is not None
    looks = covering(heads(memory), reach.wire) if memory.is_ring and not proves_itself else []
    requests = characters = records = 0
    most = min(reach.most, records_per_read or reach.most)
    standing: int | None = None
    for wanted in ranges:
        first = wanted.start
        while first < wanted.stop:
            count = reach.together(first, min(most, wanted.stop - first))
            fetch = reach.fetch(first, count, standing)
            sent = [*fetch.point, fetch.data, *looks]
            if fetch.prove is not None and memory.record.number is None:
                sent.append(fetch.prove)
            requests += len(sent)
            characters += sum(_characters(request, reach, count) for request in sent)
            standing = after(memory, fetch)
            records, first = records + count, first + count
    seconds = characters * character_s + requests * (pause_s + turnaround_s)
    return Estimate(records, requests, characters, seconds)


def _characters(request: Request, reach: Reach, count: int) -> int:
    reply = request.reply_characters
    if reply is None:  # function 24: unit, function, two counts of two bytes, checksum
        reply = 8 + 2 * count * reach.registers
    return len(request.pdu()) + 3 + reply


def after(memory: LogMemory, fetch: Fetch) -> int | None:
    """Where the pointer stands once a fetch is proven; None where it must be written again."""
    way = memory.reached_by
    if isinstance(way, ByWindow) and way.advance and fetch.whole:
        return fetch.first + fetch.count
    if isinstance(way, ByRegisters) and way.bank is not None:
        return fetch.expected
    return None
