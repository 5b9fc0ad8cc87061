"""A port inside this program: a meter behind it, faults between, a clock that is moved by hand.

A reader takes it for a port (`read`, `write`, `reset`, `close`, `name`, `notes`) and cannot tell; a second of
waiting costs nothing. What the meter really held is kept in a `Truth`, so that a test can say of every value
that was accepted whether it was the meter's.
"""

from collections import deque
from collections.abc import Callable, Sequence
from typing import NamedTuple

from protocols.errors import ProtocolError
from protocols.modbus.crc import with_crc
from protocols.modbus.replies import Bits, Registers, read_reply
from protocols.modbus.server import read_request
from simulators.clock import Clock
from simulators.line.framer import RequestFramer
from simulators.line.pace import UNPACED, Delivery, Pace, chunks, faithful
from simulators.line.simulated import Meter

#: Answers that a truth keeps: far more than one reading and its repeats can ask for.
KEPT = 4096


class Answer(NamedTuple):
    """What a meter answered before any fault; `at` in monotonic seconds, when it had the request."""

    at: float
    request: bytes
    reply: bytes


class Truth:
    """Which values belonged to which registers when: the meter's own answers, the latest `KEPT` of them."""

    def __init__(self) -> None:
        self.answers: deque[Answer] = deque(maxlen=KEPT)

    def held(self, request: bytes, words: Sequence[int], since: float, until: float) -> bool:
        """Whether the meter answered exactly `request` by exactly `words` between these monotonic seconds.

        `words` are registers, or bits as 0 and 1. False for answers longer ago than `KEPT` others.
        """
        for answer in reversed(self.answers):
            if answer.at < since:
                return False
            if answer.at <= until and answer.request == request and words_of(answer) == tuple(words):
                return True
        return False


def words_of(answer: Answer) -> tuple[int, ...] | None:
    """Registers, or bits as 0 and 1, of an answer; None for one that tells of neither."""
    try:
        unit, request = read_request(answer.request)
        reply = read_reply(request, unit, answer.reply)
    except ProtocolError:
        return None
    match reply:
        case Registers(words):
            return words
        case Bits(bits):
            return tuple(map(int, bits))
    return None


class InnerPort:
    """One end of a line that exists only here. Every `write` is one whole request, as readers send them.

    >>> clock = FakeClock()
    >>> player = FaultPlayer(parse_plan("(....x)*"), clock=clock)
    >>> port = InnerPort(player.before([meter]), clock, delivery=player.deliver)
    """

    def __init__(
        self,
        meter: Meter,
        clock: Clock,
        *,
        delivery: Delivery = faithful,
        pace: Pace = UNPACED,
        name: str = "simulated line",
        gone: Callable[[str], Exception] = OSError,
    ) -> None:
        """Put `meter` behind a port. `gone` makes the error of an unplugged port from a sentence."""
        self.name = name
        self.notes: tuple[str, ...] = ()
        self.truth = Truth()
        self.requests = 0
        self._meter = meter
        self._clock = clock
        self._delivery = delivery
        self._pace = pace
        self._gone = gone
        self._framer = RequestFramer()
        self._due: deque[tuple[float, bytes]] = deque()
        self._free_at = float("-inf")  # when the meter has sent all that it owes
        self._plugged = True

    def write(self, data: bytes) -> None:
        """Let the meter have a request, now; what it answers lies ready for its time."""
        self._check()
        now = self._clock.monotonic()
        self._framer.feed(data)
        frame = self._framer.next_frame() or self._framer.silence()
        self._framer.silence()
        if frame is None:
            return  # damaged: the meter stays silent
        self.requests += 1
        reply = self._meter.reply(frame)
        if reply is not None:
            self.truth.answers.append(Answer(now, frame, reply))
        at = max(now + len(data) * self._pace.character, self._free_at)
        for piece in self._delivery(frame, reply):
            at += self._pace.turnaround if piece.after is None else piece.after
            self._due.extend(chunks(piece.data, at, self._pace))
            at += len(piece.data) * self._pace.character
        self._free_at = at

    def read(self, wait: float) -> bytes:
        """What has arrived; lets up to `wait` seconds pass for the first byte, and none after it."""
        self._check()
        due, clock = self._due, self._clock
        until = clock.monotonic() + max(wait, 0.0)
        if not due or due[0][0] > until:
            clock.sleep_until(until)
            return b""
        at, data = due.popleft()
        clock.sleep_until(at)
        now = clock.monotonic()
        while due and due[0][0] <= now:
            data += due.popleft()[1]
        return data

    def reset(self) -> None:
        """Throw away what has arrived."""
        now = self._clock.monotonic()
        while self._due and self._due[0][0] <= now:
            self._due.popleft()

    def close(self) -> None:
        """Let go; the meter stays as it is, and `plug` makes the port good again."""
        self._plugged = False
        self._due.clear()

    def unplug(self) -> None:
        """From now on every call raises `gone`; what was on its way is lost."""
        self.close()

    def plug(self) -> None:
        """Put the plug in again."""
        self._plugged = True

    def _check(self) -> None:
        if not self._plugged:
            raise self._gone(f"{self.name} is gone. See the adapter and its cable.")


_MASK = 0xFFFFFFFF


class RestlessMeter:
    """Answers reads of registers (functions 3 and 4) at any address with words that never stay.

    Each word depends on unit, table, address and on how often the meter was asked, so that no word can be
    taken for another register's, or for an earlier one, but by a chance of 1 in 65,536. For torture, where a
    `SimulatedMeter` would be too slow: about 5 µs a read of two registers.
    """

    def __init__(self, unit: int = 1) -> None:
        self.unit = unit
        self.asked = 0

    def reply(self, frame: bytes) -> bytes | None:
        """See `simulators.line.simulated.Meter`; silent on everything that is not a read of registers."""
        if frame[0] != self.unit or frame[1] not in (3, 4) or len(frame) != 8:
            return None
        start, count = int.from_bytes(frame[2:4], "big"), int.from_bytes(frame[4:6], "big")
        if not 1 <= count <= 125:
            return None
        self.asked += 1
        place = frame[0] << 24 | frame[1] << 16
        data = bytearray((frame[0], frame[1], 2 * count))
        for address in range(start, start + count):
            data += restless_word(place | address & 0xFFFF, self.asked).to_bytes(2, "big")
        return with_crc(bytes(data))


def restless_word(place: int, turn: int) -> int:
    """A word that looks random: two rounds of multiplying and folding."""
    mixed = (place * 0x9E3779B1 ^ turn * 0x85EBCA77) & _MASK
    mixed = (mixed ^ mixed >> 15) * 0x2C1B3C6D & _MASK
    return (mixed ^ mixed >> 13) & 0xFFFF
