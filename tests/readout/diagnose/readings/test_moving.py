"""Several reads of one value: what moves as it should comes before what leaps. Words packed by `struct`."""

import random
import struct
from collections.abc import Sequence

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Column, Value
from protocols.register_map.parse import parse_map
from readout.diagnose.readings.choosing import words_for
from readout.diagnose.readings.display import Fit, read_off
from readout.diagnose.readings.judging import Later, Tried, tried
from readout.diagnose.readings.moving import restless

NOW_MS = 1_780_000_000_000


def value_of(text: str) -> Value:
    parsed = parse_map(f"register_map: 1\nmeter: m\nreadings:\n  a: {text}\n".encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    return parsed.map.readings[0]


TOTAL = "{input: 10, type: uint32, scale: 0.1, unit: kg, totaliser: {rolls_over_at: 1000000}}"
DEGREES = "{input: 10, type: int16, scale: 0.1, unit: degC}"
FLOW = "{input: 10, type: float32, unit: kg/h}"
CLOCK = "{input: 10, type: unix time}"


@pytest.mark.parametrize(
    ("text", "series", "said"),
    [
        (TOTAL, [98765.4, 98765.4, 98765.5], ""),
        (TOTAL, [98765.4, 98765.3], "runs backwards"),
        (TOTAL, [98765.4, 105319.0], "leaps"),  # 65536 tenths: the low word taken for the high one
        (TOTAL, [3.0, 60.0], ""),  # a small total may double
        (TOTAL, [999_999.9, 0.2], ""),  # over the end
        (DEGREES, [21.5, 21.7, 21.4], ""),
        (DEGREES, [21.5, 47.1], "leaps"),  # one more in the byte that should be the low one: 25.6
        ("{input: 10, type: float32, unit: degF}", [70.0, 85.0], ""),
        (FLOW, [123.4, 119.0, 131.2], ""),
        (FLOW, [0.1, -0.2, 0.3], ""),  # around nothing
        (FLOW, [-1.9e25, -4.4e25], "leaps"),
        (FLOW, [123.4, None], "no number a moment later"),
        (FLOW, [None, 123.4], ""),
        (CLOCK, [NOW_MS, NOW_MS + 1000], ""),
        (CLOCK, [NOW_MS, NOW_MS], ""),  # the moment of the last reset stands still
        (CLOCK, [NOW_MS, NOW_MS + 65_536_000], "does not go on as a clock"),
        ("{input: 10, type: uint16, codes: {0: a, 9: b}}", [0, 9, 0], ""),
        ("{input: 10, type: text, registers: 2}", ["AB", "BA"], "another text"),
    ],
)
def test_what_moves_and_what_leaps(text: str, series: Sequence[int | float | str | None], said: str) -> None:
    found = restless(value_of(text), series, 0.5)
    assert found.startswith(said) if said else not found
    assert bool(found) == bool(said)


def low_word_first(kind: str, number: float) -> list[int]:
    """The two words of a number as this meter sends them."""
    high, low = struct.unpack(">HH", struct.pack(kind, number))
    return [low, high]


def seen(value: Value, kind: str, numbers: Sequence[float], shown: str | None = None) -> Tried:
    """The value tried on a meter that has these numbers one after the other, zeros around them."""
    reads = []
    for number in numbers:
        around = {Column(Table.INPUT, at): 0 for at in range(9, 16)}
        words = enumerate(low_word_first(kind, number), 10)
        reads.append(around | {Column(Table.INPUT, at): word for at, word in words})
    display = None if shown is None else read_off(value, shown)
    return tried(value, reads[0], display, NOW_MS, Later(tuple(reads[1:]), 0.5))


def test_a_total_in_another_order_runs_wild_and_the_true_one_comes_first() -> None:
    """No display: without further reads the map's way, 2 tenths in the high word, would make sense too."""
    value = value_of(TOTAL)
    alone = seen(value, ">I", [131_075])
    assert alone.mapped is not None
    assert alone.mapped.fit is Fit.PLAUSIBLE, "3 × 65536 + 2 tenths is as good as any"
    assert alone.holds
    found = seen(value, ">I", [131_075, 131_077, 131_078])  # 0003 0002, 0005 0002, 0006 0002 as sent
    assert found.mapped is not None
    assert not found.holds
    assert found.mapped.why == ("leaps, which no total does",)
    ways = {words_for(value, way, "from 0"): one for one in found.first for way in one.ways}
    assert "uint32:CDAB:input:10" in ways
    assert ways["uint32:CDAB:input:10"].later == (13107.7, 13107.8)
    assert "uint32:ABCD:input:10" not in ways


def test_a_value_that_moved_on_still_fits_what_was_read_off() -> None:
    """The display was read between the first read and the third; the second has its very digits."""
    found = seen(value_of(FLOW), ">f", [121.9, 123.4, 124.1], shown="123.4")
    (first,) = found.first
    assert (first.fit, round(float(first.value or 0), 1)) == (Fit.FITS, 123.4)
    assert [words_for(found.value, way, "from 0") for way in first.ways] == ["float32:CDAB:input:10"]


def test_of_two_that_fit_the_display_only_the_one_that_stays_steady_is_first() -> None:
    """01F4 is 500; with the 0000 before it it is 500 too, until that word moves by itself."""
    value = value_of("{input: 11, type: uint16, unit: kg/h}")
    reads = [
        {Column(Table.INPUT, at): word for at, word in ((10, before), (11, 0x01F4), (12, 0), (13, 0))}
        for before in (0, 3, 7)
    ]

    def ways(found: Tried) -> set[str]:
        return {words_for(value, way, "from 0") for one in found.first for way in one.ways}

    at_once = tried(value, reads[0], read_off(value, "500"), NOW_MS)
    later = tried(value, reads[0], read_off(value, "500"), NOW_MS, Later(tuple(reads[1:]), 0.5))
    assert {"uint16:AB:input:11", "uint32:ABCD:input:10"} <= ways(at_once)
    assert "uint16:AB:input:11" in ways(later)
    assert "uint32:ABCD:input:10" not in ways(later)


def test_a_moving_flow_tells_the_order_without_a_display_and_the_true_way_is_never_noise() -> None:
    """Random flows moving by up to 1 %, in a map with the wrong order of words."""
    chance = random.Random(20260504)
    value = value_of(FLOW)
    ruled_out = 0
    for _ in range(12):
        mean = 10 ** chance.uniform(0, 4)
        found = seen(value, ">f", [mean * chance.uniform(0.99, 1.01) for _ in range(3)])
        by_way = {words_for(value, way, "from 0"): one for one in found.readings for way in one.ways}
        assert not by_way["float32:CDAB:input:10"].restless
        assert by_way["float32:CDAB:input:10"] in found.first
        ruled_out += by_way["float32:ABCD:input:10"] not in found.first
    assert ruled_out >= 11


def test_a_wrong_scale_is_found_although_the_value_has_moved_on() -> None:
    """7.38 bar were shown; a moment later the register says 734, and the map makes 0.734 of it.

    A float that is 7.06 by chance begins one register early: the map's own register comes first.
    """
    pressure = value_of("{input: 11, type: uint16, scale: 0.001, unit: bar}")
    registers = {Column(Table.INPUT, 10): 0x40E2, Column(Table.INPUT, 11): 734, Column(Table.INPUT, 12): 0}
    found = tried(pressure, registers, read_off(pressure, "7.38"), NOW_MS)
    assert words_for(pressure, found.first[0].way, "wire") == "uint16:AB:input:11:scale=0.01"
    assert found.mapped is not None
    assert found.mapped.fit is Fit.NEAR
    assert not found.holds


def test_of_two_near_ones_the_register_as_listed_comes_first() -> None:
    """58.48 by CDAB is EB85 4269; one register late 4269 and the next value's low word make 58.4."""
    flow = value_of("{input: 11, type: float32, unit: kg/h}")
    sent = {10: 0, 11: 0xEB85, 12: 0x4269, 13: 0xBBE5, 14: 0}
    registers = {Column(Table.INPUT, at): word for at, word in sent.items()}
    found = tried(flow, registers, read_off(flow, "60.78"), NOW_MS)
    assert [words_for(flow, one.way, "wire") for one in found.first] == [
        "float32:CDAB:input:11", "float32:ABCD:input:12",
    ]  # fmt: skip
