"""Replies that do not answer the question: never a value, and each is told by its own name.

The bytes are constructed (no publication gives them); checksums computed with crccheck 1.3.1.
"""

import pytest

from protocols.errors import ReplyError
from protocols.modbus.replies import (
    Bits,
    Cause,
    Departure,
    ExceptionReply,
    FileRecords,
    Queue,
    Registers,
    read_reply,
    reply_length,
)
from protocols.modbus.requests import (
    FilePart,
    ReadDeviceIdentification,
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    Request,
    WriteCoil,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table

TWO = ReadRequest(Table.HOLDING, 0, 2)
FILE = ReadFileRecords((FilePart(4, 1, 2),))


@pytest.mark.parametrize(
    ("request_", "unit", "frame", "cause"),
    [
        pytest.param(TWO, 1, "02 03 04 11 11 22 22 04 B3", Cause.OTHER_UNIT, id="another meter answers"),
        pytest.param(TWO, 1, "01 04 04 11 11 22 22 36 04", Cause.OTHER_FUNCTION, id="another function"),
        pytest.param(TWO, 1, "01 84 02 C2 C1", Cause.OTHER_FUNCTION, id="exception to another function"),
        pytest.param(TWO, 1, "01 03 02 11 11 74 18", Cause.FEWER, id="one register of two"),
        pytest.param(
            ReadRequest(Table.HOLDING, 0, 1), 1, "01 03 06 00 01 00 02 00 03 FD 74", Cause.MORE, id="three"
        ),
        pytest.param(
            TWO, 1, "01 03 08 00 01 00 02 00 03 00 04 0D 14", Cause.FOUR_BYTES, id="twice as many as asked"
        ),
        pytest.param(
            ReadRequest(Table.HOLDING, 0x1B5E, 1), 1, "01 03 04 43 48 00 00 6F A1", Cause.FOUR_BYTES,
            id="32 bits behind one address"),
        pytest.param(TWO, 1, "01 03 05 00 01 00 02 00 B2 0E", Cause.ODD_COUNT, id="odd byte count"),
        pytest.param(TWO, 1, "01 03 04 11 11 22 22 00 00", Cause.BAD_CRC, id="checksum"),
        pytest.param(TWO, 1, "01 03 04 11", Cause.INCOMPLETE, id="cut"),
        pytest.param(TWO, 1, "01 83 02", Cause.EXCEPTION_WITHOUT_CRC, id="exception without checksum"),
        pytest.param(TWO, 1, "01 03 00 04 11 11 22 22 8E 87", Cause.TWO_BYTE_COUNT, id="two-byte count"),
        pytest.param(TWO, 1, "6C 6F 67 69 6E 3A 20", Cause.NOT_A_REPLY, id="text"),
        pytest.param(
            WriteRegister(16, 1), 1, "01 06 00 11 00 01 18 0F", Cause.ECHO, id="another register confirmed"),
        pytest.param(
            WriteRegister(16, 1), 1, "01 06 00 10 00 02 09 CE", Cause.ECHO, id="another value confirmed"),
        pytest.param(
            WriteRegisters(1, (10, 258)), 1, "01 10 00 01 00 01 50 09", Cause.ECHO, id="fewer confirmed"),
        pytest.param(
            WriteCoil(0xAC, on=True), 1, "01 05 00 AC 00 00 0D EB", Cause.ECHO, id="off for on"),
        pytest.param(
            ReadRequest(Table.COIL, 0, 19), 1, "01 01 02 CD 6B AC 83", Cause.FEWER, id="two bytes, 19 coils"),
        pytest.param(
            ReadRequest(Table.COIL, 0, 8), 1, "01 01 02 CD 6B AC 83", Cause.MORE, id="two bytes, 8 coils"),
        pytest.param(FILE, 17, "11 14 06 03 06 0D FE 00 20 46 E8", Cause.FILE_LENGTH, id="in registers"),
        pytest.param(FILE, 17, "11 14 06 05 07 0D FE 00 20 7B 4E", Cause.FILE_REFERENCE, id="reference"),
        pytest.param(FILE, 17, "11 14 05 05 06 0D FE 00 20 75 8E", Cause.LENGTH, id="outer length"),
        pytest.param(FILE, 17, "11 14 02 00 06 FC 31", Cause.FILE_LENGTH, id="inner length 0"),
        pytest.param(
            ReadQueue(1), 16, "10 18 00 0A 00 05 61 31 34 66 62 30 31 65 A4 D6", Cause.QUEUE_COUNT,
            id="count 5 with 4 values"),
    ],
)  # fmt: skip
def test_misfit_is_named(request_: Request, unit: int, frame: str, cause: Cause) -> None:
    with pytest.raises(ReplyError) as refused:
        read_reply(request_, unit, bytes.fromhex(frame))
    assert refused.value.cause == cause
    assert str(refused.value).endswith(".")


def test_a_meter_with_32_bits_behind_each_address() -> None:
    request = ReadRequest(Table.HOLDING, 0x1B5E, 1)
    assert request.frame(1) == bytes.fromhex("01 03 1B 5E 00 01 E3 3C")
    reply = read_reply(request, 1, bytes.fromhex("01 03 04 43 48 00 00 6F A1"), words_per_address=2)
    assert reply == Registers((0x4348, 0))  # 200.0 as float32
    with pytest.raises(ReplyError) as refused:
        read_reply(request, 1, bytes.fromhex("01 03 02 11 11 74 18"), words_per_address=2)
    assert refused.value.cause == Cause.FEWER


def test_tolerated_exception_without_checksum() -> None:
    tolerate = {Departure.EXCEPTION_WITHOUT_CRC.value}
    assert read_reply(TWO, 1, bytes.fromhex("01 83 02"), tolerate=tolerate) == ExceptionReply(3, 2)


def test_tolerated_byte_count_of_two_bytes() -> None:
    tolerate = {Departure.TWO_BYTE_COUNT.value}
    frame = bytes.fromhex("01 03 00 04 11 11 22 22 8E 87")
    lengths = [reply_length(frame[:cut], tolerate) for cut in range(len(frame) + 1)]
    assert lengths == [None] * 4 + [10] * 7
    assert read_reply(TWO, 1, frame, tolerate=tolerate) == Registers((0x1111, 0x2222))


def test_files_and_queue_in_good_order() -> None:
    assert FILE.frame(17) == bytes.fromhex("11 14 07 06 00 04 00 01 00 02 D9 70")
    good = bytes.fromhex("11 14 06 05 06 0D FE 00 20 46 8E")
    assert read_reply(FILE, 17, good) == FileRecords(((0x0DFE, 0x0020),))
    assert read_reply(FILE, 17, bytes.fromhex("11 94 02 CE C4")) == ExceptionReply(20, 2)
    queue = ReadQueue(1)
    assert queue.frame(16) == bytes.fromhex("10 18 00 01 45 23")
    four = bytes.fromhex("10 18 00 0A 00 04 61 31 34 66 62 30 31 65 A9 46")
    assert read_reply(queue, 16, four) == Queue((0x6131, 0x3466, 0x6230, 0x3165))
    assert read_reply(queue, 16, bytes.fromhex("10 18 00 02 00 00 83 49")) == Queue(())


def test_bits_are_exactly_those_asked_for() -> None:
    """Two coils come in one byte; what fills it up is not given away as coils."""
    reply = read_reply(ReadRequest(Table.COIL, 0, 2), 1, bytes.fromhex("01 01 01 02 D0 49"))
    assert reply == Bits((False, True))


@pytest.mark.parametrize(
    "prefix",
    [
        pytest.param("01 07 6D", id="function nobody asked for"),
        pytest.param("01 03 00", id="byte count 0"),
        pytest.param("01 03 FE", id="longer than a frame"),
        pytest.param("01 18 01 00", id="queue longer than a frame"),
        pytest.param("01 2B 0D", id="another kind of function 43"),
        pytest.param("01 80 01", id="exception to function 0"),
    ],
)
def test_bytes_that_start_no_reply(prefix: str) -> None:
    with pytest.raises(ReplyError) as refused:
        reply_length(bytes.fromhex(prefix))
    assert refused.value.cause == Cause.NOT_A_REPLY


def test_identification_of_another_object_than_asked() -> None:
    frame = bytes.fromhex("01 2B 0E 04 01 00 00 01 00 01 41 EF 98")
    read_reply(ReadDeviceIdentification(4, 0), 1, frame)
    for other in (ReadDeviceIdentification(4, 1), ReadDeviceIdentification(1, 0)):
        with pytest.raises(ReplyError) as refused:
            read_reply(other, 1, frame)
        assert refused.value.cause == Cause.IDENTIFICATION
