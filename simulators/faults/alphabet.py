"""The letters of a fault plan: what each does to one exchange.

A letter alters a `Scene`: the reply's bytes, when they come, and what comes ahead of and behind them. Several
letters on one exchange alter it one after the other. Small letters, and `!`, are what a good reader
recognises; capitals are what no program can tell from a good reply, or only with odds.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import NamedTuple

from protocols.modbus import limits
from protocols.modbus.crc import with_crc
from protocols.modbus.server import exception_frame
from simulators.line.pace import Piece

#: The longest error burst that a 16-bit checksum finds without fail, in bits (SL V1.02, 6.2.2 has the CRC).
SURE_BURST = 16
#: Functions whose reply has its byte count in its third byte.
_COUNTED = frozenset({1, 2, 3, 4, 17, 20, 23})
#: Which function a confused meter answers instead.
_NEIGHBOUR = {1: 2, 2: 1, 3: 4, 4: 3, 5: 6, 6: 5, 15: 16, 16: 15}
#: Seconds between frames of others and the reply: more than the silence that parts two frames at 1200 Bd.
_BETWEEN = 0.02


class Timing(NamedTuple):
    """The reader's patience, from the map's `wire`, in seconds: letters that are late go by it."""

    reply_within: float = 0.5
    late_within: float = 1.0


#: The patience of a map that says nothing of it.
USUAL = Timing()


@dataclass(slots=True)
class Scene:
    """One exchange on its way back. `body` is the reply (empty: silence), `delay` [s] when it starts.

    `delay` None is the meter's own turnaround. `ahead` and `behind` come before and after the body; `cut`
    lists sizes of its pieces, `gap` [s] lies between them. `earlier` has replies to other requests, the
    latest last.
    """

    request: bytes
    body: bytes
    random: Random
    timing: Timing = USUAL
    earlier: Sequence[bytes] = ()
    delay: float | None = None
    ahead: list[Piece] = field(default_factory=list)
    behind: list[Piece] = field(default_factory=list)
    cut: tuple[int, ...] = ()
    gap: float = 0.0

    def pieces(self) -> list[Piece]:
        """What the line sends, in order."""
        found = list(self.ahead)
        rest, delay = self.body, self.delay
        for size in self.cut:
            if len(rest) > size:
                found.append(Piece(delay, rest[:size]))
                rest, delay = rest[size:], self.gap
        if rest:
            found.append(Piece(delay, rest))
        return found + self.behind


Numbers = Sequence[int]
Effect = Callable[[Scene, Numbers], None]


class Limit(NamedTuple):
    """What a number behind a letter means, and its span."""

    meaning: str
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter: its name, what happens (as the manual has it), the numbers it may carry."""

    name: str
    happens: str
    effect: Effect
    numbers: tuple[Limit, ...] = ()
    hexadecimal: bool = False  # one number, written as two hexadecimal digits


def _seconds(numbers: Numbers, place: int, default: float) -> float:
    return numbers[place] / 1000 if len(numbers) > place else default


def _good(_: Scene, __: Numbers) -> None:
    """Nothing happens."""


# ---- the bits of the reply


def flipped(frame: bytes, bits: Sequence[int]) -> bytes:
    """`frame` with these bits inverted; bit 0 is the first on the wire, the lowest of the first byte."""
    damaged = bytearray(frame)
    for bit in bits:
        damaged[bit // 8] ^= 1 << bit % 8
    return bytes(damaged)


def _bit(scene: Scene, numbers: Numbers) -> None:
    if scene.body:
        count = 8 * len(scene.body)
        bit = numbers[0] % count if numbers else scene.random.randrange(count)
        scene.body = flipped(scene.body, (bit,))


def _burst(scene: Scene, numbers: Numbers) -> None:
    if not scene.body:
        return
    length = numbers[0] if numbers else scene.random.randint(2, SURE_BURST)
    length = min(length, 8 * len(scene.body))
    start = scene.random.randrange(8 * len(scene.body) - length + 1)
    inner = (start + n for n in range(1, length - 1) if scene.random.random() < 0.5)
    scene.body = flipped(scene.body, sorted({start, *inner, start + length - 1}))


def _wild(scene: Scene, _: Numbers) -> None:
    scene.body = scene.body[:3] + scene.random.randbytes(max(0, len(scene.body) - 3))


def _rubbish(scene: Scene, numbers: Numbers) -> None:
    if scene.body:
        count = numbers[0] if numbers else scene.random.randint(1, 40)
        scene.body = scene.random.randbytes(count)


# ---- missing and surplus bytes


def _silent(scene: Scene, _: Numbers) -> None:
    scene.body = b""


def _cut(scene: Scene, numbers: Numbers) -> None:
    if len(scene.body) > 1:
        scene.body = scene.body[: numbers[0] if numbers else scene.random.randrange(1, len(scene.body))]


def _headless(scene: Scene, numbers: Numbers) -> None:
    scene.body = scene.body[numbers[0] if numbers else 1 :]


def _doubled(scene: Scene, numbers: Numbers) -> None:
    if numbers and scene.body:
        scene.behind.append(Piece(_seconds(numbers, 0, 0.0), scene.body))
    else:
        scene.body += scene.body


def _noise(scene: Scene, numbers: Numbers) -> bytes:
    count = numbers[0] if numbers else scene.random.randint(1, 2)
    return bytes(scene.random.choice((0x00, 0xFF)) for _ in range(count))


def _noise_ahead(scene: Scene, numbers: Numbers) -> None:
    if not scene.body:
        return
    noise = _noise(scene, numbers)
    if len(numbers) > 1:
        scene.ahead.append(Piece(scene.delay, noise))
        scene.delay = _seconds(numbers, 1, 0.0)
    else:
        scene.body = noise + scene.body


def _noise_behind(scene: Scene, numbers: Numbers) -> None:
    if not scene.body:
        return
    noise = _noise(scene, numbers)
    if len(numbers) > 1:
        scene.behind.append(Piece(_seconds(numbers, 1, 0.0), noise))
    else:
        scene.body += noise


def _echo(scene: Scene, numbers: Numbers) -> None:
    if tuple(numbers) == (0,) and scene.body:
        scene.body = scene.request + scene.body
        return
    scene.ahead.insert(0, Piece(0.0, scene.request))
    if numbers:
        scene.delay = _seconds(numbers, 0, 0.0)


# ---- frames of others


def other_unit(unit: int) -> int:
    """The neighbour of a unit address: the next one, and 1 behind 247."""
    return unit % limits.UNIT_LAST + 1


def _answering(scene: Scene, unit: int) -> bytes:
    """A frame of the reply's shape with other data from `unit`, its checksum right."""
    return with_crc(bytes((unit,)) + scene.body[1:3] + scene.random.randbytes(max(0, len(scene.body) - 5)))


def _foreign(scene: Scene, numbers: Numbers) -> None:
    if scene.body:
        unit = numbers[0] if numbers else other_unit(scene.body[0])
        scene.ahead.append(Piece(scene.delay, _answering(scene, unit)))
        scene.delay = _seconds(numbers, 1, _BETWEEN)


def _another_master(scene: Scene, _: Numbers) -> None:
    unit = other_unit(scene.request[0])
    question = with_crc(bytes((unit, 3, 0, 0, 0, 10)))
    answer = with_crc(bytes((unit, 3, 20)) + bytes(20))
    scene.ahead += [Piece(_BETWEEN / 4, question), Piece(_BETWEEN, answer)]
    scene.delay = _BETWEEN


def _address_twice(scene: Scene, _: Numbers) -> None:
    if scene.body:
        scene.body = scene.body[: len(scene.body) // 2] + _answering(scene, scene.body[0])


# ---- frames whose checksum is right, and which answer something else


def _wrong_unit(scene: Scene, numbers: Numbers) -> None:
    if scene.body:
        unit = numbers[0] if numbers else other_unit(scene.body[0])
        scene.body = with_crc(bytes((unit,)) + scene.body[1:-2])


def _wrong_function(scene: Scene, _: Numbers) -> None:
    if scene.body:
        function = scene.body[1]
        neighbour = _NEIGHBOUR.get(function & 0x7F, 3) | function & 0x80
        scene.body = with_crc(bytes((scene.body[0], neighbour)) + scene.body[2:-2])


def _wrong_count(scene: Scene, numbers: Numbers) -> None:
    if not scene.body or scene.body[1] not in _COUNTED:
        return
    count = scene.body[2]
    choices = [n for n in (count - 2, count + 2, count + 1) if 0 < n <= 250]
    wanted = numbers[0] if numbers else scene.random.choice(choices)
    data = (scene.body[3:-2] + scene.random.randbytes(wanted))[:wanted]
    scene.body = with_crc(scene.body[:2] + bytes((wanted,)) + data)


def _exception(scene: Scene, numbers: Numbers) -> None:
    if scene.body:
        scene.body = exception_frame(scene.body[0], scene.body[1] & 0x7F, numbers[0] if numbers else 6)


def _old(scene: Scene, _: Numbers) -> None:
    shape = (scene.body[:3], len(scene.body))
    fitting = [frame for frame in scene.earlier if (frame[:3], len(frame)) != shape]
    if fitting and scene.body:
        scene.ahead.append(Piece(scene.delay, fitting[-1]))
        scene.delay = _BETWEEN


def _old_any(scene: Scene, _: Numbers) -> None:
    if scene.earlier and scene.body:
        scene.ahead.append(Piece(scene.delay, scene.earlier[-1]))
        scene.delay = _BETWEEN


# ---- time


def _late(scene: Scene, numbers: Numbers) -> None:
    scene.delay = _seconds(numbers, 0, scene.timing.reply_within * scene.random.uniform(0.2, 0.9))


def _very_late(scene: Scene, numbers: Numbers) -> None:
    reply, late = scene.timing
    scene.delay = _seconds(numbers, 0, reply + late * scene.random.uniform(0.1, 0.9))


def _too_late(scene: Scene, numbers: Numbers) -> None:
    patience = sum(scene.timing)
    scene.delay = _seconds(numbers, 0, patience * scene.random.uniform(1.1, 1.5))


def _pieces(scene: Scene, numbers: Numbers) -> None:
    scene.gap = _seconds(numbers, 0, scene.random.uniform(0.002, 0.04))
    size = numbers[1] if len(numbers) > 1 else scene.random.randint(1, 8)
    scene.cut = (size,) * (len(scene.body) // size)


_MS = Limit("ms", 0, 600_000)
_GAP = Limit("ms between", 0, 60_000)
_UNIT = Limit("unit address", 1, limits.UNIT_LAST)
_COUNT = Limit("bytes", 1, 256)

#: Every letter. A number in square brackets may be left out: then the plan's seed chooses.
ALPHABET: Mapping[str, Letter] = {
    ".": Letter("good", "the reply as it is", _good),
    "x": Letter("bit", "one bit inverted", _bit, (Limit("bit", 0, 2047),)),
    "b": Letter("burst", "up to 16 bits in a row damaged", _burst, (Limit("bits", 2, SURE_BURST),)),
    "r": Letter("rubbish", "random bytes instead of the reply", _rubbish, (_COUNT,)),
    "s": Letter("silent", "no reply, though the meter did what was asked", _silent),
    "n": Letter("not heard", "the request never reaches the meter", _silent),
    "c": Letter("cut", "only the reply's first bytes", _cut, (_COUNT,)),
    "h": Letter("headless", "the reply without its first byte, or bytes", _headless, (_COUNT,)),
    "d": Letter("doubled", "the reply twice, in one write or ms apart", _doubled, (_GAP,)),
    "z": Letter("noise ahead", "00 or FF before the reply", _noise_ahead, (_COUNT, _GAP)),
    "y": Letter("noise behind", "00 or FF after the reply", _noise_behind, (_COUNT, _GAP)),
    "e": Letter("echo", "the request comes back before the reply (e0: in one write)", _echo, (_GAP,)),
    "f": Letter("foreign", "a reply of another unit, then the meter's", _foreign, (_UNIT, _GAP)),
    "k": Letter("another master", "a foreign request and its answer, then the reply", _another_master),
    "a": Letter("address twice", "half the reply, then a second meter's whole one", _address_twice),
    "u": Letter("wrong unit", "the reply comes from another unit", _wrong_unit, (_UNIT,)),
    "m": Letter("wrong function", "the reply is to the neighbouring function", _wrong_function),
    "q": Letter("wrong count", "fewer or more data bytes than asked for", _wrong_count, (_COUNT,)),
    "!": Letter(
        "exception",
        "an exception instead of the reply",
        _exception,
        (Limit("code", 1, 255),),
        hexadecimal=True,
    ),
    "o": Letter("old", "an earlier reply of another shape first", _old),
    "l": Letter("late", "the reply starts late, but within reply_within", _late, (_MS,)),
    "v": Letter("very late", "it starts after reply_within, in the late window", _very_late, (_MS,)),
    "p": Letter("pieces", "the reply in pieces", _pieces, (_GAP, _COUNT)),
    "W": Letter("wild", "random data and checksum behind a right head: 1 in 65,536 fits", _wild),
    "O": Letter(
        "old, any shape", "the reply before this one first, even if it could be this one's", _old_any
    ),
    "V": Letter(
        "too late", "the reply starts after the late window, into the next exchange", _too_late, (_MS,)
    ),
}

#: What a random plan does unless told otherwise: everything that can be recognised.
RECOGNISABLE = "".join(letter for letter in ALPHABET if letter != "." and not letter.isupper())
#: The letter whose request the meters do not get.
NOT_HEARD = "n"
