"""From the bytes that came back to the one cause that explains them.

Rules are asked in an order in which the sure ones come first: a fitting reply, whole frames of others, other
protocols, then faults of the signal, and last the names that only say what is missing. A specific cause is
named only where the bytes carry enough evidence for it (`signal`); everything else is `garbage`.
"""

from collections.abc import Callable
from dataclasses import dataclass

from protocols.errors import ReplyError
from protocols.modbus.overheard import Direction, frames_in
from protocols.modbus.replies import Cause, read_reply
from protocols.modbus.symptoms.asked import Asked
from protocols.modbus.symptoms.kinds import WORDS, Kind, Symptom
from protocols.modbus.symptoms.signal import of_signal
from protocols.modbus.timing import SerialFormat

#: Noise bytes tolerated on either side of a reply.
NOISE = 2
#: Zeros from which a line is stuck low rather than noisy.
ENDLESS = 8
#: Printable bytes from which they are text; random ones all print with odds of 1 in 400.
TEXT = 6
#: Replies from which "now and then" can be told from "always".
OFTEN = 5


@dataclass(frozen=True, slots=True)
class History:
    """What the line has shown so far, this reply included: requests sent, damaged replies among them.

    `echo`: this adapter is known to hear itself.
    """

    asked: int = 1
    damaged: int = 1
    echo: bool = False

    @property
    def mostly_good(self) -> bool:
        """Whether damaged replies are the exception."""
        return self.asked >= OFTEN and 2 * self.damaged < self.asked


@dataclass(frozen=True, slots=True)
class _Case:
    asked: Asked
    received: bytes
    rest: bytes  # without the echo
    echoed: bool
    history: History

    def named(self, kind: Kind, **places: object) -> Symptom:
        """The symptom of that kind with its places filled in."""
        sentence, advice = WORDS[kind]
        lines = tuple(line.format(**places) for line in advice)
        return Symptom(kind, sentence.format(**places), lines, self.received)


def classify(request: bytes, received: bytes, fmt: SerialFormat, history: History | None = None) -> Symptom:
    """What `received`, everything that came after `request` was sent with `fmt`, tells about the line.

    `request` is a whole frame; ReplyError or IllegalRequestError where it is none.
    """
    history = history or History()
    asked = Asked(request, fmt)
    rest, echoed = _without_echo(asked, received, history)
    case = _Case(asked, received, rest, echoed, history)
    for rule in _RULES:
        found = rule(case)
        if found is not None:
            return found
    return case.named(Kind.GARBAGE)


def _without_echo(asked: Asked, received: bytes, history: History) -> tuple[bytes, bool]:
    """What stands behind this side's own request, whose first byte may be lost.

    The reply to a write may equal the request: one copy alone is the reply, unless the adapter is known
    to echo.
    """
    for own in (asked.frame, asked.frame[1:]):
        if received.startswith(own):
            rest = received[len(own) :]
            if not rest and not history.echo and asked.reply(received) is not None:
                break
            return rest, True
    return received, False


def _nothing(case: _Case) -> Symptom | None:
    if case.rest:
        return None
    return case.named(Kind.ECHO_ONLY if case.echoed else Kind.SILENCE)


def _answer(case: _Case) -> Symptom | None:
    for before in range(NOISE + 1):
        for behind in range(NOISE + 1):
            inner = case.rest[before : len(case.rest) - behind]
            noise = case.rest[:before] + case.rest[len(case.rest) - behind :]
            if set(noise) <= {0x00, 0xFF} and case.asked.reply(inner) is not None:
                kind = Kind.NOISE_AROUND if noise else Kind.ANSWER
                return case.named(kind, count=before + behind)
    return None


def _others(case: _Case) -> Symptom | None:
    """Whole frames that this side did not ask for."""
    frames, _ = frames_in(case.rest)
    for frame in frames:
        if frame.direction is Direction.REQUEST:
            return case.named(Kind.OTHER_MASTER, unit=frame.unit)
    if sum(case.asked.reply(frame.data) is not None for frame in frames) > 1:
        return case.named(Kind.TWO_DEVICES, unit=case.asked.unit)
    return None


def _two_devices(case: _Case) -> Symptom | None:
    """A reply begun, and a whole one behind it."""
    for content in case.asked.contents:
        for cut in range(2, min(len(content), len(case.rest))):
            begun = zip(case.rest[:cut], content, strict=False)
            if any(want is not None and got != want for got, want in begun):
                break
            if case.asked.reply(case.rest[cut:]) is not None:
                return case.named(Kind.TWO_DEVICES, unit=case.asked.unit)
    return None


def _tcp(case: _Case) -> Symptom | None:
    """Transaction, protocol 0, length, unit, function (MODBUS Messaging on TCP/IP V1.0b, 3.1.3)."""
    data = case.rest
    if len(data) < 9 or data[2:4] != b"\0\0" or int.from_bytes(data[4:6], "big") != len(data) - 6:
        return None
    return case.named(Kind.MODBUS_TCP) if data[7] & 0x7F == case.asked.request.function else None


def _telnet(case: _Case) -> Symptom | None:
    """IAC (FF) with WILL, WONT, DO or DONT (FB to FE) and an option below 50 (RFC 854, IANA's list)."""
    start = case.rest[:3]
    if len(start) < 3 or start[0] != 0xFF or not 0xFB <= start[1] <= 0xFE or start[2] >= 50:
        return None
    return case.named(Kind.TELNET)


def _ascii(case: _Case) -> Symptom | None:
    """Colon, pairs of hex digits, CR LF; their sum with the last pair is 0 (Serial Line V1.02, 2.5.2)."""
    text = case.rest.strip(b"\r\n")
    if not text.startswith(b":") or len(text) < 9:
        return None
    try:
        data = bytes.fromhex(text[1:].decode("ascii"))
    except ValueError:
        return None
    return case.named(Kind.ASCII_MODE) if sum(data) % 256 == 0 else None


def _modem(case: _Case) -> Symptom | None:
    head = case.rest.lstrip(b"\0\r\n")
    command, _, _ = head.partition(b"\r")
    if head.startswith(b"AT") and command != head and command.isascii() and command.decode().isprintable():
        return case.named(Kind.MODEM_PROBE)
    return None


def _stuck(case: _Case) -> Symptom | None:
    return case.named(Kind.STUCK) if len(case.rest) >= ENDLESS and not any(case.rest) else None


def _misfit(case: _Case) -> Symptom | None:
    """Names that the codec has for frames which came whole."""
    try:
        read_reply(case.asked.request, case.asked.unit, case.rest)
    except ReplyError as error:
        kind = _MISFITS.get(error.cause)
        if kind is None:
            return None
        return case.named(kind, what=str(error), unit=case.rest[0], asked=case.asked.unit)
    return None


_MISFITS: dict[str, Kind] = {
    Cause.EXCEPTION_WITHOUT_CRC: Kind.EXCEPTION_WITHOUT_CRC,
    Cause.TWO_BYTE_COUNT: Kind.TWO_BYTE_COUNT,
    Cause.FOUR_BYTES: Kind.FOUR_BYTES,
    Cause.OTHER_UNIT: Kind.OTHER_UNIT,
    **dict.fromkeys(
        (
            Cause.OTHER_FUNCTION,
            Cause.FEWER,
            Cause.MORE,
            Cause.ODD_COUNT,
            Cause.LENGTH,
            Cause.ECHO,
            Cause.FILE_LENGTH,
            Cause.FILE_REFERENCE,
            Cause.QUEUE_COUNT,
            Cause.IDENTIFICATION,
        ),
        Kind.MISFIT,
    ),
}


def _start_cut(case: _Case) -> Symptom | None:
    """With the first bytes that a reply must have, the rest fits."""
    for content in case.asked.contents:
        for missing in (1, 2, 3):
            known = [byte for byte in content[:missing] if byte is not None]
            if len(known) == missing and case.asked.reply(bytes(known) + case.rest) is not None:
                return case.named(Kind.START_CUT, bytes="byte" if missing == 1 else f"{missing} bytes")
    return None


def _head_taken(case: _Case) -> Symptom | None:
    """Four bytes are missing, of which one is not known: by chance this fits 1 of 256 times."""
    content = case.asked.contents[0]
    head = [byte for byte in content[:4] if byte is not None]
    if len(head) != 3 or content[3] is not None or len(case.rest) != len(content) - 4:
        return None
    if any(case.asked.reply(bytes((*head, byte)) + case.rest) is not None for byte in range(256)):
        return case.named(Kind.HEAD_TAKEN, count=4)
    return None


def _text(case: _Case) -> Symptom | None:
    data = case.rest
    if len(data) < TEXT or not all(32 <= byte < 127 or byte in b"\r\n\t" for byte in data):
        return None
    return case.named(Kind.TEXT, text=" ".join(data.decode("ascii").split())[:40])


def _signal(case: _Case) -> Symptom | None:
    """Not on a line that mostly answers well: its settings are right."""
    return None if case.history.mostly_good else of_signal(case.asked, case.rest)


def _damaged(case: _Case) -> Symptom | None:
    """The right shape, or the beginning of it."""
    history = case.history
    if history.mostly_good and len(case.rest) >= len(case.asked.contents[0]):
        return case.named(Kind.BAD_NOW_AND_THEN, damaged=history.damaged, asked=history.asked)
    for content in case.asked.contents:
        known = [(got, want) for got, want in zip(case.rest, content, strict=False) if want is not None]
        right = sum(got == want for got, want in known)
        if len(case.rest) == len(content) and right >= 2:
            return case.named(Kind.BAD_CHECKSUM)
        if 2 <= len(case.rest) < len(content) and right == len(known):
            return case.named(Kind.INCOMPLETE, came=len(case.rest), length=len(content))
    return None


_RULES: tuple[Callable[[_Case], Symptom | None], ...] = (
    _nothing,
    _answer,
    _others,
    _two_devices,
    _tcp,
    _telnet,
    _ascii,
    _modem,
    _stuck,
    _misfit,
    _start_cut,
    _head_taken,
    _text,
    _signal,
    _damaged,
)
