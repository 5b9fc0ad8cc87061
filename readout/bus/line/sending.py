"""One request sent once: the silence before it, the request, what comes, and what that leaves open."""

from dataclasses import replace

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.replies import Departure, ExceptionReply, read_reply
from protocols.modbus.requests import ReadRequest, Request
from protocols.modbus.timing import SerialFormat
from readout.bus.hearing.ear import Ear
from readout.bus.hearing.echo import EchoState, echo_length
from readout.bus.hearing.manners import Heard, Manners, Reception
from readout.bus.hearing.reception import receive
from readout.bus.hearing.surplus import surplus
from readout.bus.hearing.telling import explained, overheard
from readout.bus.hearing.verdict import outcome_of, status_of
from readout.bus.line.doubt import UNPROVEN, Doubt, Doubts
from readout.bus.line.owed import Owed, Shape, shape_of
from readout.bus.line.statistics import SOON, Statistics
from readout.bus.line.tally import Tallies
from readout.bus.master import Master
from readout.bus.outcome import Outcome, Status
from readout.bus.port import Port
from readout.bus.trace import Trace
from readout.clock import Clock

#: Seconds all meters get to carry out what was sent to unit 0: typically 100 to 200 ms (MODBUS over Serial
#: Line V1.02, 2.4.1, p. 10).
BROADCAST_TURNAROUND = 0.15
#: Seconds behind a reply in which further bytes make it doubtful.
DOUBT_WITHIN = 0.05
#: Instead of an instant: only look at what has come.
NOT_LISTENING = float("-inf")


class Sender:
    """Sends single requests over one port, and keeps the line's accounts."""

    def __init__(self, port: Port, fmt: SerialFormat, clock: Clock, trace: Trace | None) -> None:
        self.statistics = Statistics()
        self.tallies = Tallies()
        self.owed = Owed()
        self.doubts = Doubts()
        self.master = Master()
        self.ear = Ear(port, fmt, clock, trace)
        #: Whether the latest reply may be the one before it once more.
        self.twin = False
        self._port = port
        self._fmt = fmt
        self._clock = clock
        self._trace = trace
        self._latest: tuple[int, Request, bytes, Manners, float] | None = None  # and when its reply ended
        self._unit, self._pause = 0, 0.0  # whom the line spoke with last, and the rest that one needs

    def send(
        self,
        unit: int,
        request: Request,
        frame: bytes,
        manners: Manners,
        *,
        rest: float = 0.0,
        any_answer: bool = False,
    ) -> Outcome:
        """One sending; `rest` is silence [s] wanted beyond the meter's own. PortError when lost.

        With `any_answer` an exception is as good as a value, and no failed request.
        """
        pause = max(manners.pause, rest)
        if unit != self._unit:
            pause = max(pause, self._pause)  # the one who spoke last may not be ready for others either
            self._unit = unit
        self._pause = manners.pause
        if not self._silence(pause, manners):
            outcome = self._never_quiet(unit, frame)
            self._tally(unit, outcome)
            return outcome
        gap = self._clock.monotonic() - self.ear.last
        self.statistics.requests += 1
        self._port.write(frame)
        sent = self._clock.monotonic()
        on_the_wire = self.ear.last = sent + self._fmt.wire_time(len(frame))
        if self._trace is not None:
            self._trace.sent(self._port.name, frame)
        if unit == limits.BROADCAST:
            return self._broadcast(frame, sent)
        shape = shape_of(request, manners.words_per_address)
        old = self.owed.asking(unit, shape)
        heard = receive(self.ear, request, unit, frame, on_the_wire, manners, old_may_come=old)
        if heard.reply is not None:
            outcome = self._answered(unit, request, frame, manners, sent, heard)
            self._latest = (unit, request, frame, manners, heard.ended)
        else:
            outcome = self._failed(unit, frame, manners, sent, heard)
            self._latest = None
        self._account(unit, request, manners, outcome, heard)
        self._tally(unit, outcome, Status.EXCEPTION if any_answer else Status.OK)
        self.statistics.rhythm.note(soon=gap < SOON, silent=outcome.status is Status.NO_REPLY)
        if heard.began is not None:
            took = heard.began - on_the_wire
            self.statistics.slowest_reply = max(self.statistics.slowest_reply, took)
        return outcome

    # ---- what came

    def _answered(
        self, unit: int, request: Request, frame: bytes, manners: Manners, sent: float, heard: Reception
    ) -> Outcome:
        reply, statistics = heard.reply, self.statistics
        assert reply is not None
        statistics.silent_in_a_row = 0
        statistics.late += heard.late
        if heard.noise:
            statistics.noise_bytes += heard.noise
            statistics.noisy += 1
        if isinstance(reply, ExceptionReply):
            statistics.exceptions += 1
            if len(heard.frame) < limits.EXCEPTION_FRAME:
                statistics.departures.add(Departure.EXCEPTION_WITHOUT_CRC)
            heard = replace(heard, cause=f"exception {reply.code:02X}", text=self.where(unit, f"{reply}."))
            return outcome_of(Status.EXCEPTION, frame, sent, heard)
        if len(heard.data) > len(heard.frame) + heard.noise:  # somebody else was heard ahead of the reply
            statistics.overheard = overheard(heard.data, self._fmt) or statistics.overheard
        departs = _departs(request, heard.frame, manners)
        if departs or self.master.agrees(unit, request, heard.frame, reply):
            statistics.replies += 1
            if departs and heard.frame[2] == 0:
                statistics.departures.add(Departure.TWO_BYTE_COUNT)
            return outcome_of(Status.OK, frame, sent, heard)
        text = f"two readers of this reply disagree about it. Received: {_hex(heard.data)}. Try: a trace."
        heard = replace(heard, reply=None, cause=Heard.READERS_DISAGREE, text=text)
        return self._failed(unit, frame, manners, sent, heard)

    def _failed(self, unit: int, frame: bytes, manners: Manners, sent: float, heard: Reception) -> Outcome:
        statistics = self.statistics
        status = status_of(heard.cause)
        statistics.silent += status is Status.NO_REPLY
        statistics.damaged += status is Status.DAMAGED_REPLY
        statistics.wrong += status is Status.WRONG_REPLY
        statistics.silent_in_a_row = 0 if heard.data else statistics.silent_in_a_row + 1
        text = heard.text
        if status is Status.NO_REPLY:
            text = (
                f"no reply within {manners.reply_within:g} s, nor in the {manners.late_within:g} s after. "
                "See unit address, line settings and wiring."
            )
        if heard.cause == Heard.ONLY_NOISE:
            text = f"only noise came. {text}"
        if heard.data and heard.cause not in (Heard.READERS_DISAGREE, Heard.ONLY_NOISE):
            echo = self.ear.echo.state is EchoState.PRESENT
            text = explained(frame, heard.data, self._fmt, text, self._history(), echo=echo)
        heard = replace(heard, text=self.where(unit, text))
        self.remark(heard.text)
        return outcome_of(status, frame, sent, heard)

    def _tally(self, unit: int, outcome: Outcome, also_good: Status = Status.OK) -> None:
        self.tallies.sent(unit)
        if outcome.status is not Status.OK and outcome.status is not also_good:
            self.tallies.failed(unit, outcome.cause)

    def _history(self) -> tuple[int, int]:
        return self.statistics.requests, self.statistics.damaged

    def _account(
        self, unit: int, request: Request, manners: Manners, outcome: Outcome, heard: Reception
    ) -> None:
        """What this leaves open."""
        shape = shape_of(request, manners.words_per_address)
        self.twin = False
        if outcome.status is Status.OK:
            self.twin = self.doubts.good(unit, shape, outcome.sent, outcome.request, heard.frame)
            self.owed.answered(unit, shape, refused=False)
            if manners.repeats and isinstance(request, ReadRequest):
                self.owed.known(unit, request, shape)
            return
        if outcome.status in (Status.NO_REPLY, Status.EXCEPTION):
            self.doubts.ended()
        else:
            before = self.doubts.unit
            count, late = self.doubts.broken()
            if count:
                self.tallies.failed(before, UNPROVEN.cause, count)
            self.statistics.unproven += count
            self.statistics.unproven_late += late
        if outcome.status is Status.EXCEPTION:
            self.owed.answered(unit, shape, refused=True)
            return
        silent = outcome.status is Status.NO_REPLY
        own = heard.settled or (bool(heard.frame) and not self.owed.was_asked(unit, heard.frame))
        if silent or not own:
            self.owed.unanswered(unit, shape, self.ear.now(), manners.patience, silent=silent)

    # ---- what came unasked

    def _silence(self, pause: float, manners: Manners) -> bool:
        quiet = self.ear.silence(pause, self.ear.opened + manners.after_open)
        if self.ear.unasked:
            self._weigh()
        return quiet

    def listen(self, until: float) -> None:
        """Hear what comes unasked, until an instant or as long as it matters to the last outcome."""
        enough = 0.0
        if self._latest is not None:
            ended = self._latest[4]
            enough = ended + DOUBT_WITHIN + self.ear.slack
            if until != NOT_LISTENING:
                until = max(until, ended + self._fmt.silence)
        self.ear.listen(min(until, enough))
        if self.ear.unasked:
            self._weigh()
        elif self._clock.monotonic() >= enough:
            self.doubts.in_step()

    def prove(self, unit: int, shape: Shape, frame: bytes) -> None:
        """Hear the last reply out before its shape is asked for again, where the doubts want that."""
        if self.doubts.follows(unit, shape) and (self.statistics.doubted or self.doubts.twice(frame)):
            self.listen(float("inf"))

    def rest(self, seconds: float) -> None:
        """Let time pass with an open ear."""
        self.ear.listen(self._clock.monotonic() + seconds)
        if self.ear.unasked:
            self._weigh()

    def _weigh(self) -> None:
        """What bytes that nobody asked for mean for the outcome before them."""
        data, since = self.ear.unasked, self.ear.unasked_since
        self.ear.unasked = b""
        if self._latest is None:
            self._stray(data)
            return
        unit, request, frame, manners, ended = self._latest
        if request.WRITES and data == frame and echo_length(frame, data):
            self.ear.echo.learn(heard=True)  # the first of the two was the echo
            return
        found = surplus(data, unit)
        if not found.cause:
            self.statistics.noise_bytes += found.noise
            self.statistics.noisy += bool(found.noise)
            if found.noise < len(data):
                self._stray(data)
            return
        self._stray(data)
        alike = bool(found.frame) and _fits(request, unit, found.frame, manners)
        if alike or since < ended + DOUBT_WITHIN + self.ear.slack:
            self._doubt(unit, Heard.TWO_REPLIES if alike else found.cause, data, all_alike=alike)
        self._latest = None

    def _doubt(self, unit: int, cause: str, data: bytes, *, all_alike: bool) -> None:
        text = self.where(
            unit,
            f"{cause}: more came behind the reply, so it cannot be trusted. Received: {_hex(data)}. Try: "
            "another device with this unit address, a repeater that sends twice, noise on the line.",
        )
        count, late = self.doubts.cast(Doubt(cause, text, data), all_alike=all_alike)
        self.statistics.doubted += count
        self.statistics.doubted_late += late
        if count:
            self.tallies.failed(unit, cause, count)
            self.remark(f"{count} values taken back. {text}")

    def _stray(self, data: bytes) -> None:
        self.statistics.strays += len(data)
        self.statistics.overheard = overheard(data, self._fmt) or self.statistics.overheard
        self.remark(f"{len(data)} bytes came while nobody was asked: {_hex(data)}")

    def _broadcast(self, frame: bytes, sent: float) -> Outcome:
        """Give all meters their time; what comes meanwhile is no reply, and is told."""
        self._latest = None
        self.ear.listen(self.ear.last + BROADCAST_TURNAROUND)
        data, self.ear.unasked = self.ear.unasked, b""
        own = echo_length(frame, data) or 0 if data else 0
        text = ""
        if data[own:]:
            self._stray(data[own:])
            text = f"Somebody on {self._port.name} answered an order to all: {_hex(data[own:])}."
        return outcome_of(Status.OK, frame, sent, Reception(data, self._clock.monotonic(), text=text))

    # ---- words

    def _never_quiet(self, unit: int, frame: bytes) -> Outcome:
        text = self.where(unit, "the line is never quiet, so nothing was sent. Try: bias, a common ground, "
                                "other senders on this line.")  # fmt: skip
        now = self._clock.monotonic()
        heard = Reception(b"", now, cause=Heard.NEVER_QUIET, text=text)
        self.remark(text)
        return outcome_of(Status.DAMAGED_REPLY, frame, now, heard)

    def where(self, unit: int, text: str) -> str:
        """A sentence with who and where ahead of it."""
        return f"Unit {unit} on {self._port.name}: {text}"

    def remark(self, text: str) -> None:
        """A line in the trace."""
        if self._trace is not None:
            self._trace.remark(self._port.name, text)


def _hex(data: bytes) -> str:
    more = f" … and {len(data) - 32} more" if len(data) > 32 else ""
    return data[:32].hex(" ").upper() + more


def _fits(request: Request, unit: int, frame: bytes, manners: Manners) -> bool:
    try:
        read_reply(request, unit, frame, manners.words_per_address, manners.tolerate)
    except ReplyError:
        return False
    return True


def _departs(request: Request, frame: bytes, manners: Manners) -> bool:
    """Whether the frame is one that only the map's word admits, so that the library would not know it."""
    two_byte_count = bool(manners.tolerate) and isinstance(request, ReadRequest) and frame[2] == 0
    return manners.words_per_address != 1 or two_byte_count
