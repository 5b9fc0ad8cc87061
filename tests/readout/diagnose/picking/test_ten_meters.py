"""Ten invented meters, each served in turn, and all ten maps tried on each.

The maps are those of tests/golden/meters. No meter tells its name here, so only registers decide. Two kinds
of meter: one that refuses what it has not, and one that answers 0 there.
"""

import random
import struct
from pathlib import Path

import pytest

from protocols.modbus.crc import with_crc
from readout.diagnose.picking.ranking import Verdict, equals
from simulators.device import SimulatedMeter

from .conftest import Replies, anonymous, made, refusal

MAPS = Path(__file__).parents[3] / "golden" / "meters" / "maps"
TEXTS = {file.name: file.read_text(encoding="utf-8") for file in sorted(MAPS.glob("*.yaml"))}
CANDIDATES = made(TEXTS)
#: Its map states one range for eight values, and neither codes nor identity: too little to be certain.
UNTELLABLE = "compressor-power.yaml"


def zeros_elsewhere(meter: SimulatedMeter) -> Replies:
    """The meter, answering 0 for every register and bit that it has not."""

    def replies(frame: bytes) -> bytes | None:
        reply = meter.reply(frame)
        if reply is None or not reply[1] & 0x80 or frame[1] not in (1, 2, 3, 4):
            return reply
        start, count = struct.unpack(">HH", frame[2:6])
        if frame[1] < 3:
            data = bytes((count + 7) // 8)
        else:
            singly = [
                meter.reply(with_crc(struct.pack(">BBHH", frame[0], frame[1], address, 1)))
                for address in range(start, start + count)
            ]
            data = b"".join(b"\0\0" if one[1] & 0x80 else one[3:-2] for one in singly if one is not None)
        return with_crc(bytes((frame[0], frame[1], len(data))) + data)

    return replies


@pytest.mark.parametrize("name", TEXTS)
def test_a_meter_that_refuses_what_it_has_not_is_named(name: str, bench) -> None:
    (own,) = (one for one in CANDIDATES if one.file == name)
    meter = SimulatedMeter(own.map, clock=bench.hall.clock)
    picked = bench.pick(CANDIDATES, anonymous(meter.reply), meter.unit_address)
    first, *others = picked.maps
    assert first.file == name
    assert first.verdict is (Verdict.MAY_FIT if name == UNTELLABLE else Verdict.FITS)
    assert not [one.file for one in others if one.verdict is Verdict.FITS]
    assert not equals(picked.maps)
    assert "it is the only one of these maps of which the meter gives every register" in first.speaks_for
    assert meter.writes == 0
    assert {frame[1] for frame in bench.sent} <= {1, 2, 3, 4, 17, 43}, "only functions that read"
    assert len(set(bench.sent)) == len(bench.sent) == picked.asked, "each request once"


@pytest.mark.parametrize("name", TEXTS)
def test_a_meter_that_answers_zero_elsewhere_is_named(name: str, bench) -> None:
    (own,) = (one for one in CANDIDATES if one.file == name)
    meter = SimulatedMeter(own.map, clock=bench.hall.clock)
    picked = bench.pick(CANDIDATES, anonymous(zeros_elsewhere(meter)), meter.unit_address)
    fitting = [one.file for one in picked.maps if one.verdict is Verdict.FITS]
    assert fitting == ([] if name == UNTELLABLE else [name])


@pytest.mark.parametrize("small", [0x10000, 1000, 4])
def test_registers_filled_at_random_are_no_meter_of_the_folder(small: int, bench) -> None:
    """No winner is invented: 3 meters whose registers hold any word, numbers below 1000, or below 4."""
    chance = random.Random(small)
    for _ in range(3):
        words: dict[tuple[int, int], int] = {}

        def replies(frame: bytes, words: dict[tuple[int, int], int] = words) -> bytes | None:
            start, count = struct.unpack(">HH", frame[2:6])
            if frame[1] < 3:
                return refusal(frame, 1)
            sent = [
                words.setdefault((frame[1], address), chance.randrange(small))
                for address in range(start, start + count)
            ]
            return with_crc(bytes((frame[0], frame[1], 2 * count)) + struct.pack(f">{count}H", *sent))

        picked = bench.pick(CANDIDATES, anonymous(replies))
        assert not [one.file for one in picked.maps if one.verdict is Verdict.FITS]


def test_a_meter_that_tells_its_name_needs_no_more(bench) -> None:
    """The power meter, whose registers tell too little, by function 17: simulated meters tell their name."""
    (own,) = (one for one in CANDIDATES if one.file == UNTELLABLE)
    meter = SimulatedMeter(own.map, clock=bench.hall.clock)
    picked = bench.pick(CANDIDATES, meter.reply, meter.unit_address)
    assert [one.file for one in picked.maps if one.verdict is Verdict.FITS] == [UNTELLABLE]
    assert picked.maps[0].speaks_for[0] == (
        'the meter calls itself "Dunnock 3 power meter" (function 17), as the map does'
    )
