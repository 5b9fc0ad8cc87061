"""The specification's examples of functions 20, 23 and 24, asked of a simulated meter: byte for byte.

AP = MODBUS Application Protocol Specification V1.1b3. The bytes between unit address and checksum are as
printed; the address is ours, the checksums are crccheck's. AP 6.14, p. 33 gives 07 to F5 as the lengths of a
reply; its own example has 0C and 05, so the table of limits there is not believed.
"""

from types import SimpleNamespace

from crccheck.crc import CrcModbus

from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions


def framed(pdu: str) -> bytes:
    data = bytes.fromhex("07" + pdu)
    return data + CrcModbus.calc(data).to_bytes(2, "little")


def meter_of(logs: SimpleNamespace, clock: FakeClock, way: str, registers: int, head: str) -> SimulatedMeter:
    """A memory of 300 records of so many registers by that way, whose words the test puts in."""
    record = f"  record: {{registers: {registers}, fields: {{raw: {{at: 0, type: uint16, unit: 1}}}}}}\n"
    text = logs.map_text(way, record=record, capacity=300, head=head)
    return SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions.prefilled(300, recording=False))


def test_function_20_reads_two_files_at_once(logs: SimpleNamespace, clock: FakeClock) -> None:
    # AP 6.14, p. 33: registers 2 and 3 of file 4's record 1, and of file 3's record 9
    meter = meter_of(logs, clock, "files: {first_file: 3, records_per_file: 100}", 1, logs.HEAD)
    meter.log.store.words[101:103, 0] = (0x0DFE, 0x0020)
    meter.log.store.words[9:11, 0] = (0x33CD, 0x0040)
    asked = framed("14 0E 06 00 04 00 01 00 02 06 00 03 00 09 00 02")
    assert meter.reply(asked) == framed("14 0C 05 06 0D FE 00 20 05 06 33 CD 00 40")


def test_function_23_writes_three_registers_and_reads_six(logs: SimpleNamespace, clock: FakeClock) -> None:
    # AP 6.17, p. 38: six registers from 0003 on are read, three from 000E on are written
    head = logs.HEAD + (
        "  a: {holding: 15, type: uint16, unit: 1, write: allowed}\n"
        "  b: {holding: 16, type: uint16, unit: 1, write: allowed}\n"
    )
    way = "window: {pointer: {holding: 14}, data: {holding: 3}, records: 1, write_and_read: allowed}"
    meter = meter_of(logs, clock, way, 6, head)
    meter.log.store.words[0xFF] = (0x00FE, 0x0ACD, 1, 3, 13, 0xFF)  # the record that 00FF points to
    asked = framed("17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF")
    assert meter.reply(asked) == framed("17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF")
    assert meter.reply(framed("03 00 0E 00 03")) == framed("03 06 00 FF 00 FF 00 FF")


def test_function_24_sends_the_queue_behind_a_pointer(logs: SimpleNamespace, clock: FakeClock) -> None:
    # AP 6.18, p. 40: the queue at 04DE has two registers, 440 and 4740
    way = "queue: {address: 1246, next_wanted: {holding: 86, type: uint32}}"
    meter = meter_of(logs, clock, way, 2, logs.HEAD)
    meter.log.store.words[299] = (440, 4740)
    meter.reply(framed("10 00 56 00 02 04 00 00 01 2B"))  # the last record is wanted
    asked = framed("18 04 DE")
    answer = framed("18 00 06 00 02 01 B8 12 84")
    assert meter.reply(asked) == answer
    assert meter.reply(asked) == answer, "reading does not empty it"


def test_function_24_sends_at_most_31_registers_in_whole_records(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    # AP 6.18, p. 40: the byte count takes two bytes and counts the count; at most 31 registers
    way = "queue: {address: 1246, next_wanted: {holding: 86, type: uint32}}"
    for registers, whole in ((1, 31), (2, 30), (4, 28), (31, 31), (16, 16)):
        reply = meter_of(logs, clock, way, registers, logs.HEAD).reply(framed("18 04 DE"))
        assert reply is not None
        assert reply[2:6] == (2 + 2 * whole).to_bytes(2, "big") + whole.to_bytes(2, "big")
        assert len(reply) == 8 + 2 * whole
