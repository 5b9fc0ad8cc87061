"""The other direction: requests as a meter, or somebody listening on the line, sees them, and the replies.

`request_length` has the same three ends as `reply_length`. A request that the specification refuses is told
apart from one that is damaged: the first is answered by an exception, the second by silence (SL 2.4.1).
"""

import struct

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.crc import fits, with_crc
from protocols.modbus.exceptions import ExceptionCode
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
)
from protocols.modbus.requests import (
    READ_TABLES,
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
    pack_bits,
    pack_words,
)

#: Bytes of request frames with a fixed length.
_FIXED = {1: 8, 2: 8, 3: 8, 4: 8, 5: 8, 6: 8, 17: 4, 24: 6, 43: 7}
#: Requests with a byte count: where it stands, and how many bytes the frame has besides what it counts.
_COUNTED = {15: (6, 9), 16: (6, 9), 20: (2, 5), 23: (10, 13)}


def request_length(prefix: bytes) -> int | None:
    """Bytes of the whole request frame that starts with `prefix`; None while more bytes are needed.

    ReplyError (`not a request`) for a function that is not known here: such a frame ends only by silence.
    """
    if len(prefix) < 2:
        return None
    function = prefix[1]
    if function in _FIXED:
        return _FIXED[function]
    if function not in _COUNTED:
        raise ReplyError(
            Cause.NOT_A_REQUEST, f"No request starts so: function {function:02X} is not known here."
        )
    place, besides = _COUNTED[function]
    if len(prefix) <= place:
        return None
    length = besides + prefix[place]
    if length > limits.FRAME:
        raise ReplyError(
            Cause.NOT_A_REQUEST, f"A frame has at most {limits.FRAME} bytes, this tells of {length}."
        )
    return length


def read_request(frame: bytes) -> tuple[int, Request]:
    """Unit address and request of one whole frame.

    ReplyError for a damaged frame: a meter stays silent. IllegalRequestError for one that the specification
    refuses: a meter answers `exception_frame(frame[0], frame[1], error.code)`.
    """
    if not fits(frame):
        raise ReplyError(Cause.BAD_CRC, f"The checksum of the request's {len(frame)} bytes does not fit.")
    unit, function, body = frame[0], frame[1], frame[2:-2]
    try:
        length = request_length(frame)
    except ReplyError as error:
        raise IllegalRequestError(str(error), ExceptionCode.ILLEGAL_FUNCTION) from error
    if length != len(frame):
        raise IllegalRequestError(f"A request of function {function} has {length} bytes, {len(frame)} came.")
    if function in READ_TABLES:
        return unit, ReadRequest(READ_TABLES[function], *struct.unpack(">HH", body))
    return unit, _PARSERS[function](body)


def _write_coil(body: bytes) -> Request:
    address, value = struct.unpack(">HH", body)
    if value not in (0, 0xFF00):
        raise IllegalRequestError(f"A coil is written by 0000 or FF00, not {value:04X}.")
    return WriteCoil(address, on=value != 0)


def _write_register(body: bytes) -> Request:
    return WriteRegister(*struct.unpack(">HH", body))


def _write_coils(body: bytes) -> Request:
    start, count = struct.unpack(">HH", body[:4])
    if (count + 7) // 8 != body[4]:
        raise IllegalRequestError(f"{count} coils do not make {body[4]} bytes.")
    return WriteCoils(start, _bits(body[5:], count))


def _write_registers(body: bytes) -> Request:
    start, count = struct.unpack(">HH", body[:4])
    return WriteRegisters(start, _words(body[5:], count))


def _read_write(body: bytes) -> Request:
    read_start, read_count, write_start, count = struct.unpack(">HHHH", body[:8])
    return ReadWriteRegisters(read_start, read_count, write_start, _words(body[9:], count))


def _file_parts(body: bytes) -> Request:
    if (len(body) - 1) % 7:
        raise IllegalRequestError(f"Sub-requests have 7 bytes each; {len(body) - 1} came.")
    parts = []
    for place in range(1, len(body), 7):
        reference, file, record, registers = struct.unpack_from(">BHHH", body, place)
        if reference != limits.FILE_REFERENCE:
            raise IllegalRequestError(
                f"The reference type is {limits.FILE_REFERENCE}, not {reference}.",
                ExceptionCode.ILLEGAL_DATA_ADDRESS,
            )
        parts.append(FilePart(file, record, registers))
    return ReadFileRecords(tuple(parts))


def _server_id(_: bytes) -> Request:
    return ReportServerId()


def _queue(body: bytes) -> Request:
    return ReadQueue(*struct.unpack(">H", body))


def _identification(body: bytes) -> Request:
    if body[0] != limits.IDENTIFICATION_KIND:
        raise IllegalRequestError(
            f"Kind {body[0]:02X} of function 2B is not known.", ExceptionCode.ILLEGAL_FUNCTION
        )
    return ReadDeviceIdentification(body[1], body[2])


_PARSERS = {
    5: _write_coil,
    6: _write_register,
    15: _write_coils,
    16: _write_registers,
    17: _server_id,
    20: _file_parts,
    23: _read_write,
    24: _queue,
    43: _identification,
}


def _bits(data: bytes, count: int) -> tuple[bool, ...]:
    number = int.from_bytes(data, "little")
    return tuple(number >> place & 1 == 1 for place in range(count))


def _words(data: bytes, count: int) -> tuple[int, ...]:
    if len(data) != 2 * count:
        raise IllegalRequestError(f"{count} registers do not make {len(data)} bytes.")
    return struct.unpack(f">{count}H", data)


def exception_frame(unit: int, function: int, code: int) -> bytes:
    """The 5 bytes that refuse: unit, function with its top bit set, code, checksum (AP 7)."""
    return with_crc(bytes((unit, function | 0x80, code)))


def reply_frame(unit: int, request: Request, reply: Reply) -> bytes:
    """The bytes with which a meter gives `reply` to `request`; the inverse of `read_reply`.

    Whether the reply fits the request is not checked: a simulated meter may be told to answer wrongly.
    """
    if isinstance(reply, ExceptionReply):
        return exception_frame(unit, reply.function, reply.code)
    return with_crc(bytes((unit, request.function)) + _reply_data(request, reply))


def _reply_data(request: Request, reply: Reply) -> bytes:
    match reply:
        case Registers(words):
            return bytes((2 * len(words),)) + pack_words(words)
        case Bits(bits):
            return bytes(((len(bits) + 7) // 8,)) + pack_bits(bits)
        case Written():
            return request.pdu()[1:5]
        case FileRecords(parts):
            pieces = [
                bytes((1 + 2 * len(words), limits.FILE_REFERENCE)) + pack_words(words) for words in parts
            ]
            return bytes((sum(map(len, pieces)),)) + b"".join(pieces)
        case Queue(words):
            return struct.pack(">HH", 2 + 2 * len(words), len(words)) + pack_words(words)
        case ServerId(data):
            return bytes((len(data),)) + data
        case Identification(code, conformity, following, objects):
            more = (0, 0) if following is None else (0xFF, following)
            head = bytes((limits.IDENTIFICATION_KIND, code, conformity, *more, len(objects)))
            return head + b"".join(bytes((number, len(text))) + text for number, text in objects)
        case _:
            raise TypeError(f"{type(reply).__name__} has no bytes")
