"""M01 and M02 at the meter: a map one register off, or in the other table, beside the display."""

import struct

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.register_map.parse import parse_map
from readout.diagnose.readings.choosing import words_for
from readout.diagnose.readings.display import read_off
from readout.diagnose.readings.judging import tried
from readout.diagnose.readings.sampling import Answer, Sampler

#: Two floats one after the other, packed by `struct`: 3.14159 at 100, 2.71828 at 102; zeros around.
HELD = [0] * 100 + list(struct.unpack(">4H", struct.pack(">2f", 3.14159, 2.71828))) + [0] * 20


def ask(request: ReadRequest, _words: int) -> Answer:
    if request.table is not Table.HOLDING:
        return Answer(None, text="exception 02, illegal data address")
    return Answer(HELD[request.start : request.start + request.count])


@pytest.mark.parametrize(
    ("printed", "right"),
    [("holding: 99", "100"), ("holding: 100", "100"), ("holding: 101", "100"), ("input: 100", "100")],
)
def test_the_true_register_is_shown_and_the_one_beside_it_makes_no_sense(printed: str, right: str) -> None:
    text = f"register_map: 1\nmeter: m\nreadings: {{flow: {{{printed}, type: float32, unit: kg/h}}}}\n"
    parsed = parse_map(text.encode(), "map.yaml")
    assert parsed.map is not None
    value = parsed.map.reading("flow")
    registers = Sampler(parsed.map, ask).registers(value)
    found = tried(value, registers, read_off(value, "3.14159"), 1_780_000_000_000)
    ways = [words_for(value, way, "from 0") for one in found.first for way in one.ways]
    assert ways == [f"float32:ABCD:holding:{right}"]
    assert found.holds == (printed == "holding: 100")
    if printed in ("holding: 99", "holding: 101"):
        assert found.mapped is not None
        # 0000 4049 and 0FD0 402D: the halves of two numbers
        assert found.mapped.words in ((0, 0x4049), (0x0FD0, 0x402D))
        assert not isinstance(found.mapped.value, str)
        assert abs(found.mapped.value or 0) < 1e-20
