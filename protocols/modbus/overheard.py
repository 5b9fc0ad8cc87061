"""What is said on a line, made out by somebody who only listens: requests, replies, who asks whom.

A listener sees one stream of bytes. It is cut into frames by their own lengths and checksums: at each place
the bytes may start a request, a reply or an exception, and whichever checksum fits says what it is. Bytes
that start none are stray. Frames whose two directions look alike (functions 5 and 6, whose reply repeats the
request) are told apart by what went before.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

from protocols.errors import ReplyError, RequestError
from protocols.modbus import limits
from protocols.modbus.crc import fits
from protocols.modbus.replies import reply_length
from protocols.modbus.requests import ReadRequest
from protocols.modbus.server import read_request, request_length
from protocols.modbus.timing import SerialFormat

#: Seconds without a byte that end a frame for certain: adapters part healthy frames by up to some 16 ms.
GAP = 0.05
#: A new request to another unit sooner than this many seconds after an open one does not come from a master
#: that has waited in vain: it comes from another master. Timeouts are longer.
IMPATIENT = 0.05
#: Seconds for which a request that was overtaken by another is remembered.
REMEMBERED = 5.0


class Direction(StrEnum):
    """Which way a frame went. EITHER: functions 5 and 6, and a few reads, look the same both ways."""

    REQUEST = "request"
    REPLY = "reply"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class Frame:
    """One whole frame, its checksum fitting. `started` and `ended` [s]: its first bit and its last byte."""

    data: bytes
    direction: Direction
    started: float = 0.0
    ended: float = 0.0

    @property
    def unit(self) -> int:
        """Who is asked, or who answers."""
        return self.data[0]

    @property
    def function(self) -> int:
        """The function, without the top bit of an exception."""
        return self.data[1] & 0x7F

    @property
    def exception(self) -> int | None:
        """The exception code; None for any other frame."""
        return self.data[2] if self.data[1] & 0x80 else None


def _length(of: Callable[[bytes], int | None], data: bytes) -> int | None:
    """As `of`, but 0 where no such frame starts with these bytes."""
    try:
        return of(data)
    except ReplyError:
        return 0


def frame_at_start(data: bytes) -> Frame | None:
    """The frame that `data` starts with; None while more bytes are needed.

    ReplyError (`not a frame`) where none starts so.
    """
    asked, answered = _length(request_length, data), _length(reply_length, data)
    is_request = bool(asked) and len(data) >= (asked or 0) and fits(data[:asked])
    is_reply = bool(answered) and len(data) >= (answered or 0) and fits(data[:answered])
    if is_request and is_reply and asked == answered:
        return Frame(data[:asked], Direction.EITHER)
    if is_request:
        return Frame(data[:asked], Direction.REQUEST)
    if is_reply:
        return Frame(data[:answered], Direction.REPLY)
    if any(length is None or length > len(data) for length in (asked, answered)):
        return None
    raise ReplyError("not a frame", "Neither a request nor a reply starts with these bytes.")


def frames_in(data: bytes) -> tuple[tuple[Frame, ...], bytes]:
    """The frames that stand one behind the other from the first byte on, and the bytes behind the last."""
    frames = []
    while data:
        try:
            frame = frame_at_start(data)
        except ReplyError:
            break
        if frame is None:
            break
        frames.append(frame)
        data = data[len(frame.data) :]
    return tuple(frames), data


class Splitter:
    """Cuts a stream of bytes into frames as they come. `stray`: bytes that belong to none."""

    def __init__(self, fmt: SerialFormat) -> None:
        self._fmt = fmt
        self._pending = b""
        self._times: list[float] = []
        #: Bytes that belong to no frame.
        self.stray = bytearray()
        #: Bytes heard altogether.
        self.bytes = 0

    def feed(self, piece: bytes, at: float) -> list[Frame]:
        """Take the bytes that arrived at `at` [s]; the frames that are now whole."""
        frames = self.end() if self._times and at - self._times[-1] > GAP + len(piece) * self._time() else []
        self._pending += piece
        self._times += [at] * len(piece)
        self.bytes += len(piece)
        return frames + self._cut()

    def end(self) -> list[Frame]:
        """The line has been silent: what is pending is no whole frame, but one may stand within it."""
        frames: list[Frame] = []
        while self._pending:
            self._drop()
            frames += self._cut()
        return frames

    def _time(self) -> float:
        return self._fmt.character_time

    def _drop(self) -> None:
        self.stray.append(self._pending[0])
        self._pending, self._times = self._pending[1:], self._times[1:]

    def _cut(self) -> list[Frame]:
        frames: list[Frame] = []
        while self._pending:
            try:
                found = frame_at_start(self._pending[: limits.FRAME])
            except ReplyError:
                self._drop()
                continue
            if found is None:
                break
            size = len(found.data)
            ended = self._times[size - 1]
            started = min(self._times[0], ended - (size - 1) * self._time()) - self._time()
            frames.append(Frame(found.data, found.direction, started, ended))
            self._pending, self._times = self._pending[size:], self._times[size:]
        return frames


@dataclass(slots=True)
class Unit:
    """What was heard about one unit. Times in seconds.

    `asked` counts requests by function, `blocks` reads by (function, start, count), `replies` what it
    answered, `doubled` replies that came behind a complete one to the same request.
    """

    unit: int
    asked: Counter[int] = field(default_factory=Counter)
    blocks: Counter[tuple[int, int, int]] = field(default_factory=Counter)
    exceptions: Counter[int] = field(default_factory=Counter)
    replies: int = 0
    unanswered: int = 0
    doubled: int = 0
    late: int = 0
    reply_times: list[float] = field(default_factory=list)

    @property
    def requests(self) -> int:
        """How often it was asked."""
        return sum(self.asked.values())


@dataclass(frozen=True, slots=True)
class _Open:
    frame: Frame
    answered: bool = False


class Conversation:
    """Who asks whom, and who answers.

    `interleaved` counts requests that were sent while another master's was open, seen by the answer to the
    first coming after the second; `unasked` replies to no request that was heard.
    """

    def __init__(self) -> None:
        self.units: dict[int, Unit] = {}
        self.interleaved = 0
        self.unasked = 0
        self.frames = 0
        self._open: _Open | None = None
        self._overtaken: list[tuple[Frame, float]] = []

    def hear(self, frame: Frame) -> None:
        """The next frame on the line."""
        self.frames += 1
        if frame.direction is Direction.REQUEST or (
            frame.direction is Direction.EITHER and not self._answers_open(frame)
        ):
            self._request(frame)
        else:
            self._reply(frame)

    def close(self) -> None:
        """No more will be heard: requests that were overtaken were not answered. The last one may yet be."""
        for frame, _ in self._overtaken:
            self._of(frame).unanswered += 1
        self._overtaken.clear()

    def _of(self, frame: Frame) -> Unit:
        return self.units.setdefault(frame.unit, Unit(frame.unit))

    def _answers_open(self, frame: Frame) -> bool:
        return (
            self._open is not None
            and not self._open.answered
            and (self._open.frame.unit, self._open.frame.function) == (frame.unit, frame.function)
        )

    def _request(self, frame: Frame) -> None:
        if self._open is not None and not self._open.answered and self._open.frame.unit != limits.BROADCAST:
            self._overtaken.append((self._open.frame, frame.started))
        for old, since in [entry for entry in self._overtaken if frame.ended - entry[1] > REMEMBERED]:
            self._overtaken.remove((old, since))
            self._of(old).unanswered += 1
        self._open = _Open(frame)
        unit = self._of(frame)
        unit.asked[frame.function] += 1
        try:
            _, asked = read_request(frame.data)
        except (RequestError, ReplyError):  # refused by the specification, and asked all the same
            return
        if isinstance(asked, ReadRequest):
            unit.blocks[frame.function, asked.start, asked.count] += 1

    def _reply(self, frame: Frame) -> None:
        unit = self._of(frame)
        if self._answers_open(frame):
            assert self._open is not None
            unit.reply_times.append(max(0.0, frame.started - self._open.frame.ended))
            self._open = _Open(self._open.frame, answered=True)
        elif (
            self._open is not None
            and self._open.answered
            and (self._open.frame.unit, self._open.frame.function) == (frame.unit, frame.function)
        ):
            unit.doubled += 1
            return
        else:
            self._out_of_turn(frame, unit)
        unit.replies += 1
        if frame.exception is not None:
            unit.exceptions[frame.exception] += 1

    def _out_of_turn(self, frame: Frame, unit: Unit) -> None:
        for entry in self._overtaken:
            request, since = entry
            if (request.unit, request.function) == (frame.unit, frame.function):
                self._overtaken.remove(entry)
                if since - request.ended < IMPATIENT:
                    self.interleaved += 1
                else:
                    unit.late += 1
                return
        self.unasked += 1
