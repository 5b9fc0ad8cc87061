"""Requests out of a stream of bytes, as a meter finds them: by length and checksum, and by silence."""

from protocols.errors import ReplyError
from protocols.modbus.crc import fits
from protocols.modbus.server import request_length

#: More than this without silence is no request; what came first is forgotten (a frame has 256 at most).
MOST = 1024


class RequestFramer:
    """Takes bytes as they come and gives whole request frames.

    A frame whose length can be known ends by its length. After bytes that are no frame it is deaf until the
    line has been silent, as the standard wants (SL V1.02, 2.5.1): a frame is not looked for behind rubbish.
    """

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._deaf = False

    @property
    def pending(self) -> int:
        """Bytes that wait for the rest of their frame, or for silence."""
        return len(self._bytes)

    def feed(self, data: bytes) -> None:
        """Take what has arrived."""
        self._bytes += data
        del self._bytes[:-MOST]

    def next_frame(self) -> bytes | None:
        """The next frame whose checksum fits; None while there is none to be known by its length."""
        if self._deaf:
            return None
        try:
            length = request_length(bytes(self._bytes))
        except ReplyError:
            self._deaf = True  # a function unknown to the codec, or rubbish: silence will end it
            return None
        if length is None or len(self._bytes) < length:
            return None
        frame = bytes(self._bytes[:length])
        if not fits(frame):
            self._deaf = True
            return None
        del self._bytes[:length]
        return frame

    def silence(self) -> bytes | None:
        """The line has been silent: give what lies here if its checksum fits, else None; forget it."""
        frame = bytes(self._bytes)
        self._bytes.clear()
        self._deaf = False
        return frame if fits(frame) else None
