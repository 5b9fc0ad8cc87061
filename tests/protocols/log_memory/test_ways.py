"""The four ways on the wire: the specification's own frames, limits, and what a retrieval takes.

AP = MODBUS Application Protocol Specification V1.1b3 (2012-04-26).
"""

from types import SimpleNamespace

import numpy as np
import pytest

from protocols.errors import RequestError
from protocols.log_memory.records import split
from protocols.log_memory.walk.reading import words_of
from protocols.log_memory.ways import Reach, estimate
from protocols.modbus.replies import read_reply
from protocols.modbus.requests import ReadFileRecords, ReadRequest, WriteRegister, WriteRegisters
from protocols.modbus.timing import SerialFormat


def reach(
    model: SimpleNamespace, way: str, registers: int = 1, wire: str = "{}", capacity: int = 60000
) -> Reach:
    """The way to records that are all value (one register) or value and check (more)."""
    field = "check: {at: 1, type: crc16}" if registers > 1 else "a: {at: 0, type: uint16, unit: 1}"
    register_map = model.map_of(
        f"register_map: 1\nmeter: Hollow Mere model\nwire: {wire}\nlog_memory:\n  capacity: {capacity}\n"
        "  count: {input: 65533, type: uint32}\n"
        f"  record: {{registers: {registers}, fields: {{{field}}}}}\n  reached_by: {{{way}}}\n"
    )
    return Reach(register_map.log_memory, register_map.wire)


def frame(text: str) -> bytes:
    return bytes.fromhex(text)


def test_function_20_as_in_the_specification(model: SimpleNamespace) -> None:
    """File 4, record 1, two registers: 0DFE 0020 (AP 6.14, p. 33, first sub-request; checksum for unit 17).
    The length in the reply is 05; the 07 of its field table is a misprint."""
    fetch = reach(model, "files: {first_file: 4, records_per_file: 10000}").fetch(1, 2)
    assert fetch.data.frame(17) == frame("11 14 07 06 00 04 00 01 00 02 D9 70")
    reply = read_reply(fetch.data, 17, frame("11 14 06 05 06 0D FE 00 20 46 8E"))
    assert split(words_of(reply), fetch.skip, 1, 2).tolist() == [[0x0DFE], [0x0020]]


def test_function_23_as_in_the_specification(model: SimpleNamespace) -> None:
    """Six registers read from 4 on, three written at 15 (AP 6.17, p. 38), as a pointer of 48 bits."""
    window = (
        "window: {pointer: {holding: 14, type: uint48}, data: {holding: 3}, records: 6, "
        "write_and_read: allowed}"
    )
    fetch = reach(model, window).fetch(0x00FF_00FF_00FF, 6)
    assert fetch.point == ()
    assert fetch.data.frame(1) == frame("01 17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF 46 91")
    reply = read_reply(fetch.data, 1, frame("01 17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF 1D 79"))
    assert split(words_of(reply), 0, 1, 6)[:, 0].tolist() == [0xFE, 0xACD, 1, 3, 0xD, 0xFF]


def test_function_24_as_in_the_specification(model: SimpleNamespace) -> None:
    """The queue at 04DE holds 440 and 4740 (AP 6.18, p. 40)."""
    fetch = reach(model, "queue: {address: 1246, advance: by read}").fetch(0, 31)
    assert fetch.data.frame(1) == frame("01 18 04 DE 03 47")
    reply = read_reply(fetch.data, 1, frame("01 18 00 06 00 02 01 B8 12 84 19 18"))
    assert split(words_of(reply), 0, 1, 2)[:, 0].tolist() == [440, 4740]


@pytest.mark.parametrize(
    ("way", "registers", "most"),
    [
        ("files: {first_file: 1, records_per_file: 1000}", 10, 12),
        ("registers: {input: 0}", 1, 125),
        ("queue: {address: 600, advance: by read}", 7, 4),
        ("window: {pointer: {holding: 82}, echo: {holding: 400}, data: {holding: 401}, records: 20}", 6, 20),
    ],
)
def test_most_records_of_one_read(model: SimpleNamespace, way: str, registers: int, most: int) -> None:
    """121 registers of a file (AP 6.14), 125 of a table (AP 6.3), 31 of a queue (AP 6.18), less the echo."""
    assert reach(model, way, registers).most == most


def test_reads_do_not_cross_the_end_of_a_file_or_a_bank(model: SimpleNamespace) -> None:
    files = reach(model, "files: {first_file: 2, records_per_file: 100}")
    assert [files.together(first, 200) for first in (0, 90, 99, 100)] == [100, 10, 1, 100]
    request = files.fetch(100, 5).data
    assert isinstance(request, ReadFileRecords)
    assert (request.parts[0].file, request.parts[0].record) == (3, 0)
    banks = reach(model, "registers: {input: 1000, bank: {holding: 84}, records_per_bank: 500}")
    fetch = banks.fetch(1010, 4)
    assert fetch.point == (WriteRegisters(84, (2,)),)
    assert fetch.data == ReadRequest(fetch.data.table, 1010, 4)  # type: ignore[attr-defined]
    assert banks.fetch(1014, 4, standing=2).point == ()


def test_a_pointer_of_two_registers_is_written_as_the_meter_takes_it(model: SimpleNamespace) -> None:
    window = "window: {pointer: {holding: 82, type: uint32}, data: {holding: 400}, records: 5}"
    assert reach(model, window).fetch(70000, 5).point == (WriteRegisters(82, (1, 4464)),)
    one_by_one = reach(model, window, wire="{write_with: 6, word_order: low first}").fetch(70000, 5).point
    assert one_by_one == (WriteRegister(82, 4464), WriteRegister(83, 1))


def test_a_record_wider_than_the_map_says_may_fit_no_read_any_more(model: SimpleNamespace) -> None:
    narrow = reach(model, "registers: {input: 0}", wire="{registers_per_read: 10}")
    with pytest.raises(RequestError, match="fits into no read"):
        Reach(narrow.memory, narrow.wire, 11)


@pytest.mark.parametrize(
    ("way", "registers", "reads", "minutes"),
    [
        ("registers: {input: 0}", 125, 4195, (21.63, 10.82, 5.51, 2.00)),
        ("files: {first_file: 1, records_per_file: 1}", 121, 4333, (22.18, 11.09, 5.65, 2.05)),
    ],
)
def test_a_mebibyte_takes_as_long_as_the_wire_says(
    model: SimpleNamespace, way: str, registers: int, reads: int, minutes: tuple[float, ...]
) -> None:
    """1 MiB by reads of 125 registers, and of 121 of a file, at 9600 to 115200 Bd: 11 bits a character and
    two silences of 3.5 characters a read, worked out apart from this program."""
    found = reach(model, way, registers, capacity=1)
    for baud_rate, expected in zip((9600, 19200, 38400, 115200), minutes, strict=True):
        line = SerialFormat(baud_rate)
        cost = estimate(found, [range(1)] * reads, line.character_time, 2 * line.silence, 0.0)
        assert (cost.requests, cost.records) == (reads, reads)
        assert cost.seconds / 60 == pytest.approx(expected, abs=0.0051)


def test_the_proof_of_a_position_is_in_the_estimate(model: SimpleNamespace) -> None:
    """Without an echo every window costs its pointer's write and its reading back."""
    window = "window: {pointer: {holding: 82}, data: {holding: 400}, records: 10}"
    assert estimate(reach(model, window), [range(100)], 0.001, 0.0, 0.0).requests == 30


def test_fewer_records_a_read_cost_more(model: SimpleNamespace) -> None:
    found = reach(model, "files: {first_file: 1, records_per_file: 1000}", 10)
    costs = [estimate(found, [range(1000)], 0.001, 0.004, 0.01, n).seconds for n in (1, 4, 12)]
    assert costs == sorted(costs, reverse=True)
    assert np.argmin(costs) == 2
