"""What came of one request: a status in the archive's words, the finer cause, and every byte."""

from dataclasses import dataclass
from enum import StrEnum

from protocols.modbus.replies import Reply


class Status(StrEnum):
    """How a request, or a round of them, ended. The values are the words stored in the archive."""

    OK = "ok"
    PARTIAL = "partial"  # of a round: some blocks came, others did not
    NO_REPLY = "no reply"
    DAMAGED_REPLY = "damaged reply"
    WRONG_REPLY = "wrong reply"
    EXCEPTION = "exception"
    PORT_LOST = "port lost"
    SKIPPED = "skipped"  # of a round: not asked


@dataclass(frozen=True, slots=True)
class Outcome:
    """One request and what came of it.

    `cause` is a short name ("" when ok), `text` a sentence for a technician. `received` is everything that
    came since the last sending. `words` are registers, or bits as 0 and 1, in order; empty unless ok.
    `sent` and `ended` are monotonic seconds: last sending, and the arrival of the last byte (or when waiting
    ended). `late` tells that the reply came after `reply_within`, `repeats` how often it was asked again.
    """

    status: Status
    cause: str
    text: str
    request: bytes
    received: bytes
    words: tuple[int, ...]
    exception: int | None
    sent: float
    ended: float
    late: bool
    repeats: int
    reply: Reply | None = None
