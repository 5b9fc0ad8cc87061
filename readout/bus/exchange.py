"""One request, one outcome: what is asked again, when, and what is asked first.

The rules, in the order in which they bite:

1. One request is outstanding at a time. Before it the line has been silent for 3.5 characters and the meter's
   `pause`, counted from the last byte on the bus, whoever sent it.
2. A reply ends by its own length, never by a gap: adapters deliver healthy frames in pieces.
3. `reply_within` counts from the request's last bit to the reply's first byte. After it nothing is sent, but
   the line is listened to for `late_within`: what fits there still answers the open request.
4. A value comes only from a frame that fits in checksum, unit, function, byte count and length. Echo, frames
   of other units and up to two bytes of noise are laid aside; anything else makes the line dirty, and nothing
   is sent until it is quiet. Bytes behind a reply take its value back (`line.doubt`).
5. A missing or damaged reply is asked for once more; after silence only briefly, where others wait for the
   line (`repeat_within`). While a reply may still come, no request of its shape is sent: a short read of
   another shape comes first (`line.owed`), and its silence is the request's silence.
6. An exception is an answer, except that a meter which is busy (05, 06) is asked again, and one that failed
   (04) once more. Writes are never sent twice unless what they did was read back.

What no program can tell: a damaged frame whose checksum fits, 1 in 65,536 of damaged ones whose head is
right; and a reply later than the late window that has the shape of the request then open.
"""

from collections.abc import Sequence
from dataclasses import replace

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.requests import ReadRequest, Request, WriteCoil, WriteRegister
from protocols.modbus.timing import SerialFormat
from readout.bus.hearing.echo import EchoState
from readout.bus.hearing.manners import Heard, Manners, Reception
from readout.bus.hearing.verdict import outcome_of
from readout.bus.line.owed import shape_of
from readout.bus.line.sending import NOT_LISTENING, Sender
from readout.bus.line.statistics import HASTE, SOON, Statistics
from readout.bus.line.tally import Tally
from readout.bus.line.writes import read_back, still_unknown, wrote
from readout.bus.outcome import Outcome, Status
from readout.bus.port import Port
from readout.bus.trace import Trace
from readout.clock import Clock
from readout.errors import PortError

#: A busy meter is asked again after this many seconds, then after twice as many, up to the longest.
BUSY_FIRST, BUSY_LONGEST = 0.2, 2.0
#: Spacers tried where one met damage: noise may hit it as well as any other request.
SPACERS = 2

__all__ = ["Line", "Manners", "Statistics"]

_BUSY = frozenset({ExceptionCode.ACKNOWLEDGE, ExceptionCode.BUSY})


class Line:
    """One port and the meters on it, one request at a time; to be used by one thread.

    After the port is gone every call answers `port lost` at once, `lost` is True and `loss` says why: open
    the port again and make a new line.
    """

    def __init__(self, port: Port, fmt: SerialFormat, clock: Clock, trace: Trace | None = None) -> None:
        #: Why the port is gone, as a sentence; empty while it is there.
        self.loss = ""
        self._port = port
        self._clock = clock
        self._sender = Sender(port, fmt, clock, trace)
        for note in (f"opened for {fmt}", *port.notes):
            self._sender.remark(note)

    @property
    def lost(self) -> bool:
        """True once the port is gone."""
        return bool(self.loss)

    @property
    def statistics(self) -> Statistics:
        """Counts since the line was made, and sentences about them."""
        found = self._sender.statistics
        found.echo = self._sender.ear.echo.state is EchoState.PRESENT
        return found

    @property
    def strays(self) -> int:
        """Bytes that came while nobody was asked, since the line was made."""
        return self._sender.statistics.strays

    def tally(self, unit: int) -> Tally | None:
        """Requests to a meter and what failed of them since this was asked last; None for none."""
        return self._sender.tallies.take(unit)

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        """One read of one block (functions 1 to 4). IllegalRequestError for a unit that there is not."""
        return self._exchange(unit, request, manners, manners.repeats)

    def ask(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """Any other question (functions 17, 20, 23, 24, 43/14); set `repeats` to 0 where reading moves on."""
        return self._exchange(unit, request, manners, manners.repeats)

    def transact(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """One sending without any repeat, also of a busy meter."""
        return self._exchange(unit, request, replace(manners, busy_within=0.0), 0)

    def settle(self, outcomes: Sequence[Outcome], until: float = NOT_LISTENING) -> tuple[Outcome, ...]:
        """The outcomes as they stand now that the line was listened to, in order; they are final with this.

        A value is taken back (status `wrong reply`, cause `two replies` or `bytes behind the reply`) where
        more came behind it. Nothing is to be sent before `until` [monotonic s]: of that time up to 50 ms
        behind the last reply are listened to, and in any case the 3.5 characters that must be silent. Without
        it only what has come already is seen, which costs some µs.
        """
        if not self.lost:
            try:
                self._sender.listen(until)
            except PortError as error:
                self._lose(error)
        return self._sender.doubts.weighed(tuple(outcomes))

    def write(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """Tell the meter something (functions 5, 6, 15, 16), never twice: only the reply may have been lost.

        Without a reply (`unanswered write`) it is unknown whether it was carried out. Unit 0 speaks to all
        meters; none answers, and they get 150 ms.
        """
        outcome = self._exchange(unit, request, manners, 0)
        if outcome.status in _ASKED_AGAIN:
            return still_unknown(outcome)
        if (
            outcome.status is Status.OK
            and isinstance(request, WriteCoil | WriteRegister)
            and self._sender.ear.echo.state is EchoState.UNKNOWN
            and unit
        ):
            return self._unless_echo(unit, request, manners, outcome)
        return outcome

    def write_checked(
        self, unit: int, request: Request, manners: Manners, *, absolute: bool = False
    ) -> Outcome:
        """As `write`, but an unanswered one is read back before anything is decided.

        Ok (cause `read back`) where the meter now has what was written. Otherwise a write that sets an
        `absolute` position is sent once more; any other stays `unanswered write`.
        """
        outcome = self.write(unit, request, manners)
        back = read_back(request)
        if outcome.status not in _ASKED_AGAIN or back is None:
            return outcome
        found = self.read(unit, back, manners)
        if found.status is Status.OK and wrote(request, found.words):
            text = "The write was not answered; the meter has what was written."
            return replace(found, request=outcome.request, cause="read back", text=text, words=())
        if absolute and found.status in (Status.OK, Status.EXCEPTION):
            return self.write(unit, request, manners)
        return still_unknown(outcome, found)

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    # ---- the policy

    def _exchange(self, unit: int, request: Request, manners: Manners, repeats: int) -> Outcome:
        frame = self._sender.master.frame(unit, request)
        if self.lost:
            return self._gone(frame, self.loss)
        try:
            outcome = self._once(unit, request, frame, manners)
            if outcome.status is not Status.OK:
                outcome = self._again(unit, request, frame, manners, repeats, outcome)
        except PortError as error:
            self._lose(error)
            return self._gone(frame, str(error))
        if outcome.status is Status.NO_REPLY and self._sender.statistics.rhythm.hasty:
            outcome = replace(outcome, text=f"{outcome.text}\n{HASTE}")
        return outcome

    def _once(
        self, unit: int, request: Request, frame: bytes, manners: Manners, *, at_once: bool = False
    ) -> Outcome:
        """One sending, with a spacer first where an old reply may come.

        Not where the same is asked again `at_once`: the reply to its first sending is as good.
        """
        sender, rest = self._sender, 0.0
        shape = shape_of(request, manners.words_per_address)
        sender.prove(unit, shape, frame)
        if not at_once and sender.owed.in_the_way(unit, shape, self._clock.monotonic()):
            rest = SOON if sender.owed.silent(unit) else 0.0
            failed = self._spaced(unit, request, manners)
            if failed is not None:
                return replace(failed, request=frame)
        outcome = sender.send(unit, request, frame, manners, rest=rest)
        if sender.twin:
            sender.listen(float("inf"))
            if manners.repeats and not request.WRITES:
                outcome = sender.send(unit, request, frame, manners)
        return outcome

    def _spaced(self, unit: int, request: Request, manners: Manners) -> Outcome | None:
        """Ask a spacer. None where the request may go out now, else the outcome that stands for its own."""
        sender = self._sender
        shape = shape_of(request, manners.words_per_address)
        for _ in range(SPACERS):
            spacer, known = sender.owed.spacer(unit, request, manners.words_per_address)
            sender.statistics.spacers += 1
            outcome = sender.send(unit, spacer, sender.master.frame(unit, spacer), manners, any_answer=True)
            if outcome.status in _ANSWERS:
                return None
            if outcome.status is Status.NO_REPLY:
                sender.owed.spacer_silent(unit, spacer, outcome.ended)
                # This meter may be silent on such a read only; meanwhile the time of the old reply is over.
                open_ = sender.owed.in_the_way(unit, shape, self._clock.monotonic())
                return outcome if known or open_ else None
        return outcome

    def _again(
        self, unit: int, request: Request, frame: bytes, manners: Manners, repeats: int, outcome: Outcome
    ) -> Outcome:
        """Ask again what did not bring a value, as often as its kind allows."""
        statistics = self._sender.statistics
        done, failures = 0, 0
        busy_until = self._clock.monotonic() + manners.busy_within
        busy_wait = BUSY_FIRST
        while True:
            if outcome.exception in _BUSY and not (
                request.WRITES and outcome.exception == ExceptionCode.ACKNOWLEDGE
            ):
                if self._clock.monotonic() + busy_wait > busy_until:
                    return outcome
                statistics.busy += 1
                self._sender.rest(busy_wait)
                busy_wait = min(2 * busy_wait, BUSY_LONGEST)
            elif outcome.exception == ExceptionCode.DEVICE_FAILURE and failures < min(repeats, 1):
                failures += 1
            elif outcome.status in _ASKED_AGAIN and done < repeats:
                done += 1
            else:
                return replace(outcome, repeats=done) if done else outcome
            statistics.repeats += outcome.exception is None
            if outcome.status is Status.NO_REPLY and manners.repeat_within is not None:
                manners = manners.within(manners.repeat_within)
            at_once = outcome.status is Status.DAMAGED_REPLY
            outcome = self._once(unit, request, frame, manners, at_once=at_once)

    def _unless_echo(self, unit: int, request: Request, manners: Manners, outcome: Outcome) -> Outcome:
        """A write whose reply equals it, with nothing known of an echo: a read tells of one."""
        back = read_back(request)
        assert back is not None
        found = self.read(unit, back, manners)
        if self._sender.ear.echo.state is not EchoState.PRESENT:
            return outcome
        if found.status is Status.OK and wrote(request, found.words):
            return outcome
        text = self._sender.where(unit, "the adapter heard its own order, and no meter confirmed it.")
        return still_unknown(replace(outcome, cause=Heard.ECHO_ONLY, text=text, words=(), reply=None))

    def _lose(self, error: PortError) -> None:
        self.loss = str(error)
        self._port.close()
        self._sender.remark(str(error))

    def _gone(self, frame: bytes, text: str) -> Outcome:
        now = self._clock.monotonic()
        heard = Reception(b"", now, cause=Heard.PORT_LOST, text=text)
        return outcome_of(Status.PORT_LOST, frame, now, heard)


_ASKED_AGAIN = frozenset({Status.NO_REPLY, Status.DAMAGED_REPLY})
_ANSWERS = frozenset({Status.OK, Status.EXCEPTION})
