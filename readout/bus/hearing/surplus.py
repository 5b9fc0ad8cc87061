"""What stands around a reply: a little noise, frames of others, or something that casts doubt on it."""

from dataclasses import dataclass

from protocols.errors import ReplyError
from protocols.modbus import limits
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
