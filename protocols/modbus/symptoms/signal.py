"""Faults of the signal itself: speed, polarity, parity and data bits, found by undoing them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from protocols.modbus.crc import crc16, fits
from protocols.modbus.symptoms.asked import Asked, Content
from protocols.modbus.symptoms.kinds import WORDS, Kind, Symptom
from protocols.modbus.symptoms.sampling import Expected, evidence, receivers
from protocols.modbus.timing import SerialFormat

#: Baud rates that meters and adapters have.
BAUD_RATES = (1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 76800, 115200, 230400)
#: How far apart two sides may be: beyond it hardly a byte tells anything.
FURTHEST = 12
#: Bits of evidence from which a cause is named. Bytes that came by chance reach so many with odds of 1 in
#: 2^bits for each of some forty hypotheses.
ENOUGH = 14
#: The same where this side is slower: most of the meter's bits are never looked at, so there are fewer.
ENOUGH_SLOWER = 9
FEWEST = 3
#: The same at the right speed and polarity, where a healthy frame with one bad byte is half of the evidence.
ENOUGH_PARITY = 20


def of_signal(asked: Asked, received: bytes) -> Symptom | None:
    """The one fault of the signal that explains the bytes; None where none does with enough evidence."""
    if _only_head_bad(asked, received):
        return None
    return _parity(asked, received) or _data_bits(asked, received) or _sampling(asked, received)


def _only_head_bad(asked: Asked, received: bytes) -> bool:
    """Whether the checksum fits as soon as bytes that the request tells are put right: one of them, or all.

    A fault of the signal would have spared none of the others.
    """
    for content in asked.contents:
        if len(content) != len(received):
            continue
        bad = [place for place, want in enumerate(content) if want is not None and want != received[place]]
        for places in (*((place,) for place in bad), bad):
            mended = bytearray(received)
            for place in places:
                mended[place] = content[place] or 0
            if fits(bytes(mended)):
                return True
    return False


def _ones(byte: int) -> int:
    return byte.bit_count() & 1


def _parity(asked: Asked, received: bytes) -> Symptom | None:
    """Characters whose parity bit was low lost their stop bit, and became 00."""
    for content in asked.contents:
        for parity, high in (("even", 1), ("odd", 0)):
            if len(content) == len(received) and _zeroed(content, received, high) >= ENOUGH:
                meter = SerialFormat(asked.format.baud_rate, parity)
                return _symptom(Kind.PARITY, received, settings=meter)
    return None


def _zeroed(content: Content, received: bytes, high: int) -> int:
    """Bits of evidence that just the bytes without an odd (`high` 1) or even number of ones are 00."""
    bits, lost = 0, False
    for got, want in zip(received, content, strict=True):
        if want is not None:
            expected = want if _ones(want) == high else 0
            lost |= expected != want
            bits += 8
            if got != expected:
                return 0
        elif got:
            bits += 1
            if _ones(got) != high:
                return 0
    return bits if lost else 0


def _data_bits(asked: Asked, received: bytes) -> Symptom | None:
    """All top bits are 0, and there are top bits with which the checksum would fit."""
    for content in asked.contents:
        if len(content) != len(received) or max(received) > 0x7F or fits(received):
            continue
        if any(want is not None and want & 0x7F != got for got, want in zip(received, content, strict=True)):
            continue
        rank = _top_bits(received, content)
        cleared = sum(want is None and got > 0 for got, want in zip(received, content, strict=True))
        if rank is not None and cleared + 16 - rank >= ENOUGH:
            return _symptom(Kind.DATA_BITS, received)
    return None


def _top_bits(received: bytes, content: Content) -> int | None:
    """The rank of what unknown top bits can do to the checksum; None where no choice makes it fit.

    The checksum is linear: setting a bit changes the register by what that bit alone does.
    """
    size = len(received)
    nothing = crc16(bytes(size))
    basis: list[int] = []
    for place in (place for place, want in enumerate(content) if want is None):
        alone = bytes(place) + b"\x80" + bytes(size - place - 1)
        change = _reduced(crc16(alone) ^ nothing, basis)
        if change:
            basis = sorted((*basis, change), reverse=True)
    known = bytes(got if want is None else want for got, want in zip(received, content, strict=True))
    return None if _reduced(crc16(known), basis) else len(basis)


def _reduced(number: int, basis: Sequence[int]) -> int:
    for row in basis:
        number = min(number, number ^ row)
    return number


@dataclass(frozen=True, slots=True)
class _Cause:
    """A fault to be tried: the meter's baud rate [bit/s], its bits per character, mirrored or not."""

    kind: Kind
    baud_rate: int
    bits: int
    inverted: bool = False
    enough: int = ENOUGH


def _causes(fmt: SerialFormat) -> Iterator[_Cause]:
    ours = fmt.bits_per_character
    for bits in (10, 11):
        yield _Cause(Kind.SWAPPED, fmt.baud_rate, bits, inverted=True)
        if bits != ours:
            yield _Cause(Kind.PARITY, fmt.baud_rate, bits, enough=ENOUGH_PARITY)
        for baud_rate in BAUD_RATES:
            if fmt.baud_rate / FURTHEST <= baud_rate < fmt.baud_rate:
                yield _Cause(Kind.HOST_FASTER, baud_rate, bits)
            elif fmt.baud_rate < baud_rate <= fmt.baud_rate * FURTHEST:
                yield _Cause(Kind.HOST_SLOWER, baud_rate, bits, enough=ENOUGH_SLOWER)


def _sampling(asked: Asked, received: bytes) -> Symptom | None:
    """The cause with the most evidence for it, if that is enough."""
    if any(_begins_well(content, received) for content in asked.contents):
        return None  # bytes that begin as they should were sampled as they should be
    fmt = asked.format
    window = 2 + fmt.data_bits + (fmt.parity != "none")  # a receiver looks at one stop bit only
    best, found = -1, None
    for cause in _causes(fmt):
        step = cause.baud_rate / fmt.baud_rate
        for content in asked.contents:
            if step > 1 and not FEWEST <= len(received) < len(content):
                continue  # a slower receiver sees fewer bytes than were sent; too few tell nothing
            expected = Expected(content, cause.bits, cause.inverted)
            for receiver in receivers(step, fmt.data_bits, window):
                bits = evidence(received, expected, receiver)
                if bits - cause.enough > best:
                    best, found = bits - cause.enough, cause
    if found is None:
        return None
    if found.kind is Kind.PARITY:
        meter = SerialFormat(fmt.baud_rate, "none" if found.bits == 10 else "even")
        return _symptom(Kind.PARITY, received, settings=meter)
    factor = fmt.baud_rate / found.baud_rate
    return _symptom(
        found.kind,
        received,
        found.baud_rate if found.kind is not Kind.SWAPPED else None,
        factor=f"{factor:g}",
        baud=fmt.baud_rate,
        other=found.baud_rate,
    )


def _begins_well(content: Content, received: bytes) -> bool:
    """All of the known bytes are right, or all but one in a frame of the right length."""
    right = [got == want for got, want in zip(received, content, strict=False) if want is not None]
    needed = max(1, len(right) - 1) if len(received) == len(content) else len(right)
    return len(received) > 1 and sum(right) >= needed


def _symptom(kind: Kind, received: bytes, baud_rate: int | None = None, **places: object) -> Symptom:
    sentence, advice = WORDS[kind]
    return Symptom(
        kind,
        sentence.format(**places),
        tuple(line.format(**places) for line in advice),
        received,
        baud_rate,
    )
