"""What was asked, and so what a reply must look like: the known bytes of its frame."""

from dataclasses import dataclass
from functools import cached_property

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.replies import Reply, read_reply
from protocols.modbus.requests import ReadRequest, Request
from protocols.modbus.server import read_request
from protocols.modbus.timing import SerialFormat

#: The bytes of a frame, None where the request does not tell them.
Content = tuple[int | None, ...]


@dataclass(frozen=True)
class Asked:
    """One request on the wire and the settings with which it was sent."""

    frame: bytes
    format: SerialFormat

    @cached_property
    def _read(self) -> tuple[int, Request]:
        return read_request(self.frame)

    @property
    def unit(self) -> int:
        """Who was asked."""
        return self._read[0]

    @property
    def request(self) -> Request:
        """What was asked."""
        return self._read[1]

    @cached_property
    def contents(self) -> tuple[Content, ...]:
        """The frames that may come: the good reply where its length is known, and the exception."""
        refused = (self.unit, self.request.function | 0x80, None, None, None)
        length, head = self.request.reply_characters, (self.unit, self.request.function)
        if self.request.WRITES:
            return ((*self.frame[:6], None, None), refused)
        if length is None:
            return (refused,)
        counted = (length - 5,) if isinstance(self.request, ReadRequest) else (None,)
        return ((*head, *counted, *(None,) * (length - 3)), refused)

    def reply(self, frame: bytes) -> Reply | None:
        """What the frame says, if it answers the request in every respect."""
        if len(frame) < limits.SHORTEST_FRAME:
            return None
        try:
            return read_reply(self.request, self.unit, frame)
        except ReplyError:
            return None
