"""Our reader asks meters made by strangers: pymodbus's RTU server and a C program on Debian's libmodbus.

Each is a program of its own at the far end of a tap. What their registers hold is written down in their
sources and once more here.
"""

from collections.abc import Iterator

import numpy as np
import pytest

from protocols.modbus.requests import (
    IllegalRequestError,
    ReadRequest,
    ReadWriteRegisters,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import Kind, Number, Order, Value
from protocols.values.decode import Words, decode
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.clock import SystemClock

UNIT = 17
FORMAT = SerialFormat(19200, "none", stop_bits=2)
MANNERS = Manners(reply_within=2.0)


@pytest.fixture
def line(strangers_meter: str) -> Iterator[Line]:
    line = Line(open_port(strangers_meter, FORMAT), FORMAT, SystemClock())
    yield line
    line.close()


def read(line: Line, table: Table, start: int, count: int) -> list[int]:
    outcome = line.read(UNIT, ReadRequest(table, start, count), MANNERS)
    assert outcome.status is Status.OK, outcome.text
    assert outcome.repeats == 0
    return list(outcome.words)


def test_a_full_block_of_125_registers_is_read_from_both_tables(line: Line):
    assert read(line, Table.HOLDING, 70, 125) == [7 * i + 1 for i in range(70, 195)]
    assert read(line, Table.INPUT, 8, 125) == [60000 - i for i in range(8, 133)]


def test_126_registers_are_never_asked_for():
    with pytest.raises(IllegalRequestError, match="1 to 125 registers, not 126"):
        ReadRequest(Table.HOLDING, 0, 126)


@pytest.mark.parametrize(("start", "count"), [(0, 40), (1, 1), (7, 9), (39, 1)])
def test_bits_are_read_at_any_offset(line: Line, start: int, count: int):
    wanted = range(start, start + count)
    assert read(line, Table.COIL, start, count) == [int(i % 3 == 0) for i in wanted]
    assert read(line, Table.DISCRETE, start, count) == [int(i % 5 == 0) for i in wanted]


@pytest.mark.parametrize(
    ("address", "word_order", "byte_order"),
    [
        (0, Order.HIGH_FIRST, Order.HIGH_FIRST),
        (2, Order.LOW_FIRST, Order.HIGH_FIRST),
        (4, Order.HIGH_FIRST, Order.LOW_FIRST),
        (6, Order.LOW_FIRST, Order.LOW_FIRST),
    ],
)
def test_a_float_is_read_in_four_orders(line: Line, address: int, word_order: Order, byte_order: Order):
    # IEEE 754: 123.456 is 42 F6 E9 79
    number = Number(Table.INPUT, address, Kind.FLOAT32, 2, 2, word_order, byte_order)
    value = Value("flow", number)
    words = read(line, Table.INPUT, address, 2)
    told = {
        column: Words(np.array([word], np.uint16), np.ones(1, np.bool_))
        for column, word in zip(value.columns(), words, strict=True)
    }
    assert decode(value, told).data[0] == np.float32(123.456)


@pytest.mark.parametrize("table", list(Table))
def test_an_address_the_meter_lacks_is_exception_02_at_once(line: Line, table: Table):
    outcome = line.read(UNIT, ReadRequest(table, 5000, 1), MANNERS)
    assert outcome.status is Status.EXCEPTION
    assert outcome.exception == 2
    assert outcome.repeats == 0
    assert outcome.ended - outcome.sent < 1.0  # the time-out is 2 s
    assert read(line, Table.HOLDING, 3, 1) == [22]  # and the line is good for the next question


def test_what_is_written_is_read_back(line: Line):
    for request in (WriteRegister(196, 0x0D0A), WriteRegisters(197, (0x1113, 0x03FF, 0))):
        assert line.write(UNIT, request, MANNERS).status is Status.OK
    assert read(line, Table.HOLDING, 196, 4) == [0x0D0A, 0x1113, 0x03FF, 0]
    swapped = line.ask(UNIT, ReadWriteRegisters(196, 2, 198, (5, 6)), MANNERS)
    assert swapped.words == (0x0D0A, 0x1113)
    assert read(line, Table.HOLDING, 198, 2) == [5, 6]


def test_coils_are_written_and_read_back(line: Line):
    before = read(line, Table.COIL, 20, 12)
    assert line.write(UNIT, WriteCoil(20, on=True), MANNERS).status is Status.OK
    bits = tuple(i % 2 == 0 for i in range(11))
    assert line.write(UNIT, WriteCoils(21, bits), MANNERS).status is Status.OK
    assert read(line, Table.COIL, 20, 12) == [1, *map(int, bits)]
    restored = WriteCoils(20, tuple(map(bool, before)))
    assert line.write(UNIT, restored, MANNERS).status is Status.OK


# pymodbus 3.16.1 answers for units that it is not, with exception 04
@pytest.mark.parametrize("strangers_meter", ["libmodbus"], indirect=True)
def test_a_unit_that_is_not_there_gives_no_reply(line: Line):
    outcome = line.read(
        UNIT + 1,
        ReadRequest(Table.HOLDING, 0, 1),
        Manners(reply_within=0.05, late_within=0.05, repeats=0),
    )
    assert outcome.status is Status.NO_REPLY
