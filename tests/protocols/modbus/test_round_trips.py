"""Whatever can be asked and answered survives the wire both ways, and nothing makes the codec stumble."""

from contextlib import suppress

import pytest
from crccheck.crc import CrcModbus
from hypothesis import given
from hypothesis import strategies as st

from protocols.errors import ProtocolError, ReplyError
from protocols.modbus.replies import (
    Bits,
    Cause,
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
    IllegalRequestError,
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

WORD = st.integers(0, 0xFFFF)
UNIT = st.integers(1, 247)
START = st.integers(0, 60000)


def words(count: int) -> st.SearchStrategy[tuple[int, ...]]:
    return st.lists(WORD, min_size=count, max_size=count).map(tuple)


@st.composite
def exchanges(draw: st.DrawFn) -> tuple[Request, Reply]:
    kind = draw(
        st.sampled_from(["registers", "bits", "write", "23", "files", "queue", "17", "43", "refused"])
    )
    start = draw(START)
    if kind == "registers":
        count = draw(st.integers(1, 125))
        table = draw(st.sampled_from([Table.HOLDING, Table.INPUT]))
        return ReadRequest(table, start, count), Registers(draw(words(count)))
    if kind == "bits":
        bits = draw(st.lists(st.booleans(), min_size=1, max_size=2000).map(tuple))
        return ReadRequest(draw(st.sampled_from([Table.COIL, Table.DISCRETE])), start, len(bits)), Bits(bits)
    if kind == "write":
        bits = draw(st.lists(st.booleans(), min_size=1, max_size=1968).map(tuple))
        written = draw(st.lists(WORD, min_size=1, max_size=123).map(tuple))
        choice: list[tuple[Request, Reply]] = [
            (WriteCoil(start, on=bits[0]), Written(start, 1)),
            (WriteRegister(start, written[0]), Written(start, 1)),
            (WriteCoils(start, bits), Written(start, len(bits))),
            (WriteRegisters(start, written), Written(start, len(written))),
        ]
        return draw(st.sampled_from(choice))
    if kind == "23":
        count = draw(st.integers(1, 125))
        written = draw(st.lists(WORD, min_size=1, max_size=121).map(tuple))
        return ReadWriteRegisters(start, count, draw(START), written), Registers(draw(words(count)))
    if kind == "files":
        sizes = draw(st.lists(st.integers(1, 20), min_size=1, max_size=5))
        parts = tuple(FilePart(draw(st.integers(1, 65535)), draw(st.integers(0, 9999)), n) for n in sizes)
        return ReadFileRecords(parts), FileRecords(tuple(draw(words(n)) for n in sizes))
    if kind == "queue":
        return ReadQueue(start), Queue(draw(words(draw(st.integers(0, 31)))))
    if kind == "17":
        return ReportServerId(), ServerId(draw(st.binary(max_size=251)))
    if kind == "43":
        objects = draw(
            st.lists(st.tuples(st.integers(0, 255), st.binary(max_size=40)), max_size=5).map(tuple)
        )
        following = draw(st.none() | st.integers(0, 255))
        return ReadDeviceIdentification(draw(st.integers(1, 3)), 0), Identification(
            0, 0x83, following, objects
        )
    return ReadRequest(Table.HOLDING, start, 1), ExceptionReply(3, draw(st.integers(1, 255)))


def settle(request: Request, reply: Reply) -> Reply:
    """An identification repeats the code it was asked for."""
    if isinstance(request, ReadDeviceIdentification) and isinstance(reply, Identification):
        return Identification(request.code, reply.conformity, reply.next_object, reply.objects)
    return reply


@given(exchanges(), UNIT)
def test_request_and_reply_come_back_as_they_went(exchange: tuple[Request, Reply], unit: int) -> None:
    request, reply = exchange[0], settle(*exchange)
    asked, answered = request.frame(unit), reply_frame(unit, request, reply)
    assert CrcModbus.calc(asked) == CrcModbus.calc(answered) == 0
    assert read_request(asked) == (unit, request)
    assert read_reply(request, unit, answered) == reply


@given(exchanges(), UNIT)
def test_every_beginning_of_a_frame_asks_for_more_or_knows_the_end(
    exchange: tuple[Request, Reply], unit: int
) -> None:
    request, reply = exchange[0], settle(*exchange)
    for frame, length in (
        (request.frame(unit), request_length),
        (reply_frame(unit, request, reply), reply_length),
    ):
        told = [length(frame[:cut]) for cut in range(len(frame) + 1)]
        assert set(told) <= {None, len(frame)}
        assert told[-1] == len(frame) == length(frame + b"\x55\xaa")


@given(exchanges(), UNIT, st.binary(max_size=80))
def test_rubbish_is_an_error_and_never_a_stumble(
    exchange: tuple[Request, Reply], unit: int, rubbish: bytes
) -> None:
    for call in (reply_length, request_length, read_request):
        with suppress(ProtocolError):
            call(rubbish)
    sealed = rubbish + CrcModbus.calc(rubbish).to_bytes(2, "little")
    for frame in (rubbish, sealed, bytes((unit, exchange[0].function)) + rubbish):
        with suppress(ReplyError):
            read_reply(exchange[0], unit, frame)


@given(st.integers(0, 255), st.integers(0, 255), st.binary(max_size=80))
def test_any_request_with_a_fitting_checksum_is_understood_or_refused(
    unit: int, function: int, body: bytes
) -> None:
    head = bytes((unit, function)) + body
    frame = head + CrcModbus.calc(head).to_bytes(2, "little")
    with suppress(IllegalRequestError):
        found, request = read_request(frame)
        assert found == unit
        assert request.function == function
        assert request.pdu()[:5] == frame[1:-2][:5]


def test_a_coil_is_on_or_off_and_a_queue_ends_at_31() -> None:
    """MODBUS Application Protocol V1.1b3, 6.5 (all other values are illegal) and 6.18, p. 40."""
    head = bytes.fromhex("01 05 00 AC 00 01")
    with pytest.raises(IllegalRequestError) as refused:
        read_request(head + CrcModbus.calc(head).to_bytes(2, "little"))
    assert refused.value.code == 3
    longest, longer = ((b"\x01\x18\x00" + bytes((2 + 2 * n, 0, n)) + bytes(2 * n)) for n in (31, 32))
    frames = [data + CrcModbus.calc(data).to_bytes(2, "little") for data in (longest, longer)]
    assert read_reply(ReadQueue(1), 1, frames[0]) == Queue((0,) * 31)
    with pytest.raises(ReplyError) as too_long:
        read_reply(ReadQueue(1), 1, frames[1])
    assert too_long.value.cause == Cause.QUEUE_COUNT


def test_damaged_request_is_met_with_silence_and_an_unknown_function_with_exception_01() -> None:
    """MODBUS over Serial Line V1.02, 2.4.1; MODBUS Application Protocol V1.1b3, 7."""
    with pytest.raises(ReplyError) as damaged:
        read_request(bytes.fromhex("01 03 00 6B 00 03 74 18"))
    assert damaged.value.cause == Cause.BAD_CRC
    with pytest.raises(IllegalRequestError) as refused:
        read_request(bytes.fromhex("01 07 41 E2"))  # AP 6.7, p. 20: read exception status
    assert refused.value.code == 1
