"""Meters that are nothing but registers, asked over our own line on a clock that jumps."""

import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import pytest

from protocols.modbus.crc import with_crc
from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line
from readout.diagnose.picking.answers import Answers
from readout.diagnose.picking.picking import LineMeter, Picked, pick
from readout.diagnose.picking.planning import Candidate, candidate, moving_windows, patient

FORMAT = SerialFormat(19200, "even")
UNIT = 12
#: A reply, or None for silence, to a request frame.
Replies = Callable[[bytes], bytes | None]


def refusal(frame: bytes, code: int) -> bytes:
    """An exception reply (AP V1.1b3, 7)."""
    return with_crc(bytes((frame[0], frame[1] | 0x80, code)))


def anonymous(replies: Replies) -> Replies:
    """The meter without functions 17 and 43: exception 01."""
    return lambda frame: refusal(frame, 1) if frame[1] in (17, 43) else replies(frame)


def holding(words: Mapping[int, int]) -> Replies:
    """Input registers by address: exception 02 where one is missing, 01 for other functions."""

    def replies(frame: bytes) -> bytes | None:
        start, count = struct.unpack(">HH", frame[2:6]) if frame[1] == 4 else (0, 0)
        if frame[1] != 4:
            return refusal(frame, 1)
        sent = [words.get(address) for address in range(start, start + count)]
        if None in sent:
            return refusal(frame, 2)
        return with_crc(bytes((frame[0], 4, 2 * count)) + struct.pack(f">{count}H", *sent))

    return replies


@dataclass
class Bench:
    """The line. `sent` are the request frames, in order."""

    hall: object
    sent: list[bytes]

    def pick(
        self, maps: Mapping[str, str] | Sequence[Candidate], replies: Replies, unit: int = UNIT
    ) -> Picked:
        """Ask the meter for the sake of these maps (texts by name), and judge them."""

        def wired(frame: bytes, _now: float) -> list[tuple[float, bytes]]:
            self.sent.append(frame)
            reply = replies(frame)
            return [] if reply is None else [(0.005, reply)]

        self.hall.meters = [(FORMAT, wired)]
        candidates = made(maps) if isinstance(maps, Mapping) else maps
        line = Line(self.hall.open(FORMAT), FORMAT, self.hall.clock)
        meter = LineMeter(line, unit, patient(candidates), self.hall.clock)
        now = round(self.hall.clock.utc() * 1000)
        return pick(candidates, Answers(meter.read, moving_windows(candidates)), meter, now)


def made(maps: Mapping[str, str]) -> list[Candidate]:
    found = []
    for name, text in maps.items():
        parsed = parse_map(text.encode(), name)
        assert parsed.map is not None, [str(fault) for fault in parsed.faults]
        found.append(candidate(name, parsed.map))
    return found


@pytest.fixture
def bench(hall) -> Bench:
    """A line with one meter."""
    return Bench(hall, [])
