"""Other people's Modbus software reads and writes our simulated meter, and every value is compared.

minimalmodbus and pymodbus (3.16.1) have codecs of their own; what they decode must be what the table of
values says. The floats' bytes: IEEE 754, 123.456 = 42 F6 E9 79.
"""

import struct
from collections.abc import Iterator

import minimalmodbus
import pytest
import serial
from pymodbus.client import ModbusSerialClient
from pymodbus.pdu import ModbusPDU

UNIT = 17
FLOW = struct.unpack(">f", bytes.fromhex("42F6E979"))[0]


@pytest.fixture
def instrument(simulated_port: str) -> Iterator[minimalmodbus.Instrument]:
    # this library waits out its whole time for an exception reply: keep it short
    with serial.Serial(simulated_port, 19200, stopbits=2, timeout=0.5) as port:
        yield minimalmodbus.Instrument(port, UNIT)


@pytest.fixture
def client(simulated_port: str) -> Iterator[ModbusSerialClient]:
    client = ModbusSerialClient(simulated_port, baudrate=19200, stopbits=2, timeout=2, retries=0)
    assert client.connect()
    yield client
    client.close()


# ---- minimalmodbus


@pytest.mark.parametrize(
    ("address", "order"),
    [
        (0, minimalmodbus.BYTEORDER_BIG),
        (2, minimalmodbus.BYTEORDER_LITTLE_SWAP),
        (4, minimalmodbus.BYTEORDER_BIG_SWAP),
        (6, minimalmodbus.BYTEORDER_LITTLE),
    ],
)
def test_minimalmodbus_reads_floats_in_four_orders(instrument, address: int, order: int):
    assert instrument.read_float(address, functioncode=4, byteorder=order) == FLOW


def test_minimalmodbus_reads_whole_numbers_bits_and_text(instrument):
    assert instrument.read_long(10, functioncode=4) == 4_000_000_000
    assert instrument.read_long(12, functioncode=4, signed=True) == -70_000
    assert instrument.read_register(14, 1, functioncode=4, signed=True) == -12.3
    assert instrument.read_register(15, functioncode=4) == 65535  # not available
    assert instrument.read_long(16, functioncode=4, number_of_registers=4) == 18_000_000_000_000_000_001
    assert instrument.read_float(20, functioncode=4, number_of_registers=4) == 0.1
    assert instrument.read_bits(3, 2, functioncode=2) == [1, 0]
    assert instrument.read_bits(5, 2, functioncode=1) == [0, 1]
    assert instrument.read_string(60, 6).rstrip("\0") == "EX-0047"
    assert instrument.read_string(66, 3).rstrip("\0") == "1.4"


def test_minimalmodbus_writes_and_reads_back(instrument):
    instrument.write_float(30, 80.5)
    assert instrument.read_float(30) == 80.5
    instrument.write_register(32, 60, functioncode=6)
    assert instrument.read_register(32) == 60
    instrument.write_register(32, 2, functioncode=16)
    assert instrument.read_register(32) == 2
    instrument.write_bit(40, 1, functioncode=5)
    assert instrument.read_bits(40, 2, functioncode=1) == [1, 0]
    instrument.write_bits(40, [0, 1])
    assert instrument.read_bits(40, 2, functioncode=1) == [0, 1]


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda meter: meter.read_register(1000), "illegal data address"),
        (lambda meter: meter.read_registers(0, 101, functioncode=4), "illegal data value"),
        (lambda meter: meter.write_register(33, 5, functioncode=6), "illegal data address"),
        (lambda meter: meter.write_register(32, 3, functioncode=6), "illegal data value"),
        (lambda meter: meter.write_float(30, 5000.0), "illegal data value"),
    ],
)
def test_minimalmodbus_is_refused_as_by_a_real_meter(instrument, ask, words: str):
    with pytest.raises(minimalmodbus.IllegalRequestError, match=words):
        ask(instrument)


def test_minimalmodbus_hears_nothing_from_a_unit_that_is_not_there(simulated_port: str):
    with serial.Serial(simulated_port, 19200, timeout=0.1) as port:
        other = minimalmodbus.Instrument(port, UNIT + 1)
        with pytest.raises(minimalmodbus.NoResponseError):
            other.read_register(32)


# ---- pymodbus


def numbers(reply: ModbusPDU) -> list[int]:
    assert not reply.isError(), reply
    return reply.registers


def test_pymodbus_reads_every_register(client: ModbusSerialClient):
    words = numbers(client.read_input_registers(0, count=24, device_id=UNIT))
    types = client.DATATYPE
    assert client.convert_from_registers(words[0:2], types.FLOAT32) == FLOW
    assert client.convert_from_registers(words[2:4], types.FLOAT32, word_order="little") == FLOW
    assert words[4:6] == [0xF642, 0x79E9]
    assert words[6:8] == [0x79E9, 0xF642]
    assert words[8:10] == [0, 0]  # not listed, and bridged
    assert client.convert_from_registers(words[10:12], types.UINT32) == 4_000_000_000
    assert client.convert_from_registers(words[12:14], types.INT32) == -70_000
    assert client.convert_from_registers(words[14:15], types.INT16) == -123
    assert words[15] == 65535
    assert client.convert_from_registers(words[16:20], types.UINT64) == 18_000_000_000_000_000_001
    assert client.convert_from_registers(words[20:24], types.FLOAT64) == 0.1
    text = numbers(client.read_holding_registers(60, count=6, device_id=UNIT))
    assert client.convert_from_registers(text, types.STRING) == "EX-0047"


def test_pymodbus_reads_bits_of_both_tables(client: ModbusSerialClient):
    assert client.read_discrete_inputs(3, count=2, device_id=UNIT).bits[:2] == [True, False]
    assert client.read_coils(5, count=2, device_id=UNIT).bits[:2] == [False, True]


def test_pymodbus_writes_and_reads_back(client: ModbusSerialClient):
    words = client.convert_to_registers(99.25, client.DATATYPE.FLOAT32)
    assert not client.write_registers(30, words, device_id=UNIT).isError()
    assert numbers(client.read_holding_registers(30, count=2, device_id=UNIT)) == words
    assert not client.write_register(32, 10, device_id=UNIT).isError()
    assert not client.write_coil(41, True, device_id=UNIT).isError()
    assert not client.write_coils(40, [True, False], device_id=UNIT).isError()
    assert client.read_coils(40, count=2, device_id=UNIT).bits[:2] == [True, False]
    both = client.readwrite_registers(read_address=32, read_count=1, address=32, values=[60], device_id=UNIT)
    assert numbers(both) == [60]


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda c: c.read_holding_registers(1000, count=1, device_id=UNIT), 2),
        (lambda c: c.read_input_registers(0, count=101, device_id=UNIT), 3),
        (lambda c: c.write_register(33, 5, device_id=UNIT), 2),
        (lambda c: c.write_register(32, 3, device_id=UNIT), 3),
        (lambda c: c.read_fifo_queue(address=0, device_id=UNIT), 1),
    ],
)
def test_pymodbus_is_refused_as_by_a_real_meter(client: ModbusSerialClient, ask, code: int):
    reply = ask(client)
    assert reply.isError()
    assert reply.exception_code == code


def test_pymodbus_learns_who_the_meter_is(client: ModbusSerialClient):
    reply = client.read_device_information(device_id=UNIT)
    assert not reply.isError()
    assert reply.information[1] == b"Hollow Mere contract meter"
    assert reply.information[2] == b"1.4"
    told = client.report_device_id(device_id=UNIT)
    assert told.identifier == b"Hollow Mere contract meter"
    assert told.status is True
