"""Names for what came instead of a reply."""

from collections.abc import Callable

from protocols.errors import ReplyError
from protocols.modbus.overheard import Direction, frames_in
from protocols.modbus.replies import Cause, Reply
from protocols.modbus.requests import ReadRequest, ReadWriteRegisters, Request
from readout.bus.hearing.manners import Heard

#: Bytes that may be missing at the start of a reply for it still to be called cut.
MISSING = 3
#: Names that say less than the error that was met first.
_TELLS_LITTLE = frozenset({Cause.BAD_CRC, Cause.INCOMPLETE, Cause.NOT_A_REPLY})


def reply_head(request: Request, unit: int, words: int) -> bytes:
    """The bytes that the good reply must start with: unit, function and, where it is known, byte count."""
    head = bytes((unit, request.function))
    match request:
        case ReadRequest(table=table, count=count):
            return head + bytes(((count + 7) // 8 if table.of_bits else 2 * count * words & 0xFF,))
        case ReadWriteRegisters(read_count=count):
            return head + bytes((2 * count,))
    return head + request.pdu()[1:3] if request.WRITES else head


def start_is_cut(head: bytes, data: bytes, read: Callable[[bytes], Reply]) -> int:
    """How many bytes are missing at the start of `data` for it to be the reply; 0 where it is not so."""
    for missing in range(1, min(MISSING, len(head)) + 1):
        try:
            read(head[:missing] + data)
        except ReplyError:
            continue
        return missing
    return 0


def named(
    error: ReplyError, data: bytes, unit: int, read: Callable[[bytes], Reply], cut: int, echo: bytes
) -> tuple[str, str]:
    """Cause and sentence for `data`; `error` was met at its beginning.

    `cut` bytes are missing at its start; `echo` is what an adapter known to hear itself should have heard.
    """
    if cut:
        first = "byte" if cut == 1 else f"{cut} bytes"
        return Heard.START_CUT, f"The reply starts late, without its first {first}."
    try:
        read(data)
    except ReplyError as whole:
        error = error if whole.cause in _TELLS_LITTLE else whole
    if error.cause in _TELLS_LITTLE or error.cause == Cause.TWO_BYTE_COUNT:  # which a request may look like
        frames, _ = frames_in(data)
        if any(frame.direction is Direction.REQUEST and frame.unit == unit for frame in frames):
            return Heard.ANOTHER_MASTER, f"Another master asks unit {unit} on this line."
    if error.cause in _TELLS_LITTLE:
        same = sum(got == sent for got, sent in zip(data, echo, strict=False))
        if echo and len(data) >= len(echo) and 2 * same >= len(echo):
            text = "The adapter heard its own request otherwise than it was sent: two spoke at once."
            return Heard.ECHO_DIFFERS, text
    return error.cause, str(error)
