"""When characters are on the wire: a reply cut into pieces, each with the instant at which it is complete."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from protocols.modbus.timing import SerialFormat

#: Seconds of wire time that are handed over at once, as a serial driver does; a USB adapter may take 16 ms.
CHUNK = 0.002


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast a line is. Seconds.

    `turnaround` is the meter's: from the request's last character to the reply's first. `silence` is what
    must lie between a reply's last character and the next request. A reply arrives in chunks of `chunk`.
    """

    character: float
    silence: float
    turnaround: float = 0.005
    chunk: float = CHUNK

    @classmethod
    def of(cls, settings: SerialFormat, turnaround: float = 0.005) -> "Pace":
        """The pace of a line with these settings."""
        return cls(settings.character_time, settings.silence, turnaround)


#: Answers at once, and never finds a request too soon.
UNPACED = Pace(0.0, 0.0, 0.0)


class Piece(NamedTuple):
    """Bytes to send, `after` so many seconds: after the request's last character, or the piece before.

    `after` None is the meter's own turnaround.
    """

    after: float | None
    data: bytes


#: What a line makes of a request and the meter's reply (None: silence). Faults are put in here.
Delivery = Callable[[bytes, bytes | None], Sequence[Piece]]


def faithful(_: bytes, reply: bytes | None) -> Sequence[Piece]:
    """The delivery of a line without faults: the reply as it is, after the meter's turnaround."""
    return () if reply is None else (Piece(None, reply),)


def chunks(data: bytes, start: float, pace: Pace) -> Iterator[tuple[float, bytes]]:
    """`data` in the chunks of a pace, each with the instant at which its last character is complete.

    `start` is when the first character begins.
    """
    character = pace.character
    size = max(1, round(pace.chunk / character)) if character > 0 else max(1, len(data))
    for place in range(0, len(data), size):
        chunk = data[place : place + size]
        yield start + (place + len(chunk)) * character, chunk
