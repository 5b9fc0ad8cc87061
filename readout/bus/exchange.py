"""One request, one outcome: silence before, the request, the reply as its bytes come, and what they mean.

The rules, in the order in which they bite:

1. One request is outstanding at a time. Before it the line has been silent for 3.5 characters and the meter's
   `pause`, counted from the last byte on the bus, whoever sent it.
2. A reply ends by its own length, never by a gap: adapters deliver healthy frames in pieces.
3. `reply_within` counts from the request's last bit to the reply's first byte. After it nothing is sent, but
   the line is listened to for `late_within`: what fits there still answers the open request.
4. A value comes only from a frame that fits in checksum, unit, function, byte count and length. Frames of
   other units are waited out; anything else makes the line dirty, and nothing is sent until it is quiet.
5. A missing or damaged reply is asked for once more; an exception is an answer.
"""

from dataclasses import replace

from protocols.modbus import limits
from protocols.modbus.replies import (
    Bits,
    Cause,
    ExceptionReply,
    FileRecords,
    Queue,
    Registers,
    Reply,
)
from protocols.modbus.requests import ReadRequest, Request
from protocols.modbus.timing import SerialFormat
from readout.bus.hearing import BYTES_BEHIND, NEVER_QUIET, NOTHING, Heard, Hearing, Manners
from readout.bus.master import Master
from readout.bus.outcome import Outcome, Status
from readout.bus.port import Port
from readout.bus.telling import explained
from readout.bus.trace import Trace
from readout.clock import Clock
from readout.errors import PortError

#: Seconds all meters get to carry out what was sent to unit 0: typically 100 to 200 ms (MODBUS over Serial
#: Line V1.02, 2.4.1, p. 10).
BROADCAST_TURNAROUND = 0.15

__all__ = ["Line", "Manners"]


class Line:
    """One port and the meters on it, one request at a time; to be used by one thread.

    After the port is gone every call answers `port lost` at once, and `lost` is True: open the port again
    and make a new line.
    """

    def __init__(self, port: Port, fmt: SerialFormat, clock: Clock, trace: Trace | None = None) -> None:
        self.lost = False
        self._port = port
        self._fmt = fmt
        self._clock = clock
        self._trace = trace
        self._asked = self._damaged = 0  # requests, and the damaged replies to them
        self._master = Master()
        self._hearing = Hearing(port, fmt, clock, trace)
        for note in (f"opened for {fmt}", *port.notes):
            self._remark(note)

    @property
    def strays(self) -> int:
        """Bytes that came while nobody was asked, since the line was made."""
        return self._hearing.strays

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        """One read of one block (functions 1 to 4). IllegalRequestError for a unit that there is not."""
        return self._exchange(unit, request, manners, manners.repeats)

    def ask(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """Any other question (functions 17, 20, 23, 24, 43/14); set `repeats` to 0 where reading moves on."""
        return self._exchange(unit, request, manners, manners.repeats)

    def write(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """Tell the meter something (functions 5, 6, 15, 16), never twice: only the reply may have been lost.

        Unit 0 speaks to all meters; none answers, and they get 150 ms.
        """
        return self._exchange(unit, request, manners, 0)

    def transact(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """One sending without any repeat."""
        return self._exchange(unit, request, manners, 0)

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def _exchange(self, unit: int, request: Request, manners: Manners, repeats: int) -> Outcome:
        frame = self._master.frame(unit, request)
        if self.lost:
            return self._gone(frame, f"{self._port.name} is gone.")
        try:
            outcome = self._once(unit, request, frame, manners)
            while outcome.status in _ASKED_AGAIN and outcome.repeats < repeats:
                again = self._once(unit, request, frame, manners)
                outcome = replace(again, repeats=outcome.repeats + 1)
        except PortError as error:
            self.lost = True
            self._port.close()
            self._remark(str(error))
            return self._gone(frame, str(error))
        return outcome

    def _once(self, unit: int, request: Request, frame: bytes, manners: Manners) -> Outcome:
        if not self._hearing.silence(manners.pause):
            text = (
                f"{self._port.name} is never quiet, so nothing was sent. See bias, ground and other senders."
            )
            now = self._clock.monotonic()
            return _outcome(Status.DAMAGED_REPLY, frame, now, Heard(b"", now, cause=NEVER_QUIET, text=text))
        self._asked += 1
        self._port.write(frame)
        sent = self._clock.monotonic()
        on_the_wire = self._hearing.last = sent + self._fmt.wire_time(len(frame))
        if self._trace is not None:
            self._trace.sent(self._port.name, frame)
        if unit == limits.BROADCAST:
            return self._broadcast(frame, sent)
        heard = self._hearing.reply(request, unit, on_the_wire, manners)
        return self._judged(unit, request, frame, manners, sent, heard)

    def _judged(
        self, unit: int, request: Request, frame: bytes, manners: Manners, sent: float, heard: Heard
    ) -> Outcome:
        reply = heard.reply
        if isinstance(reply, ExceptionReply):
            heard = replace(heard, cause=f"exception {reply.code:02X}", text=self._where(unit, f"{reply}."))
            return _outcome(Status.EXCEPTION, frame, sent, heard)
        if reply is not None:
            if _departs(request, heard.frame, manners) or self._master.agrees(
                unit, request, heard.frame, reply
            ):
                return _outcome(Status.OK, frame, sent, heard)
            heard = replace(
                heard, cause="readers disagree", text="Two readers of this reply disagree about it."
            )
        if heard.cause == NOTHING:
            text = (
                f"no reply within {manners.reply_within:g} s, nor in the {manners.late_within:g} s after. "
                "See unit address, line settings and wiring."
            )
            heard = replace(heard, text=text)
        status = _STATUS.get(heard.cause, Status.WRONG_REPLY)
        self._damaged += status is Status.DAMAGED_REPLY
        text = heard.text
        if heard.data:
            text = explained(frame, heard.data, self._fmt, text, self._asked, self._damaged)
        heard = replace(heard, reply=None, text=self._where(unit, text))
        self._remark(heard.text)
        return _outcome(status, frame, sent, heard)

    def _broadcast(self, frame: bytes, sent: float) -> Outcome:
        self._clock.sleep_until(self._hearing.last + BROADCAST_TURNAROUND)
        return _outcome(Status.OK, frame, sent, Heard(b"", self._clock.monotonic()))

    def _gone(self, frame: bytes, text: str) -> Outcome:
        now = self._clock.monotonic()
        return _outcome(Status.PORT_LOST, frame, now, Heard(b"", now, cause="port lost", text=text))

    def _where(self, unit: int, text: str) -> str:
        return f"Unit {unit} on {self._port.name}: {text}"

    def _remark(self, text: str) -> None:
        if self._trace is not None:
            self._trace.remark(self._port.name, text)


#: What the bytes themselves are: damaged. Everything else came whole, and answers something else.
_STATUS = {
    NOTHING: Status.NO_REPLY,
    **dict.fromkeys(
        (
            Cause.BAD_CRC,
            Cause.INCOMPLETE,
            Cause.NOT_A_REPLY,
            Cause.EXCEPTION_WITHOUT_CRC,
            BYTES_BEHIND,
            NEVER_QUIET,
        ),
        Status.DAMAGED_REPLY,
    ),
}
_ASKED_AGAIN = frozenset({Status.NO_REPLY, Status.DAMAGED_REPLY})


def _departs(request: Request, frame: bytes, manners: Manners) -> bool:
    """Whether the frame is one that only the map's word admits, so that the library would not know it."""
    two_byte_count = bool(manners.tolerate) and isinstance(request, ReadRequest) and frame[2] == 0
    return manners.words_per_address != 1 or two_byte_count


def _outcome(status: Status, frame: bytes, sent: float, heard: Heard) -> Outcome:
    code = heard.reply.code if isinstance(heard.reply, ExceptionReply) else None
    words = _words(heard.reply) if status is Status.OK else ()
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
        heard.reply,
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
