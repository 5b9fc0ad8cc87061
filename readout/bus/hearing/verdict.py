"""From what was heard to an outcome: its status in the archive's words, and the words of the reply."""

from protocols.modbus.replies import (
    Bits,
    Cause,
    ExceptionReply,
    FileRecords,
    Queue,
    Registers,
    Reply,
)
from readout.bus.hearing.manners import Heard, Reception
from readout.bus.outcome import Outcome, Status

#: What the bytes themselves are: damaged. Everything else came whole, and answers something else.
_STATUS: dict[str, Status] = {
    **dict.fromkeys((Heard.NOTHING, Heard.ECHO_ONLY, Heard.ONLY_NOISE), Status.NO_REPLY),
    **dict.fromkeys(
        (
            Cause.BAD_CRC,
            Cause.INCOMPLETE,
            Cause.NOT_A_REPLY,
            Cause.EXCEPTION_WITHOUT_CRC,
            Heard.START_CUT,
            Heard.ECHO_DIFFERS,
            Heard.BYTES_BEHIND,
            Heard.NEVER_QUIET,
            Heard.ANOTHER_MASTER,
        ),
        Status.DAMAGED_REPLY,
    ),
    Heard.PORT_LOST: Status.PORT_LOST,
}


def status_of(cause: str) -> Status:
    """The status of an outcome without a reply that could be trusted."""
    return _STATUS.get(cause, Status.WRONG_REPLY)


def outcome_of(status: Status, frame: bytes, sent: float, heard: Reception) -> Outcome:
    """The outcome of one sending of `frame`."""
    reply = heard.reply
    code = reply.code if isinstance(reply, ExceptionReply) else None
    words = _words(reply) if status is Status.OK else ()
    return Outcome(
        status,
        heard.cause,
        heard.text,
        frame,
        heard.data,
        words,
        code,
        sent,
        heard.ended,
        heard.late,
        0,
        reply,
    )


def _words(reply: Reply | None) -> tuple[int, ...]:
    match reply:
        case Registers(words) | Queue(words):
            return words
        case Bits(bits):
            return tuple(map(int, bits))
        case FileRecords(parts):
            return tuple(word for part in parts for word in part)
    return ()
