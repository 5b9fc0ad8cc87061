"""Other people's software reads the records of our simulated meters, and every register is compared.

pymodbus (3.16.1) reads the files of function 20; Debian's libmodbus, in C, the window of function 23 and the
records in registers of their own. For function 24 over RTU there is no stranger: pymodbus takes its frame
for two bytes shorter than it is, so only what it makes of the part between address and checksum is asked.
"""

import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from pymodbus.client import ModbusSerialClient
from pymodbus.pdu.file_message import FileRecord, ReadFifoQueueResponse

from protocols.modbus.crc import with_crc
from protocols.modbus.requests import ReadQueue
from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.log_memory import LogOptions

UNIT = 17
RECORDS = 150
WAYS = {
    "files": "files: {first_file: 4, records_per_file: 60}",
    "files that count records": "files: {first_file: 4, records_per_file: 60, counts: records}",
    "window": "window: {pointer: {holding: 10, type: uint32}, echo: {holding: 20, type: uint32}, "
    "data: {holding: 22}, records: 10, write_and_read: allowed}",
    "registers": "registers: {input: 1000}",
    "queue": "queue: {address: 600, next_wanted: {holding: 10, type: uint32}}",
}


def metered(way: str) -> SimulatedMeter:
    """A meter with 150 records of 6 registers, no longer recording."""
    text = (
        f"register_map: 1\nmeter: Mere 17 meter\nserial: {{unit_address: {UNIT}}}\n"
        "log_memory:\n  capacity: 200\n  count: {input: 0}\n  record:\n    registers: 6\n    fields:\n"
        "      number: {at: 0, type: uint16}\n      time: {at: 1, type: unix time}\n"
        "      flow: {at: 3, type: float32, unit: m3/h, basis: actual}\n      check: {at: 5, type: crc16}\n"
        f"  reached_by:\n    {WAYS[way]}\n"
    )
    parsed = parse_map(text.encode(), "stranger.yaml")
    assert parsed.map is not None, parsed.faults
    return SimulatedMeter(parsed.map, log=LogOptions.prefilled(RECORDS, 5.0, recording=False))


def held(meter: SimulatedMeter, first: int, count: int) -> list[int]:
    """What the memory's registers hold of these records."""
    assert meter.log is not None
    words: list[int] = meter.log.store.words[first : first + count].reshape(-1).tolist()
    return words


@contextmanager
def pymodbus_at(port: str) -> Iterator[ModbusSerialClient]:
    client = ModbusSerialClient(port, baudrate=19200, stopbits=2, timeout=5, retries=0)
    assert client.connect()
    try:
        yield client
    finally:
        client.close()


@pytest.fixture
def c_master(libmodbus_client: str) -> Callable[[str, str], list[str]]:
    def asked(port: str, requests: str) -> list[str]:
        done = subprocess.run(
            [libmodbus_client, port, str(UNIT)], input=requests, capture_output=True, text=True, timeout=60,
            check=True,
        )  # fmt: skip
        return done.stdout.splitlines()

    return asked


@pytest.mark.parametrize(("way", "step"), [("files", 6), ("files that count records", 1)])
def test_pymodbus_reads_every_record_of_the_files(way: str, step: int) -> None:
    meter = metered(way)
    words: list[int] = []
    with SimulatedLine([meter]) as line, pymodbus_at(line.port) as client:
        for first in range(0, RECORDS, 15):
            file, within = divmod(first, 60)
            # pymodbus takes the length in bytes and halves it on the wire
            part = FileRecord(file_number=4 + file, record_number=within * step, record_length=2 * 15 * 6)
            reply = client.read_file_record([part], device_id=UNIT)
            assert not reply.isError(), reply
            words += np.frombuffer(reply.records[0].record_data, ">u2").tolist()
    assert words == held(meter, 0, RECORDS)


def test_pymodbus_reads_pieces_of_two_files_in_one_request_and_sees_their_end() -> None:
    meter = metered("files")
    with SimulatedLine([meter]) as line, pymodbus_at(line.port) as client:
        parts = [FileRecord(file_number=5, record_number=6 * 3, record_length=24),
                 FileRecord(file_number=4, record_number=6 * 59, record_length=12)]  # fmt: skip
        reply = client.read_file_record(parts, device_id=UNIT)
        assert [np.frombuffer(one.record_data, ">u2").tolist() for one in reply.records] == [
            held(meter, 63, 2), held(meter, 59, 1)
        ]  # fmt: skip
        behind = FileRecord(file_number=7, record_number=6 * 20, record_length=12)
        assert client.read_file_record([behind], device_id=UNIT).exception_code == 2


def test_libmodbus_points_and_reads_the_window_in_one_request(
    c_master: Callable[[str, str], list[str]],
) -> None:
    meter = metered("window")
    firsts = range(0, RECORDS, 10)
    with SimulatedLine([meter]) as line:
        told = c_master(line.port, "".join(f"23 10 0 {first} 20 62\n" for first in firsts))
    for first, answer in zip(firsts, told, strict=True):
        echo_high, echo_low, *words = map(int, answer.split())
        assert (echo_high, echo_low) == (0, first)
        assert words == held(meter, first, 10)


def test_libmodbus_reads_records_in_registers_of_their_own(c_master: Callable[[str, str], list[str]]) -> None:
    meter = metered("registers")
    with SimulatedLine([meter]) as line:
        count, *told = c_master(
            line.port,
            "4 0 1\n"
            + "".join(f"4 {1000 + 6 * first} 60\n" for first in range(0, RECORDS, 10))
            + "4 2195 6\n",
        )
    assert count == str(RECORDS)
    assert [int(word) for answer in told[:-1] for word in answer.split()] == held(meter, 0, RECORDS)
    assert told[-1] == "refused 2", "the memory ends at register 2199"


def test_pymodbus_understands_what_a_queue_sends_once_it_is_unframed() -> None:
    meter = metered("queue")
    frame = meter.reply(with_crc(bytes((UNIT,)) + ReadQueue(600).pdu()))
    assert frame is not None
    assert ReadFifoQueueResponse.calculateRtuFrameSize(frame) == len(frame) - 2, "no stranger over RTU"
    found = ReadFifoQueueResponse()
    found.decode(frame[2:-2])
    assert found.values == held(meter, 0, 5)


def test_pymodbus_reads_the_water_meters_ring_as_the_command_offers_it(water_port: str) -> None:
    """4,500 records in a ring of 4,000: the newest 500 lie in the first 500 places of file 1."""
    with pymodbus_at(water_port) as client:
        # record number 499 x 10 in file 1, places 499 and 500; then the last place of file 4
        parts = [FileRecord(file_number=1, record_number=4990, record_length=40),
                 FileRecord(file_number=4, record_number=9990, record_length=20)]  # fmt: skip
        reply = client.read_file_record(parts, device_id=31)
        assert not reply.isError(), reply
        newest, oldest, last = (
            record
            for part in reply.records
            for record in np.frombuffer(part.record_data, ">u2").reshape(-1, 10)
        )
    assert [int(one[0]) for one in (newest, oldest, last)] == [4499, 500, 3999], "numbers, low word first"
