"""How a meter wants to be treated, and what came of listening for its reply."""

from dataclasses import dataclass, replace
from enum import StrEnum

from protocols.modbus.replies import Reply


class Heard(StrEnum):
    """Short names of what only a line can tell, beside those of `protocols.modbus.replies.Cause`."""

    NOTHING = "no reply"
    ECHO_ONLY = "echo only"
    ONLY_NOISE = "only noise"
    START_CUT = "start cut off"
    ECHO_DIFFERS = "echo differs from what was sent"
    BYTES_BEHIND = "bytes behind the reply"
    TWO_REPLIES = "two replies"
    ANOTHER_MASTER = "another master"
    NEVER_QUIET = "line is never quiet"
    READERS_DISAGREE = "readers disagree"
    UNANSWERED_WRITE = "unanswered write"
    PORT_LOST = "port lost"


@dataclass(frozen=True, slots=True)
class Manners:
    """How one meter wants to be treated. Times in seconds.

    `reply_within` counts from the request's last bit to the reply's first byte, `late_within` from there on;
    `pause` is the rest it needs since the last byte on the line, `after_open` since the port was opened;
    for `busy_within` a meter that says it is busy is asked again. `words_per_address` is 2 where 32 bits lie
    behind each address. `tolerate` names accepted departures from the standard (`replies.Departure`).
    `repeats`: how often a missing or damaged reply is asked for again; after silence it is then listened for
    at most as long as `repeat_within` in all, where that is given, for others may be waiting for the line.
    `still_within`: how long after a request its reply may come, where it is not listened for as long.
    """

    reply_within: float = 0.5
    late_within: float = 1.0
    pause: float = 0.0
    words_per_address: int = 1
    tolerate: tuple[str, ...] = ()
    repeats: int = 1
    repeat_within: float | None = None
    busy_within: float = 30.0
    after_open: float = 0.0
    still_within: float = 0.0

    @property
    def patience(self) -> float:
        """How long after a request its reply may come [s]."""
        return max(self.reply_within + self.late_within, self.still_within)

    def within(self, seconds: float) -> "Manners":
        """The same, but listening no longer than `seconds` in all, the late window cut first."""
        reply_within = min(self.reply_within, seconds)
        late_within = min(self.late_within, seconds - reply_within)
        return replace(self, reply_within=reply_within, late_within=late_within, still_within=self.patience)


@dataclass(frozen=True, slots=True)
class Reception:
    """What came after one sending. `reply` is None where nothing can be trusted: `cause` and `text` say why.

    `frame` is the reply's own bytes, `data` all that came; `began` [monotonic s] when the first byte of the
    reply arrived, `ended` when the last byte did or the waiting ended. `settled`: what came was the reply to
    this request, good or damaged, so that none is still to come. `noise` counts bytes of 00 or FF around it.
    """

    data: bytes
    ended: float
    late: bool = False
    frame: bytes = b""
    reply: Reply | None = None
    cause: str = ""
    text: str = ""
    began: float | None = None
    settled: bool = True
    noise: int = 0
