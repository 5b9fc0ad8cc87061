"""Functions 1 to 6, 15 and 16 by minimalmodbus: it builds each request and checks each good reply.

It is given a port of ours, and only what it documents is called. A request is built by letting it run until
it wants to read; a reply is checked by handing it the frame that our line heard. So every value has two
readers that must agree, and the library's waiting (a whole timeout for an exception reply) is never on the
line. A check takes 70 µs for two registers, 0.5 ms for 125: it fits into the silence behind the reply.
"""

import itertools
from collections.abc import Callable

import minimalmodbus

from protocols.modbus.replies import Bits, Registers, Reply
from protocols.modbus.requests import (
    READ_FUNCTIONS,
    ReadRequest,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table

#: Requests kept ready; a poll repeats the same few for ever, a download makes each once.
REQUESTS_KEPT = 512
#: What the library is told: above 19200 Bd it rests 1.75 ms between reads, its shortest. The silence is the
#: line's affair, and has passed between any two checks.
_BAUD_RATE = 115200
#: The library keeps the time of the last read in a dictionary by port name, so each name is used once.
_names = itertools.count(1)


class _WantsToRead(Exception):  # noqa: N818  (not an error: it leads out of the library)
    """The request is complete."""


class _Facade:
    """What the library takes for an open serial port."""

    is_open = True
    timeout = 0.0
    baudrate = _BAUD_RATE

    def __init__(self) -> None:
        self.port = f"line {next(_names)}"
        self.request = b""
        self.reply: bytes | None = None

    def write(self, data: bytes) -> int:
        self.request = bytes(data)
        return len(data)

    def read(self, _size: int) -> bytes:
        if self.reply is None:
            raise _WantsToRead
        return self.reply

    def open(self) -> None:
        """Always open."""

    def close(self) -> None:
        """The line closes the real port."""

    def flush(self) -> None:
        """Called instead of `read` for unit 0, which does not answer; behind it the library would sleep."""
        if self.reply is None:
            raise _WantsToRead

    def reset_input_buffer(self) -> None:
        """Nothing waits here."""

    def reset_output_buffer(self) -> None:
        """Nothing waits here."""


class Master:
    """Builds and checks the frames of one line."""

    def __init__(self) -> None:
        self._building, self._checking = _Facade(), _Facade()
        # The library documents any object with these methods as a port; its annotation names pySerial's only.
        self._builder = minimalmodbus.Instrument(self._building, 1)  # type: ignore[arg-type]
        self._checker = minimalmodbus.Instrument(self._checking, 1)  # type: ignore[arg-type]
        self._kept: dict[tuple[int, Request], bytes] = {}

    def frame(self, unit: int, request: Request) -> bytes:
        """The request's bytes for that unit. `IllegalRequestError` for a unit that there is not."""
        key = (unit, request)
        frame = self._kept.get(key)
        if frame is None:
            frame = self._kept[key] = self._built(unit, request)
            if len(self._kept) > REQUESTS_KEPT:
                del self._kept[next(iter(self._kept))]
        return frame

    def _built(self, unit: int, request: Request) -> bytes:
        ours = request.frame(unit)
        call = _call(self._builder, request)
        if call is None:
            return ours
        self._builder.address = unit
        try:
            call()
        except _WantsToRead:
            return self._building.request
        raise TypeError(f"minimalmodbus neither read nor flushed behind the request {ours.hex(' ')}.")

    def agrees(self, unit: int, request: Request, frame: bytes, reply: Reply) -> bool:
        """Whether the library reads the same in the frame; True for functions that it does not know."""
        call = _call(self._checker, request)
        if call is None:
            return True
        self._checker.address = unit
        self._checking.reply = frame
        try:
            found = call()
        except (minimalmodbus.ModbusException, ValueError, TypeError):
            return False
        match reply:
            case Registers(words):
                return found == list(words)
            case Bits(bits):
                return found == list(map(int, bits))
        return True


def _call(instrument: "minimalmodbus.Instrument", request: Request) -> Callable[[], object] | None:
    match request:
        case ReadRequest(Table.HOLDING | Table.INPUT as table, start, count):
            return lambda: instrument.read_registers(start, count, READ_FUNCTIONS[table])
        case ReadRequest(table, start, count):
            return lambda: instrument.read_bits(start, count, READ_FUNCTIONS[table])
        case WriteCoil(address, on):
            return lambda: instrument.write_bit(address, int(on), 5)
        case WriteRegister(address, word):
            return lambda: instrument.write_register(address, word, 0, 6)
        case WriteCoils(start, bits):
            return lambda: instrument.write_bits(start, list(map(int, bits)))
        case WriteRegisters(start, words):
            return lambda: instrument.write_registers(start, list(words))
    return None
