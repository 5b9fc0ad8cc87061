"""Adapters that hear themselves: the request comes back ahead of the reply, known by its bytes alone.

Never by time: a fast meter answers right behind its request. The first byte of an echo may be lost while the
adapter turns from sending to receiving. A frame with zeros behind its checksum still has a fitting checksum,
so an echo with noise behind it may pass for a reply (to a read of two registers at 0400): whatever starts
with exactly what was sent is the echo, always.
"""

from enum import Enum, auto


class EchoState(Enum):
    """What is known of an adapter."""

    UNKNOWN = auto()  # nothing was heard yet that could tell
    ABSENT = auto()
    PRESENT = auto()


class Echo:
    """What one adapter was found to do. `PRESENT` stays: an adapter that echoes now and then, echoes."""

    def __init__(self) -> None:
        self.state = EchoState.UNKNOWN

    def learn(self, *, heard: bool) -> None:
        """A reply that cannot be mistaken for its request came, with the request before it or without."""
        if heard:
            self.state = EchoState.PRESENT
        elif self.state is EchoState.UNKNOWN:
            self.state = EchoState.ABSENT


def echo_length(sent: bytes, heard: bytes) -> int | None:
    """Bytes at the start of `heard` that are `sent`, whole or less its first byte.

    0: it starts otherwise. None: it may become one with more bytes.
    """
    if heard.startswith(sent):
        return len(sent)
    if sent.startswith(heard):
        return None
    if heard[0] != sent[1]:
        return 0
    cut = sent[1:]
    if heard.startswith(cut):
        return len(cut)
    return None if cut.startswith(heard) else 0
