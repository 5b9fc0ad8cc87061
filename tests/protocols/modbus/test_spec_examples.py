"""The worked examples of the Modbus specification, byte for byte, in both directions.

Source: MODBUS Application Protocol Specification V1.1b3 (AP), clauses beside each row. It prints function and
data; unit address 01 is ours, the checksums were computed with crccheck 1.3.1. Rows marked
"constructed" fill a layout for which the specification gives no numbers.
"""

import pytest

from protocols.errors import ReplyError
from protocols.modbus.replies import (
    Bits,
    ExceptionReply,
    FileRecords,
    Identification,
    Queue,
    Registers,
    Reply,
    ServerId,
    Written,
    read_reply,
    reply_length,
)
from protocols.modbus.requests import (
    FilePart,
    ReadDeviceIdentification,
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    ReadWriteRegisters,
    ReportServerId,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.server import read_request, reply_frame, request_length
from protocols.modbus.tables import Table


def _bits(text: str) -> tuple[bool, ...]:
    return tuple(character == "1" for character in text if character != " ")


# The tables of AP 6.1 and 6.2 print the bits of each byte from the highest down; here the lowest comes first.
COILS_20_38 = _bits("1011 0011 1101 0110 101")
INPUTS_197_218 = _bits("0011 0101 1101 1011 1010 11")

EXAMPLES = [
    pytest.param(
        ReadRequest(Table.COIL, 0x13, 19), "01 01 00 13 00 13 8C 02",
        Bits(COILS_20_38), "01 01 03 CD 6B 05 42 82", id="AP 6.1 p. 12, coils 20-38"),
    pytest.param(
        ReadRequest(Table.DISCRETE, 0xC4, 22), "01 02 00 C4 00 16 B8 39",
        Bits(INPUTS_197_218), "01 02 03 AC DB 35 22 88", id="AP 6.2 p. 13, inputs 197-218"),
    pytest.param(
        ReadRequest(Table.HOLDING, 0x6B, 3), "01 03 00 6B 00 03 74 17",
        Registers((555, 0, 100)), "01 03 06 02 2B 00 00 00 64 05 7A", id="AP 6.3 p. 15, registers 108-110"),
    pytest.param(
        ReadRequest(Table.INPUT, 8, 1), "01 04 00 08 00 01 B0 08",
        Registers((10,)), "01 04 02 00 0A 39 37", id="AP 6.4 p. 16, input register 9"),
    pytest.param(
        WriteCoil(0xAC, on=True), "01 05 00 AC FF 00 4C 1B",
        Written(0xAC, 1), "01 05 00 AC FF 00 4C 1B", id="AP 6.5 p. 18, coil 173 on"),
    pytest.param(
        WriteRegister(1, 3), "01 06 00 01 00 03 98 0B",
        Written(1, 1), "01 06 00 01 00 03 98 0B", id="AP 6.6 p. 19, register 2 := 3"),
    pytest.param(
        WriteCoils(0x13, _bits("1011 0011 10")), "01 0F 00 13 00 0A 02 CD 01 72 CB",
        Written(0x13, 10), "01 0F 00 13 00 0A 24 09", id="AP 6.11 p. 29, 10 coils from 20"),
    pytest.param(
        WriteRegisters(1, (0x000A, 0x0102)), "01 10 00 01 00 02 04 00 0A 01 02 92 30",
        Written(1, 2), "01 10 00 01 00 02 10 08", id="AP 6.12 p. 30, registers 2 and 3"),
    pytest.param(
        ReportServerId(), "01 11 C0 2C",
        ServerId(b"ABC\xff\x01\x02"), "01 11 06 41 42 43 FF 01 02 73 5B", id="AP 6.13 p. 31, constructed"),
    pytest.param(
        ReadFileRecords((FilePart(4, 1, 2), FilePart(3, 9, 2))),
        "01 14 0E 06 00 04 00 01 00 02 06 00 03 00 09 00 02 F4 FD",
        FileRecords(((0x0DFE, 0x0020), (0x33CD, 0x0040))),
        "01 14 0C 05 06 0D FE 00 20 05 06 33 CD 00 40 79 A1", id="AP 6.14 p. 33, two files"),
    pytest.param(
        ReadWriteRegisters(3, 6, 14, (0xFF, 0xFF, 0xFF)),
        "01 17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF 46 91",
        Registers((0x00FE, 0x0ACD, 1, 3, 13, 0xFF)),
        "01 17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF 1D 79", id="AP 6.17 p. 38, read 6, write 3"),
    pytest.param(
        ReadQueue(0x04DE), "01 18 04 DE 03 47",
        Queue((440, 4740)), "01 18 00 06 00 02 01 B8 12 84 19 18", id="AP 6.18 p. 40, pointer 1246"),
    # AP 6.21 p. 45 prints length 0D for "Product code XX", which has 15 characters (0F): corrected here.
    pytest.param(
        ReadDeviceIdentification(1, 0), "01 2B 0E 01 00 70 77",
        Identification(
            1, 1, None, ((0, b"Company identification"), (1, b"Product code XX"), (2, b"V2.11"))),
        "01 2B 0E 01 01 00 00 03 00 16" + b"Company identification".hex()
        + "01 0F" + b"Product code XX".hex() + "02 05" + b"V2.11".hex() + "FC 21",
        id="AP 6.21 p. 45, basic identification, misprint corrected"),
    pytest.param(
        ReadRequest(Table.COIL, 0x04A1, 1), "01 01 04 A1 00 01 AD 18",
        ExceptionReply(1, 2), "01 81 02 C1 91", id="AP 7 p. 47, exception 02"),
]  # fmt: skip


@pytest.mark.parametrize(("request_", "asked", "reply", "answered"), EXAMPLES)
class TestExample:
    def test_master_sends_these_bytes(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        assert request_.frame(1) == bytes.fromhex(asked)

    def test_master_understands_the_reply(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        assert read_reply(request_, 1, bytes.fromhex(answered)) == reply

    def test_meter_understands_the_request(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        assert read_request(bytes.fromhex(asked)) == (1, request_)

    def test_meter_sends_these_bytes(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        assert reply_frame(1, request_, reply) == bytes.fromhex(answered)

    def test_good_reply_has_the_length_foretold(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        if request_.reply_characters is not None and not isinstance(reply, ExceptionReply):
            assert request_.reply_characters == len(bytes.fromhex(answered))

    def test_reply_ends_by_its_own_bytes_however_it_arrives(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        """Whole, byte by byte, or with rubbish behind it: its length is the same, early bytes give None."""
        frame = bytes.fromhex(answered)
        told = [reply_length(frame[:cut]) for cut in range(len(frame) + 1)]
        first = next(place for place, length in enumerate(told) if length is not None)
        assert told[:first] == [None] * first
        assert told[first:] == [len(frame)] * (len(frame) + 1 - first)
        assert reply_length(frame + b"\x00\xff\x01") == len(frame)

    def test_request_ends_by_its_own_bytes_however_it_arrives(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        frame = bytes.fromhex(asked)
        told = [request_length(frame[:cut]) for cut in range(len(frame) + 1)]
        assert set(told) == {None, len(frame)}
        assert told == sorted(told, key=lambda length: length is not None)
        assert request_length(frame + b"\x00\xff\x01") == len(frame)

    def test_a_cut_reply_gives_no_value(
        self, request_: Request, asked: str, reply: Reply, answered: str
    ) -> None:
        frame = bytes.fromhex(answered)
        for cut in range(len(frame)):
            with pytest.raises(ReplyError):
                read_reply(request_, 1, frame[:cut])


def test_printed_length_of_the_product_code_is_not_believed() -> None:
    """AP 6.21, p. 45 as printed (0D for 15 characters): the objects do not add up, so no value."""
    frame = bytes.fromhex(
        "01 2B 0E 01 01 00 00 03 00 16" + b"Company identification".hex()
        + "01 0D" + b"Product code XX".hex() + "02 05" + b"V2.11".hex() + "FC 21"
    )  # fmt: skip
    with pytest.raises(ReplyError):
        read_reply(ReadDeviceIdentification(1, 0), 1, frame)


def test_identification_in_two_transactions() -> None:
    """AP 6.21, p. 45, second example; corrected: 1D for 29 characters, 2 objects in part one."""
    first = Identification(1, 1, 2, ((0, b"Company identification"), (1, b"Product code XXXXXXXXXXXXXXXX")))
    second = Identification(1, 1, None, ((2, b"V2.11"),))
    for request, reply in ((ReadDeviceIdentification(1, 0), first), (ReadDeviceIdentification(1, 2), second)):
        assert read_reply(request, 1, reply_frame(1, request, reply)) == reply
    frame = reply_frame(1, ReadDeviceIdentification(1, 0), first)
    assert frame[1:10].hex(" ") == "2b 0e 01 01 ff 02 02 00 16"
