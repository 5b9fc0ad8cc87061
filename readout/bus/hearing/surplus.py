"""What stands around a reply: a little noise, frames of others, or something that casts doubt on it."""

from dataclasses import dataclass

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.crc import fits
from protocols.modbus.replies import reply_length
from readout.bus.hearing.manners import Heard

#: Noise bytes allowed ahead of a frame, and as many behind the reply: what an idle line without bias makes
#: while the drivers change over.
NOISE = 2
_NOISE = b"\x00\xff"


@dataclass(frozen=True, slots=True)
class Surplus:
    """Bytes behind a reply: `noise` of them are noise, `cause` ("" for none) is what makes it doubtful.

    `frame` is a second frame of the same unit, where there is one.
    """

    noise: int = 0
    cause: str = ""
    frame: bytes = b""


def noise_ahead(data: bytes) -> int:
    """How many bytes of 00 or FF `data` starts with: no frame does, for no meter has those addresses."""
    return len(data) - len(data.lstrip(_NOISE))


def surplus(data: bytes, unit: int) -> Surplus:
    """Judge the bytes that stand behind the reply of `unit`; whole frames of other units mean nothing."""
    from protocols.modbus.overheard import Direction, frame_at_start  # not where nothing stands there

    noise = 0
    while data:
        ahead = noise_ahead(data)
        noise += ahead
        data = data[ahead:]
        if noise > NOISE:
            return Surplus(noise, Heard.BYTES_BEHIND)
        if not data:
            break
        again = _reply_at_start(data) if data[0] == unit else b""
        if again:
            return Surplus(noise, Heard.TWO_REPLIES, again)
        try:
            found = frame_at_start(data[: limits.FRAME])
        except ReplyError:
            found = None
        if found is None:
            return Surplus(noise, Heard.BYTES_BEHIND)
        if found.unit == unit:
            asked = found.direction is Direction.REQUEST
            return Surplus(noise, Heard.ANOTHER_MASTER if asked else Heard.TWO_REPLIES, found.data)
        data = data[len(found.data) :]
    return Surplus(noise)


def _reply_at_start(data: bytes) -> bytes:
    """The whole reply that `data` starts with, if any.

    Looked for before a request: a reply to a read of two registers whose checksum ends in 00 has 8 bytes
    ahead of that 00 whose checksum fits too, as if they were a request.
    """
    try:
        length = reply_length(data)
    except ReplyError:
        return b""
    frame = data[:length] if length is not None else b""
    return frame if len(frame) == length and fits(frame) else b""
