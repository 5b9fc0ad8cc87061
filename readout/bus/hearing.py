"""Listening for the reply to one request, and for the line to become quiet.

A reply ends by its own length. Between its pieces up to 50 ms may pass, besides the time that a packet of
bytes takes on the wire: adapters hand over bytes in packets and computers are busy.
"""

from dataclasses import dataclass

from protocols.errors import ReplyError
from protocols.modbus.crc import fits
from protocols.modbus.replies import Cause, Reply, read_reply, reply_length
from protocols.modbus.requests import Request
from protocols.modbus.timing import SerialFormat
from readout.bus.port import Port
from readout.bus.trace import Trace
from readout.clock import Clock

#: Seconds that may pass between two pieces of one reply, besides the time on the wire of the next piece.
BETWEEN_PIECES = 0.05
#: Bytes that an adapter collects before it hands them over: the packet of full-speed USB.
PACKET = 64
#: Seconds without a byte after which the line counts as quiet; more than the 16 ms for which common adapters
#: keep a byte that is already there to themselves.
QUIET = 0.02
#: Seconds after which a line that never becomes quiet is given up for the moment.
QUIET_WITHIN = 1.0
#: Seconds of rest after a driver returned nothing before its time, so that waiting costs no processor.
EARLY = 0.001

#: Names of what only a line can tell, beside those of `protocols.modbus.replies.Cause`.
NOTHING, BYTES_BEHIND, NEVER_QUIET = "no reply", "bytes behind the reply", "line is never quiet"


@dataclass(frozen=True, slots=True)
class Manners:
    """How one meter wants to be treated. Times in seconds.

    `reply_within` counts from the request's last bit to the reply's first byte, `late_within` from there on;
    `pause` is the rest it needs since the last byte on the line. `words_per_address` is 2 where 32 bits lie
    behind each address. `tolerate` names accepted departures from the standard (`replies.Departure`).
    `repeats`: how often a missing or damaged reply is asked for again.
    """

    reply_within: float = 0.5
    late_within: float = 1.0
    pause: float = 0.0
    words_per_address: int = 1
    tolerate: tuple[str, ...] = ()
    repeats: int = 1


@dataclass(frozen=True, slots=True)
class Heard:
    """What came after one sending. `reply` is None where nothing can be trusted: `cause` and `text` say why.

    `frame` is the reply's own bytes, `data` all that came, `ended` [monotonic s] when the last byte arrived
    or the waiting ended.
    """

    data: bytes
    ended: float
    late: bool = False
    frame: bytes = b""
    reply: Reply | None = None
    cause: str = ""
    text: str = ""


class Hearing:
    """The ear of one line: knows when the last byte was on it, and whether it may be spoken on."""

    def __init__(self, port: Port, fmt: SerialFormat, clock: Clock, trace: Trace | None) -> None:
        self._port = port
        self._fmt = fmt
        self._clock = clock
        self._trace = trace
        self._quiet = max(QUIET, fmt.silence)
        #: Monotonic seconds at which the last byte, ours or anyone's, left the line.
        self.last = clock.monotonic()
        #: Bytes that came while nobody was asked.
        self.strays = 0
        self._dirty = False

    def silence(self, pause: float) -> bool:
        """Wait until the line has been silent for 3.5 characters and `pause`; False where it never is.

        Bytes that have come meanwhile answer no request: they are counted, and waited out.
        """
        rest = max(self._fmt.silence, pause)
        give_up = self._clock.monotonic() + QUIET_WITHIN
        while True:
            if self._dirty:
                self.strays += len(self.until_quiet())
            self._clock.sleep_until(self.last + rest)
            stray = self._port.read(0)
            if not stray:
                return not self._dirty
            self._take(stray)
            self.strays += len(stray)
            self._dirty = True
            if self._clock.monotonic() > give_up:
                return False

    def until_quiet(self) -> bytes:
        """Listen until no byte has come for a while; what came meanwhile."""
        data = b""
        give_up = self._clock.monotonic() + QUIET_WITHIN
        while piece := self.wait(min(self._clock.monotonic() + self._quiet, give_up)):
            data += piece
        self._dirty = self._clock.monotonic() >= give_up
        return data

    def reply(self, request: Request, unit: int, sent: float, manners: Manners) -> Heard:
        """Listen for the reply to what was `sent` (monotonic seconds at which its last bit left)."""
        return _Reception(self, request, unit, sent, manners).heard()

    def time_for(self, missing: int) -> float:
        """Seconds within which the next piece comes, where `missing` bytes still do."""
        return BETWEEN_PIECES + self._fmt.wire_time(min(missing, PACKET))

    def wait(self, deadline: float) -> bytes:
        """The next bytes; empty only at the deadline, whatever a driver thinks of it."""
        while True:
            asked = self._clock.monotonic()
            if asked >= deadline:
                return b""
            piece = self._port.read(deadline - asked)
            if piece:
                self._take(piece)
                return piece
            if self._clock.monotonic() < min(asked + EARLY, deadline):
                self._clock.sleep_until(min(asked + EARLY, deadline))

    def _take(self, piece: bytes) -> None:
        self.last = self._clock.monotonic()
        if self._trace is not None:
            self._trace.received(self._port.name, piece)

    def now(self) -> float:
        """Monotonic seconds."""
        return self._clock.monotonic()


class _Reception:
    """One reply on its way: `_all` is what came since the sending, `_pending` the frame being received."""

    def __init__(self, ear: Hearing, request: Request, unit: int, sent: float, manners: Manners) -> None:
        self._ear = ear
        self._request = request
        self._unit = unit
        self._manners = manners
        self._first_by = self._deadline = sent + manners.reply_within
        self._late = False
        self._all = self._pending = b""

    def heard(self) -> Heard:
        """Listen until there is a reply, or none to be hoped for."""
        while True:
            piece = self._ear.wait(self._deadline)
            if piece:
                self._all += piece
                self._pending += piece
                try:
                    found = self._frame_complete()
                except ReplyError as error:
                    return self._misfit(error, self._ear.until_quiet())
                if found is not None:
                    return found
            elif self._pending:
                return self._broken_off()
            elif self._all:
                return self._only_others()
            elif self._late:
                return Heard(b"", self._ear.now(), cause=NOTHING)
            else:
                self._late = True
                self._deadline += self._manners.late_within

    def _frame_complete(self) -> Heard | None:
        """The reply, as soon as its last byte is there; frames of other units are laid aside."""
        while self._pending:
            length = reply_length(self._pending, self._manners.tolerate)
            if length is None or len(self._pending) < length:
                missing = 1 if length is None else length - len(self._pending)
                self._deadline = self._ear.last + self._ear.time_for(missing)
                return None
            frame, behind = self._pending[:length], self._pending[length:]
            if frame[0] == self._unit or not fits(frame):
                reply = self._read(frame)
                if behind:
                    raise ReplyError(BYTES_BEHIND, f"{len(behind)} bytes stand behind the reply.")
                return Heard(self._all, self._ear.last, self._late, frame, reply)
            self._pending = behind
            self._deadline = self._first_by + (self._manners.late_within if self._late else 0.0)
        return None

    def _read(self, frame: bytes) -> Reply:
        words, tolerate = self._manners.words_per_address, self._manners.tolerate
        return read_reply(self._request, self._unit, frame, words, tolerate)

    def _broken_off(self) -> Heard:
        """No further piece came: too short for its length, and only a tolerated form is whole like that."""
        try:
            reply = self._read(self._pending)
        except ReplyError as error:
            return self._misfit(error, b"")
        return Heard(self._all, self._ear.last, self._late, self._pending, reply)

    def _misfit(self, error: ReplyError, behind: bytes) -> Heard:
        """Name it by all that came until the line was quiet, where that tells more than the beginning did."""
        try:
            self._read(self._pending + behind)
        except ReplyError as whole:
            error = error if whole.cause in _TELLS_LITTLE else whole
        return Heard(self._all + behind, self._ear.last, self._late, cause=error.cause, text=str(error))

    def _only_others(self) -> Heard:
        text = f"only unit {self._all[0]} was heard; unit {self._unit} was asked."
        behind = self._ear.until_quiet()
        return Heard(self._all + behind, self._ear.last, self._late, cause=Cause.OTHER_UNIT, text=text)


#: Names that say less than the error that was met first.
_TELLS_LITTLE = frozenset({Cause.BAD_CRC, Cause.INCOMPLETE, Cause.NOT_A_REPLY})
