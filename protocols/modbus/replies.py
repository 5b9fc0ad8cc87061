"""What a meter answers: how long the reply is, from its bytes as they come, and what it says.

`reply_length` has three ends: a number, `None` (more bytes are needed) or `ReplyError` (this is no reply).
`read_reply` gives a reply only where checksum, unit, function, byte count and length fit the request; each
misfit has its own `Cause`. Clauses: MODBUS Application Protocol V1.1b3 (AP).
"""

import struct
from collections.abc import Container
from dataclasses import dataclass
from enum import StrEnum

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.crc import fits
from protocols.modbus.exceptions import describe
from protocols.modbus.requests import (
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


class Cause(StrEnum):
    """Short names of what is wrong. The first four mean damaged bytes, the others a misfit."""

    BAD_CRC = "bad checksum"
    INCOMPLETE = "incomplete"
    NOT_A_REPLY = "not a reply"
    NOT_A_REQUEST = "not a request"
    OTHER_UNIT = "other unit"
    OTHER_FUNCTION = "other function"
    FEWER = "fewer registers"
    MORE = "more registers"
    FOUR_BYTES = "four bytes a register"
    ODD_COUNT = "odd byte count"
    LENGTH = "length disagrees"
    ECHO = "not what was written"
    EXCEPTION_WITHOUT_CRC = "exception without checksum"
    TWO_BYTE_COUNT = "two-byte byte count"
    FILE_LENGTH = "file record length"
    FILE_REFERENCE = "file reference type"
    QUEUE_COUNT = "queue count disagrees"
    IDENTIFICATION = "identification disagrees"


class Departure(StrEnum):
    """Known departures from the standard that a map may `tolerate`, each by name."""

    EXCEPTION_WITHOUT_CRC = "exception without checksum"  # 3 bytes, then silence
    TWO_BYTE_COUNT = "two-byte byte count"  # as function 24 has it, in functions 1 to 4


@dataclass(frozen=True, slots=True)
class ExceptionReply:
    """The meter refuses: an answer, so a value. `function` is the one asked for, `code` the exception."""

    function: int
    code: int

    def __str__(self) -> str:
        return describe(self.code)


@dataclass(frozen=True, slots=True)
class Registers:
    """Functions 3, 4 and 23: registers in the order of their addresses, each 0 to 65535."""

    words: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Bits:
    """Functions 1 and 2: exactly as many bits as were asked for."""

    bits: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Written:
    """Functions 5, 6, 15 and 16: the meter took `count` entries from `start` on."""

    start: int
    count: int


@dataclass(frozen=True, slots=True)
class FileRecords:
    """Function 20: the registers of each sub-request, in the order asked."""

    parts: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Queue:
    """Function 24: the queue's registers, oldest first; empty is an answer too."""

    words: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ServerId:
    """Function 17: id, run indicator (00 off, FF on) and more, in the maker's layout (AP 6.13, p. 31)."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Identification:
    """Function 43/14: objects by number (0 maker, 1 product code, 2 version).

    `conformity` is the level the meter keeps to (AP 6.21, p. 44); `next_object` is None where none follows.
    """

    code: int
    conformity: int
    next_object: int | None
    objects: tuple[tuple[int, bytes], ...]


Reply = Registers | Bits | Written | FileRecords | Queue | ServerId | Identification | ExceptionReply

_COUNTED = frozenset({1, 2, 3, 4, 17, 20, 23})  # third byte: how many bytes follow it, less the checksum
_MIRRORED = frozenset({5, 6, 15, 16})  # 8 bytes, always
_NEVER_EMPTY = frozenset({1, 2, 3, 4, 23})
_READS = frozenset({1, 2, 3, 4})
_STRICT: frozenset[str] = frozenset()


def reply_length(prefix: bytes, tolerate: Container[str] = _STRICT) -> int | None:
    """Bytes of the whole RTU frame that starts with `prefix`; None while more bytes are needed.

    ReplyError (`not a reply`) where no frame starts so: an unknown function, an impossible byte count.
    """
    if len(prefix) < 3:
        return None
    function, count = prefix[1], prefix[2]
    if function > 0x80:
        return limits.EXCEPTION_FRAME
    if function in _COUNTED:
        if count == 0 and function in _NEVER_EMPTY:
            if function in _READS and Departure.TWO_BYTE_COUNT in tolerate:
                return _possible(6 + prefix[3]) if len(prefix) > 3 else None
            raise _no_reply(f"the byte count of function {function} is 0")
        return _possible(5 + count)
    if function in _MIRRORED:
        return 8
    if function == 24:
        return _possible(6 + (count << 8 | prefix[3])) if len(prefix) > 3 else None
    if function == 43:
        return _identification_length(prefix)
    raise _no_reply(f"function {function:02X} is none that was asked for")


def _possible(length: int) -> int:
    if length > limits.FRAME:
        raise _no_reply(f"a frame has at most {limits.FRAME} bytes, this one tells of {length}")
    return length


def _no_reply(why: str) -> ReplyError:
    return ReplyError(Cause.NOT_A_REPLY, f"These bytes do not start a reply: {why}.")


def _identification_length(prefix: bytes) -> int | None:
    """Unit, 2B, 0E, code, conformity, more, next, number of objects; each has number and length."""
    if prefix[2] != limits.IDENTIFICATION_KIND:
        raise _no_reply(f"kind {prefix[2]:02X} of function 2B is none that was asked for")
    if len(prefix) < 8:
        return None
    end = 8
    for _ in range(prefix[7]):
        if len(prefix) < end + 2:
            _possible(end + 4)
            return None
        end += 2 + prefix[end + 1]
    return _possible(end + 2)


def read_reply(
    request: Request, unit: int, frame: bytes, words_per_address: int = 1, tolerate: Container[str] = _STRICT
) -> Reply:
    """What `frame`, everything that came, says to `request` sent to `unit`.

    `words_per_address` is 2 for meters with 32 bits behind each address; `tolerate` names departures from
    the standard to accept. ReplyError, with its `cause`, where the frame does not answer the request;
    TypeError for a kind of request that is not known here.
    """
    function = request.function
    if not fits(frame):
        return _without_checksum(function, unit, frame, tolerate)
    if frame[0] != unit:
        raise ReplyError(Cause.OTHER_UNIT, f"Unit {frame[0]} answered; unit {unit} was asked.")
    if frame[1] == function | 0x80:
        _check_length(frame, limits.EXCEPTION_FRAME)
        return ExceptionReply(function, frame[2])
    if frame[1] != function:
        raise ReplyError(
            Cause.OTHER_FUNCTION, f"The reply is to function {frame[1]}; function {function} was asked."
        )
    match request:
        case ReadRequest():
            return _read_table(request, frame, words_per_address, tolerate)
        case WriteCoil() | WriteRegister():
            return _written(request.address, 1, request.pdu(), frame)
        case WriteCoils(start=start, bits=entries) | WriteRegisters(start=start, words=entries):
            return _written(start, len(entries), request.pdu()[:5], frame)
        case ReadWriteRegisters(read_count=count):
            return Registers(_registers(frame, count, 1))
        case ReadFileRecords():
            return _file_records(request, frame)
        case ReadQueue():
            return _queue(frame)
        case ReportServerId():
            _check_length(frame, 5 + frame[2])
            return ServerId(frame[3:-2])
        case ReadDeviceIdentification():
            return _identification(request, frame)
    raise TypeError(f"{type(request).__name__} has no reply")


def _without_checksum(function: int, unit: int, frame: bytes, tolerate: Container[str]) -> ExceptionReply:
    """Tell apart what can be told of a frame whose checksum does not fit."""
    if len(frame) == 3 and frame[0] == unit and frame[1] == function | 0x80:
        if Departure.EXCEPTION_WITHOUT_CRC in tolerate:
            return ExceptionReply(function, frame[2])
        raise ReplyError(
            Cause.EXCEPTION_WITHOUT_CRC,
            f"The reply looks like {describe(frame[2])}, but has no checksum; if this meter always does so, "
            f"`tolerate: [{Departure.EXCEPTION_WITHOUT_CRC}]` in the map accepts it.",
        )
    length = reply_length(frame, tolerate)
    if length is None or len(frame) < length:
        of = "" if length is None else f" of {length}"
        raise ReplyError(Cause.INCOMPLETE, f"The reply is incomplete: {len(frame)}{of} bytes came.")
    raise ReplyError(Cause.BAD_CRC, f"The checksum of the reply's {len(frame)} bytes does not fit.")


def _check_length(frame: bytes, length: int) -> None:
    if len(frame) != length:
        raise ReplyError(
            Cause.LENGTH,
            f"The reply tells of {length} bytes in all; {len(frame)} came, their checksum fits.",
        )


def _read_table(
    request: ReadRequest, frame: bytes, words_per_address: int, tolerate: Container[str]
) -> Registers | Bits:
    if frame[2] == 0 and len(frame) == 6 + frame[3]:
        if Departure.TWO_BYTE_COUNT not in tolerate:
            raise ReplyError(
                Cause.TWO_BYTE_COUNT,
                "The reply's byte count has two bytes; if this meter always does so, "
                f"`tolerate: [{Departure.TWO_BYTE_COUNT}]` in the map accepts it.",
            )
        frame = frame[:2] + frame[3:]
    if not request.table.of_bits:
        return Registers(_registers(frame, request.count, words_per_address))
    _check_length(frame, 5 + frame[2])
    if frame[2] != (request.count + 7) // 8:
        cause = Cause.MORE if frame[2] > request.count // 8 else Cause.FEWER
        raise ReplyError(cause, f"{frame[2]} bytes of bits came for the {request.count} bits asked.")
    number = int.from_bytes(frame[3:-2], "little")
    return Bits(tuple(number >> place & 1 == 1 for place in range(request.count)))


def _registers(frame: bytes, count: int, words_per_address: int) -> tuple[int, ...]:
    came, asked = frame[2], 2 * count * words_per_address
    _check_length(frame, 5 + came)
    if came == asked:
        return struct.unpack_from(f">{came // 2}H", frame, 3)
    if came % 2:
        raise ReplyError(Cause.ODD_COUNT, f"The byte count is {came}; registers have two bytes each.")
    if came == 4 * count:
        raise ReplyError(
            Cause.FOUR_BYTES,
            f"{came} bytes came for {count} registers: the meter may keep 32 bits behind each address; "
            "then `bytes_per_register: 4` belongs in the map.",
        )
    if came < asked:
        raise ReplyError(Cause.FEWER, f"{came // 2} of the {asked // 2} registers asked for came.")
    raise ReplyError(Cause.MORE, f"{came // 2} registers came, more than the {asked // 2} asked for.")


def _written(start: int, count: int, expected: bytes, frame: bytes) -> Written:
    _check_length(frame, 8)
    if frame[1:-2] != expected:
        raise ReplyError(
            Cause.ECHO,
            f"The meter confirms {frame[2:-2].hex(' ')} where {expected[1:].hex(' ')} was written.",
        )
    return Written(start, count)


def _file_records(request: ReadFileRecords, frame: bytes) -> FileRecords:
    """Two nested lengths, each counting what stands behind it (AP 6.14; the 07 of p. 33 is a misprint)."""
    _check_length(frame, 5 + frame[2])
    place, end, parts = 3, len(frame) - 2, []
    for part in request.parts:
        expected = 1 + 2 * part.registers
        if place + 2 > end or frame[place] != expected:
            found = frame[place] if place < end else "none"
            raise ReplyError(
                Cause.FILE_LENGTH,
                f"The record's length is {found}, not {expected}.",
            )
        if frame[place + 1] != limits.FILE_REFERENCE:
            raise ReplyError(
                Cause.FILE_REFERENCE,
                f"The record's reference type is {frame[place + 1]}, not {limits.FILE_REFERENCE}.",
            )
        if place + 1 + expected > end:
            raise ReplyError(Cause.LENGTH, "The record goes on past the end of the reply.")
        parts.append(struct.unpack_from(f">{part.registers}H", frame, place + 2))
        place += 1 + expected
    if place != end:
        raise ReplyError(Cause.LENGTH, f"{end - place} bytes stand behind the last record asked for.")
    return FileRecords(tuple(parts))


def _queue(frame: bytes) -> Queue:
    count, registers = struct.unpack_from(">HH", frame, 2) if len(frame) >= 8 else (0, 0)
    _check_length(frame, 6 + count)
    if registers > limits.QUEUE_REGISTERS or count != 2 + 2 * registers:
        raise ReplyError(
            Cause.QUEUE_COUNT,
            f"The queue tells of {registers} registers in {count} bytes.",
        )
    return Queue(struct.unpack_from(f">{registers}H", frame, 6))


def _identification(request: ReadDeviceIdentification, frame: bytes) -> Identification:
    _check_length(frame, reply_length(frame) or limits.FRAME)
    code, conformity, more, following, number = frame[3:8]
    objects, place = [], 8
    for _ in range(number):
        size = frame[place + 1]
        objects.append((frame[place], frame[place + 2 : place + 2 + size]))
        place += 2 + size
    one = request.code == limits.IDENTIFICATION_LAST
    if code != request.code or (one and [number for number, _ in objects] != [request.first]):
        raise ReplyError(
            Cause.IDENTIFICATION, "The meter identifies itself by other objects than were asked for."
        )
    return Identification(code, conformity, following if more == 0xFF else None, tuple(objects))
