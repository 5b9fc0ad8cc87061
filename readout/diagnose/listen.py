"""Listening without sending: whether a line is in use, by whom, and how it answers."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from protocols.modbus.overheard import Conversation, Splitter
from protocols.modbus.timing import SerialFormat
from readout.bus.port import Port
from readout.bus.trace import Trace
from readout.clock import Clock

#: Opens the port with the given settings, or raises PortError.
Opener = Callable[[SerialFormat], Port]
#: Seconds listened at each setting while the right one is still being looked for.
LOOK = 1.0
#: Frames that show that a setting is the right one: one whose checksum fits by chance is one in 65,536.
ENOUGH_FRAMES = 2
#: Longest wait for the next byte [s], so that an interrupt is never far.
STEP = 0.1


@dataclass(slots=True)
class Heard:
    """What was heard with one setting.

    `seconds`: how long was listened; `total`: bytes heard, `noise` those outside frames. `interrupted`: by
    the user, who wants to see what was heard so far.
    """

    format: SerialFormat
    seconds: float = 0.0
    total: int = 0
    noise: bytes = b""
    interrupted: bool = False
    conversation: Conversation = field(default_factory=Conversation)

    @property
    def frames(self) -> int:
        """Whole frames with a fitting checksum."""
        return self.conversation.frames

    @property
    def in_use(self) -> bool:
        """Somebody talks: frames, or more bytes than an idle line's noise (00 and FF) makes."""
        return self.frames > 0 or sum(byte not in (0x00, 0xFF) for byte in self.noise) >= 4

    @property
    def stuck(self) -> bool:
        """Zeros without an end."""
        return not self.in_use and len(self.noise) >= 20

    def sentence(self) -> str:
        """What was heard, for a technician."""
        if self.frames:
            units = ", ".join(map(str, sorted(self.conversation.units)))
            return f"units {units} are being asked at {self.format}"
        if self.in_use:
            return f"{self.total} bytes came that are no Modbus frames at {self.format}"
        if self.stuck:
            return f"{self.total} zeros came: the line is stuck (bias, ground, A and B)"
        return "nothing but noise" if self.total else "nothing"


def listen(port: Port, fmt: SerialFormat, clock: Clock, seconds: float, trace: Trace | None = None) -> Heard:
    """Listen on an open port for that long; sends nothing. PortError where the port is lost."""
    heard = Heard(fmt)
    splitter = Splitter(fmt)
    begun = now = clock.monotonic()
    try:
        while now < begun + seconds:
            piece = port.read(min(STEP, begun + seconds - now))
            now = clock.monotonic()
            if piece:
                if trace is not None:
                    trace.received(port.name, piece)
                for frame in splitter.feed(piece, now):
                    heard.conversation.hear(frame)
    except KeyboardInterrupt:
        heard.interrupted = True
    for frame in splitter.end():
        heard.conversation.hear(frame)
    heard.conversation.close()
    heard.seconds, heard.total, heard.noise = now - begun, splitter.bytes, bytes(splitter.stray)
    return heard


def looked_for(
    open_port: Opener,
    formats: Sequence[SerialFormat],
    clock: Clock,
    seconds: float,
    trace: Trace | None = None,
) -> Heard:
    """Try settings in turn, a second each, until frames come; then stay there for what is left of `seconds`.

    Where no frames came, what was heard with the setting that brought the most bytes.
    """
    begun = clock.monotonic()
    until = begun + seconds
    best: Heard | None = None
    turn = 0
    while clock.monotonic() < until or best is None:
        fmt = formats[turn % len(formats)]
        turn += 1
        port = open_port(fmt)
        try:
            look = seconds if len(formats) == 1 else LOOK
            heard = listen(port, fmt, clock, max(0.0, min(look, until - clock.monotonic())), trace)
            if heard.frames >= ENOUGH_FRAMES and until - clock.monotonic() > LOOK:
                return listen(port, fmt, clock, until - clock.monotonic(), trace)
        finally:
            port.close()
        if best is None or (heard.frames, heard.total) > (best.frames, best.total):
            best = heard
        if heard.interrupted:
            break
        if heard.frames and len(formats) > 1:
            formats = (fmt,)  # one frame: the others can only be worse
    if not best.frames:
        best.seconds = clock.monotonic() - begun
    return best
