"""What a receiver with wrong settings makes of a frame: a model of its sampling, run backwards.

A meter's frame is a row of levels, one per bit: start (low), data bits (lowest first), perhaps parity, stop
(high). A receiver waits for a falling edge, checks the level half a bit later, and from there looks once a
bit of its own length:

    meter, 9600 Bd       ‾‾‾|__start__|‾‾‾d0=1‾‾‾|____d1=0____|____d2=0____| …
    receiver, 19200 Bd       ↑    ↑    ↑    ↑     ↑     ↑      ↑     ↑
                           start  0    1    1     0     0      0     0        each bit of the meter twice

`evidence` asks whether any reply of the expected shape could have come out as the bytes that were received.
Bits of the frame that are known (unit, function, byte count, start and stop bits) or were seen before must be
seen again: each such agreement is one bit of evidence, each choice that had to be made takes one away. A
frame recovered whole whose checksum fits adds 16. Random bytes reach n bits of evidence with odds of about
1 in 2^n, so that the number says how far a name may be trusted.

What receivers do with a character whose stop bit was low differs, and all of it occurs: some keep it, some
give 00 instead; some take the low level for the next start bit at once, some wait for the line to rise.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import count
from math import floor

from protocols.modbus.crc import fits

#: Steps of the search after which a hypothesis counts as not shown.
MOST_STEPS = 3000
#: Bytes looked at: a beginning of this length tells, and the search grows with the length.
MOST_BYTES = 12
#: Part of a receiver's bit by which a sample on the border of two bits is taken to miss it.
SKEW = 0.1


@dataclass(frozen=True, slots=True)
class Receiver:
    """How the listening side samples. Times in its own bits unless named otherwise.

    `step`: the meter's bits that pass during one of the receiver's (2 where it is half as fast).
    `character_bits`: start, data, parity and first stop bit. `hunts_from`: when after a start it looks for
    the next one. `waits_for_edge`: whether a low level has to rise first. `skew`: `SKEW` or its negative.
    """

    step: float
    data_bits: int = 8
    character_bits: int = 10
    hunts_from: float = 10.0
    waits_for_edge: bool = False
    skew: float = SKEW


@dataclass(frozen=True, slots=True)
class Expected:
    """The frame as far as it is known: a byte each, None where it is not; `bits` per character, 10 or 11."""

    content: tuple[int | None, ...]
    bits: int
    inverted: bool = False


@dataclass(frozen=True, slots=True)
class _State:
    """A point of the search: `at` [meter bits], bytes explained, the frame's bits as far as known, the score.

    `peak` is the highest score so far. It counts: that the rest can be explained too makes the beginning no
    less telling.
    """

    at: float
    explained: int
    known: int
    value: int
    score: int
    peak: int


def _levels(expected: Expected) -> tuple[int, int, int]:
    """The frame as a row of bits, first bit lowest: which are known, their values, how many there are."""
    known = value = 0
    for place, byte in enumerate(expected.content):
        start = place * expected.bits
        stop = start + expected.bits - 1
        known |= 1 << start | 1 << stop
        value |= 1 << stop
        if byte is not None:
            known |= 0xFF << start + 1
            value |= byte << start + 1
    return known, value, len(expected.content) * expected.bits


def evidence(received: bytes, expected: Expected, receiver: Receiver) -> int:
    """Bits of evidence that `received` is a frame of that shape, heard by such a receiver; 0 for none."""
    if expected.inverted:
        received = received.rstrip(b"\0")  # a mirrored line at rest is low
    return _Search(received[:MOST_BYTES], expected, receiver).best() if received else 0


class _Search:
    """Over the choices, the most telling first; a frame is two whole numbers, so that a branch is cheap."""

    def __init__(self, received: bytes, expected: Expected, receiver: Receiver) -> None:
        self._received = received
        self._expected = expected
        self._receiver = receiver
        self._known, self._value, self._length = _levels(expected)
        self._low = 1 if expected.inverted else 0

    def best(self) -> int:
        """The highest score met; at once the score of a frame whose checksum fits."""
        best = 0
        order = count()
        waiting = [(-state.score, -next(order), state) for state in self._beginnings()]
        heapify(waiting)
        for _ in range(MOST_STEPS):
            if not waiting:
                break
            *_, state = heappop(waiting)
            if state.explained == len(self._received):
                frame = self._frame(state)
                if frame is None:
                    best = max(best, state.peak)
                elif fits(frame):
                    return state.peak + 16
                continue
            for started in self._starts(state):
                for after in self._windows(started):
                    heappush(waiting, (-after.score, -next(order), after))
        return best

    def _beginnings(self) -> Iterator[_State]:
        if not self._expected.inverted:
            yield _State(0.0, 0, self._known, self._value, 0, 0)
        elif self._receiver.waits_for_edge:
            yield _State(-1.0, 0, self._known, self._value, 0, 0)
        else:  # an inverted line rests low, so the first window may lie anywhere on the frame's beginning
            for before in range(self._receiver.character_bits):
                yield _State(-before * self._receiver.step, 0, self._known, self._value, -3, 0)

    def _bit(self, state: _State, place: int) -> int | None:
        if not 0 <= place < self._length:
            return 1  # the line at rest
        return state.value >> place & 1 if state.known >> place & 1 else None

    @staticmethod
    def _with(state: _State, place: int, bit: int, cost: int = 1) -> _State:
        known, value = state.known | 1 << place, state.value | bit << place
        return _State(state.at, state.explained, known, value, state.score - cost, state.peak)

    def _starts(self, state: _State) -> Iterator[_State]:
        """Where the receiver may take the next start bit; `at` is moved there."""
        at, place = state.at, floor(state.at + 1e-9)
        must_rise = self._receiver.waits_for_edge and self._bit(state, place) != 1 - self._low
        while place < self._length or (self._low == 1 and not must_rise):
            bit = self._bit(state, place)
            if bit is None:
                if not must_rise:
                    yield from self._confirmed(self._with(state, place, self._low), at)
                state, bit = self._with(state, place, 1 - self._low), 1 - self._low
            if bit == self._low and not must_rise:
                confirmed = list(self._confirmed(state, at))
                yield from confirmed
                middle = floor(at + 0.5 * self._receiver.step + self._receiver.skew * self._receiver.step)
                if confirmed or self._bit(state, middle) == self._low:
                    return
            elif bit != self._low:
                must_rise = False
            place += 1
            at = float(place)

    def _confirmed(self, state: _State, at: float) -> Iterator[_State]:
        """The start at `at`, if the level is still low half a bit later."""
        middle = floor(at + (0.5 + self._receiver.skew) * self._receiver.step)
        bit = self._bit(state, middle)
        if bit is None:
            state, bit = self._with(state, middle, self._low), self._low
        if bit == self._low:
            yield _State(at, state.explained, state.known, state.value, state.score, state.peak)

    def _windows(self, state: _State) -> Iterator[_State]:
        """The ways in which the character that starts at `state.at` can have given the next byte."""
        ear = self._receiver
        last = floor(state.at + (ear.character_bits - 0.5 + ear.skew) * ear.step)
        stop = self._bit(state, last)
        byte = self._received[state.explained]
        for level in (0, 1) if stop is None else (stop,):
            chosen = self._with(state, last, level) if stop is None else state
            broken = level == self._low
            seen = self._seen(chosen, byte)
            if seen is not None:
                yield self._next(seen)
            elif broken and byte == 0:  # a receiver that gives 00 for a character without a stop bit
                yield self._next(chosen)

    def _next(self, state: _State) -> _State:
        at = state.at + self._receiver.hunts_from * self._receiver.step
        return _State(at, state.explained + 1, state.known, state.value, state.score, state.peak)

    def _seen(self, state: _State, byte: int) -> _State | None:
        """The state in which the eight samples were `byte`; None where the frame says otherwise."""
        ear, known, value, score = self._receiver, state.known, state.value, state.score
        for number in range(ear.data_bits):
            level = byte >> number & 1
            bit = 1 - level if self._low else level
            place = floor(state.at + (number + 1.5 + ear.skew) * ear.step)
            if not 0 <= place < self._length:
                if bit != 1:
                    return None
            elif known >> place & 1:
                if value >> place & 1 != bit:
                    return None
                score += 1
            else:
                known |= 1 << place
                value |= bit << place
        return _State(state.at, state.explained, known, value, score, max(state.peak, score))

    def _frame(self, state: _State) -> bytes | None:
        """The whole frame where every data bit of it is known."""
        frame = bytearray()
        for place in range(len(self._expected.content)):
            start = place * self._expected.bits + 1
            if state.known >> start & 0xFF != 0xFF:
                return None
            frame.append(state.value >> start & 0xFF)
        return bytes(frame)


def receivers(step: float, data_bits: int, character_bits: int) -> Sequence[Receiver]:
    """The kinds of receiver that occur: where they look for the next start bit, and how borders fall."""
    early, late = character_bits - 0.5, float(character_bits)
    skews = (SKEW, -SKEW) if step > 1 else (SKEW,)
    return [
        Receiver(step, data_bits, character_bits, hunts, waits, skew)
        for hunts, waits in ((late, False), (early, False), (early, True))
        for skew in skews
    ]
