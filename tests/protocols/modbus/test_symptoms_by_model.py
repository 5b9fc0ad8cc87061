"""Any reply over a wrongly set line is named rightly: a line of its own, sampled bit by bit, makes the bytes.

The wire is a row of levels in 1/240 of the meter's bits; the receiver waits for a falling edge, confirms the
start bit at its middle and samples the middle of each further bit (MODBUS over Serial Line V1.02, 2.5.1; how
a UART samples, from memory). Nothing of it is shared with the code under test.
"""

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.modbus.replies import Registers
from protocols.modbus.requests import ReadRequest
from protocols.modbus.server import reply_frame
from protocols.modbus.symptoms import Kind, classify
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat

FINE = 240
"""Divisions of a meter's bit."""


def levels(frame: bytes, parity: str, stop_bits: int) -> list[int]:
    """One level per meter bit, the line at rest (high) for some characters before and behind."""
    row = [1] * 30
    for byte in frame:
        data = [byte >> place & 1 for place in range(8)]
        check = {"none": [], "even": [sum(data) % 2], "odd": [1 - sum(data) % 2]}[parity]
        row += [0, *data, *check, *[1] * stop_bits]
    return row + [1] * 60


def heard(row: Sequence[int], meter: int, host: SerialFormat, broken: str, drift: float) -> bytes:
    """What a receiver at `host` makes of the levels; `broken`: keep or zero characters without a stop bit."""
    bit = FINE * meter / host.baud_rate * drift
    window = 1 + host.data_bits + (host.parity != "none")

    def level(at: float) -> int:
        place = int(at // FINE)
        return row[place] if place < len(row) else row[-1]

    found, at = bytearray(), 0.0
    while at < len(row) * FINE:
        if level(at) == 1 or level(at + bit / 2) == 1:
            at = (at // FINE + 1) * FINE  # levels change only on the meter's grid
            continue
        value = sum(level(at + (1.5 + place) * bit) << place for place in range(host.data_bits))
        stop = level(at + (window + 0.5) * bit)
        found.append(value if stop or broken == "keep" else 0)
        at += (window + 1) * bit if stop == 0 else (window + 0.5) * bit
    return bytes(found)


WORDS = st.lists(st.integers(1, 0xFFFF), min_size=2, max_size=12)
UNITS = st.integers(1, 247)


def asked(unit: int, words: list[int]) -> tuple[bytes, bytes]:
    request = ReadRequest(Table.HOLDING, 16, len(words))
    return request.frame(unit), reply_frame(unit, request, Registers(tuple(words)))


@given(UNITS, WORDS, st.sampled_from([(19200, 9600), (38400, 9600), (57600, 19200), (115200, 57600)]))
@settings(max_examples=30, deadline=None)
@pytest.mark.parametrize(("parity", "stop_bits"), [("none", 1), ("even", 1), ("none", 2)])
def test_a_meter_slower_than_the_computer(
    parity: str, stop_bits: int, unit: int, words: list[int], rates: tuple[int, int]
) -> None:
    host, meter = rates
    request, reply = asked(unit, words)
    fmt = SerialFormat(host, "none")
    came = heard(levels(reply, parity, stop_bits), meter, fmt, "keep", 1.003)
    symptom = classify(request, came, fmt)
    assert (symptom.kind, symptom.baud_rate) == (Kind.HOST_FASTER, meter)


@given(UNITS, WORDS)
@settings(max_examples=30, deadline=None)
def test_a_meter_faster_than_the_computer_is_named_so_or_not_at_all(unit: int, words: list[int]) -> None:
    request, reply = asked(unit, words)
    fmt = SerialFormat(4800, "none")
    came = heard(levels(reply, "none", 1), 9600, fmt, "keep", 1.003)
    symptom = classify(request, came, fmt)
    assert symptom.kind in (Kind.HOST_SLOWER, Kind.GARBAGE)
    assert symptom.baud_rate != 4800


def test_many_replies_of_a_meter_twice_as_fast_are_named_so() -> None:
    """Of two bits of the meter one is looked at, so that not every reply tells enough."""
    fmt = SerialFormat(9600, "none")
    named = 0
    for unit in range(1, 248):
        request, reply = asked(unit, [unit * 251 % 65536, 4660, unit])
        came = heard(levels(reply, "none", 1), 19200, fmt, "keep", 1.003)
        named += classify(request, came, fmt).kind is Kind.HOST_SLOWER
    assert named >= 80


@given(UNITS, WORDS)
@settings(max_examples=30, deadline=None)
def test_swapped_wires(unit: int, words: list[int]) -> None:
    request, reply = asked(unit, words)
    fmt = SerialFormat(9600, "none")
    mirrored = [1 - level for level in levels(reply, "none", 1)]
    resting = mirrored.index(
        1
    )  # the resting line gives zeros of its own; listening starts just before the reply
    came = heard([1, *mirrored[resting - 3 :]], 9600, fmt, "keep", 1.003)
    assert classify(request, came, fmt).kind is Kind.SWAPPED


@given(UNITS, WORDS)
@settings(max_examples=30, deadline=None)
@pytest.mark.parametrize("parity", ["even", "odd"])
def test_a_parity_bit_where_a_stop_bit_is_expected(parity: str, unit: int, words: list[int]) -> None:
    request, reply = asked(unit, words)
    fmt = SerialFormat(9600, "none")
    high = 1 if parity == "even" else 0
    came = bytes(byte if byte.bit_count() % 2 == high else 0 for byte in reply)
    symptom = classify(request, came, fmt)
    if not any(came):  # zeros throughout are what a line gives that is stuck low, too
        assert symptom.kind in (Kind.PARITY, Kind.STUCK)
        return
    if came[:3] == reply[:3] or sum(was != now for was, now in zip(reply, came, strict=True)) < 2:
        assert symptom.kind is not Kind.PARITY or symptom.advice[0].startswith("9600 8")
        return  # one byte at most is missing where it is known what to expect: that may be any fault
    assert symptom.kind is Kind.PARITY
    assert symptom.advice[0] == f"9600 8{parity[0].upper()}1"


@given(UNITS, WORDS)
@settings(max_examples=30, deadline=None)
def test_a_healthy_line_is_never_blamed(unit: int, words: list[int]) -> None:
    request, reply = asked(unit, words)
    for fmt in (SerialFormat(9600, "none"), SerialFormat(19200, "even")):
        came = heard(levels(reply, fmt.parity, 1), fmt.baud_rate, fmt, "keep", 1.003)
        assert classify(request, came, fmt).kind is Kind.ANSWER


def test_a_long_reply_over_a_slow_meter_is_named_within_two_seconds() -> None:
    import time

    request, reply = asked(17, [place * 523 % 65536 for place in range(125)])
    fmt = SerialFormat(19200, "none")
    came = heard(levels(reply, "none", 1), 9600, fmt, "keep", 1.003)
    begun = time.perf_counter()
    assert classify(request, came, fmt).kind is Kind.HOST_FASTER
    assert time.perf_counter() - begun < 2
