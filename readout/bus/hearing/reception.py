"""Listening for the reply to one request.

A reply ends by its own length. Between its pieces up to 50 ms may pass, besides the time that a packet of
bytes takes on the wire: adapters hand over bytes in packets and computers are busy. At the place where a
frame may start stand, in any order, the echo of the request, whole frames of other units, and at most two
bytes of noise; all of that is laid aside, and nowhere else is a reply looked for.
"""

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.replies import Cause, Reply, read_reply, reply_length
from protocols.modbus.requests import Request, WriteCoil, WriteRegister
from readout.bus.hearing.ear import BETWEEN_PIECES, PACKET, Ear
from readout.bus.hearing.echo import EchoState, echo_length
from readout.bus.hearing.manners import Heard, Manners, Reception
from readout.bus.hearing.misfit import named, reply_head, start_is_cut
from readout.bus.hearing.surplus import NOISE, noise_ahead, surplus


def receive(
    ear: Ear,
    request: Request,
    unit: int,
    frame: bytes,
    on_the_wire: float,
    manners: Manners,
    *,
    old_may_come: bool = False,
) -> Reception:
    """Listen for the reply to `frame`; `on_the_wire` [monotonic s] is when its last bit has left.

    Where an old reply may come first (`old_may_come`), the right one has its whole time behind it.
    """
    listener = _Listener(ear, request, unit, frame, on_the_wire, manners)
    listener.old_may_come = old_may_come
    return listener.heard()


class _Listener:
    """`_all` is what came since the sending, `_pending` what no frame has been made of yet."""

    def __init__(
        self, ear: Ear, request: Request, unit: int, sent: bytes, on_the_wire: float, manners: Manners
    ) -> None:
        self._ear = ear
        self._request = request
        self._unit = unit
        self._sent = sent
        self._manners = manners
        # What a network may add comes out of the late window: the whole wait is as the map has it.
        slack = min(ear.slack, manners.late_within)
        self._limit = self._deadline = on_the_wire + manners.reply_within + slack
        self._late_within = manners.late_within - slack
        self._late = self._echoed = False
        self._all = self._pending = self._stale = b""
        self._misfit: ReplyError | None = None
        self._others: int | None = None
        self._began: float | None = None
        self._mirrored = isinstance(request, WriteCoil | WriteRegister)
        self._noise = 0
        self.old_may_come = False

    def heard(self) -> Reception:
        """Listen until there is a reply, or none to be hoped for."""
        while True:
            piece = self._ear.wait(self._deadline)
            if piece:
                self._all += piece
                self._pending += piece
                try:
                    found = self._next()
                except ReplyError as error:
                    found = self._damaged(error, self._ear.until_quiet())
            else:
                found = self._at_deadline()
            if found is not None:
                return found

    def _next(self) -> Reception | None:
        """The reply, as soon as its last byte is there; what may stand ahead of it is laid aside."""
        while self._pending:
            ahead = noise_ahead(self._pending)
            if ahead > NOISE:
                raise ReplyError(Cause.NOT_A_REPLY, f"{ahead} bytes of 00 or FF came where a reply starts.")
            body = self._pending[ahead:] if ahead else self._pending
            if not body:
                self._deadline = self._limit  # noise is no first byte of a reply
                return None
            if self._began is None:
                self._began = self._ear.last
            echo = self._echo(body)
            if echo is None:
                self._more(PACKET)
                return None
            if echo:
                self._echoed = True
                self._lay_aside(ahead, body[echo:])
            elif body[0] != self._unit:
                if not self._foreign(ahead, body):
                    return None
            else:
                length = reply_length(body, self._manners.tolerate)
                if length is None or len(body) < length:
                    self._more(1 if length is None else length - len(body))
                    return None
                found = self._own(ahead, body[:length], body[length:])
                if found is not None:
                    return found
        return None

    def _more(self, missing: int) -> None:
        self._deadline = self._ear.last + self._ear.time_for(missing)

    def _lay_aside(self, ahead: int, behind: bytes) -> None:
        self._noise += ahead
        self._pending = behind
        self._began = None
        self._deadline = self._limit

    def _echo(self, body: bytes) -> int | None:
        """Bytes of the echo at the start, None while it may become one.

        The reply to functions 5 and 6 equals the request: one copy alone is the reply, unless this adapter is
        known to hear itself; then two are needed.
        """
        length = echo_length(self._sent, body)
        if not length:
            return length
        if not self._mirrored:
            self._ear.echo.learn(heard=True)
            return length
        if body[length:].startswith(self._sent):
            self._ear.echo.learn(heard=True)
            return length
        return length if self._ear.echo.state is EchoState.PRESENT and not self._echoed else 0

    def _foreign(self, ahead: int, body: bytes) -> bool:
        """Lay a whole frame with another address aside; False while more of its bytes are to come."""
        from protocols.modbus.overheard import frame_at_start  # not where nobody else is on the line

        try:
            found = frame_at_start(body[: limits.FRAME])
        except ReplyError:
            self._read(body)  # says what is wrong with it
            raise
        if found is None:
            self._more(PACKET)
            return False
        if self._others is None:
            self._others = found.unit
        self._lay_aside(ahead, body[len(found.data) :])
        return True

    def _own(self, ahead: int, frame: bytes, behind: bytes) -> Reception | None:
        """A whole frame of our unit: the reply, or one to another request, which is laid aside."""
        try:
            reply = self._read(frame)
        except ReplyError as error:
            if error.cause in _DAMAGED:
                raise
            self._misfit, self._stale = error, frame
            self._lay_aside(ahead, behind)
            if not self.old_may_come:  # the right one may be on its way behind it all the same
                self._deadline = min(self._limit, self._ear.last + BETWEEN_PIECES + self._ear.slack)
            return None
        self._noise += ahead
        rest = behind + self._ear.until_quiet() if behind or ahead else b""
        self._all += rest[len(behind) :]
        return self._answer(frame, reply, rest)

    def _answer(self, frame: bytes, reply: Reply, rest: bytes) -> Reception:
        if not self._mirrored and not self._echoed and self._ear.echo.state is EchoState.UNKNOWN:
            self._ear.echo.learn(heard=False)
        ended = self._ear.last
        if rest:
            found = surplus(rest, self._unit)
            self._noise += found.noise
            if found.cause:
                text = f"{len(rest)} bytes stand behind the reply: which of them to trust cannot be told."
                return Reception(self._all, ended, self._late, frame, cause=found.cause, text=text)
        return Reception(self._all, ended, self._late, frame, reply, began=self._began, noise=self._noise)

    def _read(self, frame: bytes) -> Reply:
        words, tolerate = self._manners.words_per_address, self._manners.tolerate
        return read_reply(self._request, self._unit, frame, words, tolerate)

    def _at_deadline(self) -> Reception | None:
        """No further byte came in time: what that means depends on what has come before."""
        body = self._pending[noise_ahead(self._pending) :]
        if body:
            try:
                return self._answer(body, self._read(body), b"")  # only a tolerated form is whole like that
            except ReplyError as error:
                return self._damaged(error, b"")
        if self._misfit is not None and (self._late or not self.old_may_come):
            cause, text = self._misfit.cause, str(self._misfit)
            return self._nothing(cause, text, frame=self._stale)
        if self._others is not None:
            text = f"only unit {self._others} was heard; unit {self._unit} was asked."
            self._all += self._ear.until_quiet()
            return self._nothing(Cause.OTHER_UNIT, text)
        if not self._late:
            self._late = True
            self._limit += self._late_within
            self._deadline = self._limit
            return None
        cause = Heard.NOTHING if not self._all else Heard.ECHO_ONLY if self._echoed else Heard.ONLY_NOISE
        return self._nothing(cause, "")

    def _nothing(self, cause: str, text: str, frame: bytes = b"") -> Reception:
        ended = self._ear.last if self._all else self._ear.now()
        noise = self._noise + len(self._pending)
        return Reception(self._all, ended, frame=frame, cause=cause, text=text, settled=False, noise=noise)

    def _damaged(self, error: ReplyError, behind: bytes) -> Reception:
        """Name it by all that came until the line was quiet, where that tells more than the beginning did."""
        self._all += behind
        whole = self._pending[noise_ahead(self._pending) :] + behind
        head = reply_head(self._request, self._unit, self._manners.words_per_address)
        cut = start_is_cut(head, whole, self._read)
        expects_echo = self._ear.echo.state is EchoState.PRESENT and not self._echoed
        cause, text = named(error, whole, self._unit, self._read, cut, self._sent if expects_echo else b"")
        refusal = whole[:2] == bytes((self._unit, self._request.function | 0x80))
        settled = bool(cut) or refusal or whole.startswith(head)
        return Reception(self._all, self._ear.last, self._late, cause=cause, text=text, settled=settled)


#: Causes of frames whose bytes cannot be trusted, so that nothing about them can.
_DAMAGED = frozenset({Cause.BAD_CRC, Cause.INCOMPLETE, Cause.NOT_A_REPLY, Cause.EXCEPTION_WITHOUT_CRC})
