"""Whatever is asked of a simulated meter, it answers validly or stays silent.

A valid reply: unit and function of the request, a checksum that crccheck agrees with, and either an exception
code of AP V1.1b3, 7, or as many bytes as its own byte count says.
"""

import pytest
from crccheck.crc import CrcModbus
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.register_map.model import RegisterMap
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter

EXCEPTIONS = {1, 2, 3, 4, 5, 6, 8, 10, 11}
UNIT = 12

#: Requests near the meter's registers, and anything at all.
near = st.builds(
    lambda function, start, count, rest: bytes((function, 0, start, 0, count)) + rest,
    st.sampled_from([1, 2, 3, 4, 5, 6, 15, 16, 17, 20, 22, 23, 24, 43]),
    st.integers(0, 80),
    st.integers(0, 130),
    st.binary(max_size=24),
)
anything = st.binary(min_size=1, max_size=252)


@pytest.fixture(scope="module")
def meter(meter_map: RegisterMap) -> SimulatedMeter:
    """One meter for all examples: whatever it was asked before must not matter."""
    return SimulatedMeter(meter_map, clock=FakeClock())


def check(meter: SimulatedMeter, unit: int, body: bytes) -> None:
    frame = bytes((unit,)) + body
    frame += CrcModbus.calc(frame).to_bytes(2, "little")
    reply = meter.reply(frame)
    if unit != UNIT:
        assert reply is None
        return
    assert reply is not None
    assert len(reply) <= 256
    assert CrcModbus.calc(reply[:-2]).to_bytes(2, "little") == reply[-2:]
    assert reply[0] == UNIT
    if reply[1] == body[0] | 0x80:
        assert len(reply) == 5
        assert reply[2] in EXCEPTIONS
    else:
        assert reply[1] == body[0]
        if body[0] in (1, 2, 3, 4, 17, 23):
            assert len(reply) == 5 + reply[2]
        elif body[0] in (5, 6, 15, 16):
            assert reply[2:-2] == body[1:5]


@settings(max_examples=400, deadline=None)
@given(bodies=st.lists(near | anything, min_size=1, max_size=5), unit=st.sampled_from([UNIT, UNIT, 0, 13]))
def test_every_intact_request_gets_a_valid_reply_or_silence(
    meter: SimulatedMeter, bodies: list[bytes], unit: int
):
    for body in bodies:
        check(meter, unit, body)


@settings(max_examples=200, deadline=None)
@given(frame=st.binary(max_size=300))
def test_rubbish_is_met_with_silence(meter: SimulatedMeter, frame: bytes):
    if len(frame) < 4 or CrcModbus.calc(frame[:-2]).to_bytes(2, "little") != frame[-2:]:
        assert meter.reply(frame) is None
