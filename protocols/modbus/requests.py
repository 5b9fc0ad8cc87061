"""What a master can ask, each request as frozen data that knows its bytes.

A request that the specification does not allow cannot be made: `IllegalRequestError` when it is
constructed, or, for the unit address, when its frame is. Clauses: MODBUS Application Protocol V1.1b3 (AP),
MODBUS over Serial Line V1.02 (SL).
"""

import struct
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from protocols.errors import RequestError
from protocols.modbus import limits
from protocols.modbus.crc import with_crc
from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.tables import Table

#: The function that reads each table (AP 6.1 to 6.4).
READ_FUNCTIONS = {Table.COIL: 1, Table.DISCRETE: 2, Table.HOLDING: 3, Table.INPUT: 4}
READ_TABLES = {function: table for table, function in READ_FUNCTIONS.items()}


class IllegalRequestError(RequestError):
    """A request outside the specification; `code` is the exception with which a meter answers it."""

    def __init__(self, text: str, code: ExceptionCode = ExceptionCode.ILLEGAL_DATA_VALUE) -> None:
        super().__init__(text)
        self.code = code


class Request(ABC):
    """One question or order. `pdu` is function and data, `frame` what goes on the wire."""

    __slots__ = ()
    FUNCTION: ClassVar[int] = 0
    #: Whether it only changes something, so that it may be sent to all (unit address 0).
    WRITES: ClassVar[bool] = False

    @property
    def function(self) -> int:
        """The function code, 1 to 127."""
        return self.FUNCTION

    @property
    def reply_characters(self) -> int | None:
        """Bytes of the good reply's frame; None where the request does not determine it."""
        return 8 if self.WRITES else None  # what was written comes back, without the data

    @abstractmethod
    def pdu(self) -> bytes:
        """Function and data, without unit address and checksum."""

    def frame(self, unit: int) -> bytes:
        """The bytes on the wire. Units are 1 to 247; 0 (all of them, no reply) only for writes (SL 2.2).

        Raises:
            IllegalRequestError: another address, or a read from all of them.
        """
        if unit == limits.BROADCAST and not self.WRITES:
            raise IllegalRequestError(
                "Unit address 0 speaks to all meters, and none answers: only writes go there."
            )
        if not limits.BROADCAST <= unit <= limits.UNIT_LAST:
            raise IllegalRequestError(f"A unit address is 1 to {limits.UNIT_LAST}, not {unit}.")
        return with_crc(bytes((unit,)) + self.pdu())


def _check_span(what: str, start: int, count: int, most: int) -> None:
    # The order of a meter's own checks (AP 6.3, state diagram): first how many, then where.
    if not 1 <= count <= most:
        raise IllegalRequestError(f"One request takes 1 to {most} {what}, not {count}.")
    if not (start >= 0 and start + count <= limits.ADDRESSES):
        raise IllegalRequestError(
            f"Addresses are 0 to {limits.ADDRESSES - 1}; {count} {what} from {start} on do not fit.",
            ExceptionCode.ILLEGAL_DATA_ADDRESS,
        )


def _check_number(what: str, number: int, low: int, high: int) -> None:
    if not low <= number <= high:
        raise IllegalRequestError(
            f"{what} are {low} to {high}, not {number}.", ExceptionCode.ILLEGAL_DATA_ADDRESS
        )


def _check_words(words: Sequence[int]) -> None:
    for word in words:
        if not 0 <= word <= 0xFFFF:
            raise IllegalRequestError(f"A register holds 0 to 65535, not {word}.")


def pack_words(words: Sequence[int]) -> bytes:
    """Registers as they are sent, high byte first (AP 4.2)."""
    return struct.pack(f">{len(words)}H", *words)


def pack_bits(bits: Sequence[bool]) -> bytes:
    """Bits as they are sent: the first is the lowest of the first byte, the last byte filled up with 0."""
    number = sum(1 << place for place, bit in enumerate(bits) if bit)
    return number.to_bytes((len(bits) + 7) // 8, "little")


@dataclass(frozen=True, slots=True)
class ReadRequest(Request):
    """Functions 1 to 4: `count` entries of a table from address `start` on (AP 6.1 to 6.4)."""

    table: Table
    start: int
    count: int

    def __post_init__(self) -> None:
        if self.table.of_bits:
            _check_span(f"{self.table}s", self.start, self.count, limits.READ_BITS)
        else:
            _check_span("registers", self.start, self.count, limits.READ_REGISTERS)

    @property
    def function(self) -> int:
        """1 coils, 2 discretes, 3 holding registers, 4 input registers."""
        return READ_FUNCTIONS[self.table]

    @property
    def reply_characters(self) -> int:
        """Unit, function, byte count, data, checksum; for meters with 16 bits behind each address."""
        return 5 + ((self.count + 7) // 8 if self.table.of_bits else 2 * self.count)

    def pdu(self) -> bytes:
        """5 bytes."""
        return struct.pack(">BHH", self.function, self.start, self.count)


@dataclass(frozen=True, slots=True)
class WriteCoil(Request):
    """Function 5: one coil on or off (AP 6.5)."""

    FUNCTION = 5
    WRITES = True
    address: int
    on: bool

    def __post_init__(self) -> None:
        _check_span("coils", self.address, 1, 1)

    def pdu(self) -> bytes:
        """5 bytes; on is FF00, off is 0000."""
        return struct.pack(">BHH", 5, self.address, 0xFF00 if self.on else 0)


@dataclass(frozen=True, slots=True)
class WriteRegister(Request):
    """Function 6: one holding register (AP 6.6)."""

    FUNCTION = 6
    WRITES = True
    address: int
    word: int

    def __post_init__(self) -> None:
        _check_words((self.word,))
        _check_span("registers", self.address, 1, 1)

    def pdu(self) -> bytes:
        """5 bytes."""
        return struct.pack(">BHH", 6, self.address, self.word)


@dataclass(frozen=True, slots=True)
class WriteCoils(Request):
    """Function 15: coils from address `start` on (AP 6.11)."""

    FUNCTION = 15
    WRITES = True
    start: int
    bits: tuple[bool, ...]

    def __post_init__(self) -> None:
        _check_span("coils", self.start, len(self.bits), limits.WRITE_BITS)

    def pdu(self) -> bytes:
        """6 bytes and the bits."""
        data = pack_bits(self.bits)
        return struct.pack(">BHHB", 15, self.start, len(self.bits), len(data)) + data


@dataclass(frozen=True, slots=True)
class WriteRegisters(Request):
    """Function 16: holding registers from address `start` on (AP 6.12)."""

    FUNCTION = 16
    WRITES = True
    start: int
    words: tuple[int, ...]

    def __post_init__(self) -> None:
        _check_words(self.words)
        _check_span("registers", self.start, len(self.words), limits.WRITE_REGISTERS)

    def pdu(self) -> bytes:
        """6 bytes and 2 a register."""
        head = struct.pack(">BHHB", 16, self.start, len(self.words), 2 * len(self.words))
        return head + pack_words(self.words)


@dataclass(frozen=True, slots=True)
class ReadWriteRegisters(Request):
    """Function 23: writes first, then reads, both holding registers, in one transaction (AP 6.17)."""

    FUNCTION = 23
    read_start: int
    read_count: int
    write_start: int
    words: tuple[int, ...]

    def __post_init__(self) -> None:
        _check_words(self.words)
        _check_span("registers to write", self.write_start, len(self.words), limits.READ_WRITE_WRITTEN)
        _check_span("registers to read", self.read_start, self.read_count, limits.READ_REGISTERS)

    @property
    def reply_characters(self) -> int:
        """As a read of `read_count` registers."""
        return 5 + 2 * self.read_count

    def pdu(self) -> bytes:
        """10 bytes and 2 a register written."""
        count = len(self.words)
        head = struct.pack(
            ">BHHHHB", 23, self.read_start, self.read_count, self.write_start, count, 2 * count
        )
        return head + pack_words(self.words)


@dataclass(frozen=True, slots=True)
class ReportServerId(Request):
    """Function 17: what the meter is, in the maker's own layout (AP 6.13)."""

    FUNCTION = 17

    def pdu(self) -> bytes:
        """1 byte."""
        return b"\x11"


@dataclass(frozen=True, slots=True)
class FilePart:
    """One sub-request of function 20: `registers` of file `file` (from 1) from record `record` (from 0)."""

    file: int
    record: int
    registers: int

    def __post_init__(self) -> None:
        if not 1 <= self.registers <= limits.FILE_REGISTERS:
            raise IllegalRequestError(
                f"A file read takes 1 to {limits.FILE_REGISTERS} registers, not {self.registers}."
            )
        _check_number("Files", self.file, limits.FILE_FIRST, limits.FILE_LAST)
        _check_number("Records of a file", self.record, 0, limits.FILE_RECORDS - 1)


@dataclass(frozen=True, slots=True)
class ReadFileRecords(Request):
    """Function 20: one or more pieces of the meter's files (AP 6.14).

    All pieces together must fit one reply: Σ (2 + 2 × registers) is at most 245 bytes.
    """

    parts: tuple[FilePart, ...]

    FUNCTION = 20

    def __post_init__(self) -> None:
        if not 1 <= len(self.parts) <= limits.FILE_PARTS:
            raise IllegalRequestError(
                f"A file read has 1 to {limits.FILE_PARTS} sub-requests, not {len(self.parts)}."
            )
        if self.reply_characters - 5 > limits.FILE_BYTES:
            raise IllegalRequestError(
                f"The reply would hold {self.reply_characters - 5} bytes of files; {limits.FILE_BYTES} fit."
            )

    @property
    def reply_characters(self) -> int:
        """Unit, function, length, each piece with its length and reference type, checksum."""
        return 5 + sum(2 + 2 * part.registers for part in self.parts)

    def pdu(self) -> bytes:
        """2 bytes and 7 a piece."""
        pieces = [
            struct.pack(">BHHH", limits.FILE_REFERENCE, part.file, part.record, part.registers)
            for part in self.parts
        ]
        return bytes((20, 7 * len(pieces))) + b"".join(pieces)


@dataclass(frozen=True, slots=True)
class ReadQueue(Request):
    """Function 24: the queue behind one address, up to 31 registers; reading does not empty it (AP 6.18)."""

    address: int

    FUNCTION = 24

    def __post_init__(self) -> None:
        _check_number("Addresses", self.address, 0, limits.ADDRESSES - 1)

    def pdu(self) -> bytes:
        """3 bytes."""
        return struct.pack(">BH", 24, self.address)


@dataclass(frozen=True, slots=True)
class ReadDeviceIdentification(Request):
    """Function 43, kind 14: maker, product, version as text (AP 6.21).

    `code`: 1 basic, 2 regular, 3 extended, each a stream from object `first` on; 4 the one object `first`.
    """

    code: int = 1
    first: int = 0

    FUNCTION = 43

    def __post_init__(self) -> None:
        low, high = limits.IDENTIFICATION_FIRST, limits.IDENTIFICATION_LAST
        if not low <= self.code <= high:
            raise IllegalRequestError(
                f"What is asked of an identification is {low} to {high}, not {self.code}."
            )
        _check_number("Objects of an identification", self.first, 0, 0xFF)

    def pdu(self) -> bytes:
        """4 bytes."""
        return bytes((43, limits.IDENTIFICATION_KIND, self.code, self.first))
