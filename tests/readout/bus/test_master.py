"""The library and our own codec: the same bytes out, the same values in, by its documented calls only."""

import re
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.modbus.replies import Bits, Registers, Written
from protocols.modbus.requests import (
    ReadQueue,
    ReadRequest,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from readout.bus.master import REQUESTS_KEPT, Master

START = st.integers(0, 60000)
WORDS = st.lists(st.integers(0, 65535), min_size=1, max_size=123).map(tuple)
BITS = st.lists(st.booleans(), min_size=1, max_size=1968).map(tuple)
REQUESTS = st.one_of(
    st.builds(ReadRequest, st.sampled_from([Table.HOLDING, Table.INPUT]), START, st.integers(1, 125)),
    st.builds(ReadRequest, st.sampled_from([Table.COIL, Table.DISCRETE]), START, st.integers(1, 2000)),
    st.builds(WriteCoil, START, on=st.booleans()),
    st.builds(WriteRegister, START, st.integers(0, 65535)),
    st.builds(WriteCoils, START, BITS),
    st.builds(WriteRegisters, START, WORDS),
)


@given(REQUESTS, st.integers(1, 247))
def test_both_build_the_same_request(request_: Request, unit: int) -> None:
    assert Master().frame(unit, request_) == request_.frame(unit)


@given(st.one_of(st.builds(WriteCoil, START, on=st.booleans()), st.builds(WriteRegisters, START, WORDS)))
def test_both_build_the_same_order_to_all(request_: Request) -> None:
    assert Master().frame(0, request_) == request_.frame(0)


# Frames of MODBUS Application Protocol V1.1b3, 6.1 to 6.12 with unit 01, checksums by crccheck 1.3.1.
GOOD = [
    (ReadRequest(Table.COIL, 0x13, 3), "01 01 01 05 91 8B", Bits((True, False, True))),
    (ReadRequest(Table.HOLDING, 0x6B, 3), "01 03 06 02 2B 00 00 00 64 05 7A", Registers((555, 0, 100))),
    (ReadRequest(Table.INPUT, 8, 1), "01 04 02 00 0A 39 37", Registers((10,))),
    (WriteCoil(0xAC, on=True), "01 05 00 AC FF 00 4C 1B", Written(0xAC, 1)),
    (WriteRegister(1, 3), "01 06 00 01 00 03 98 0B", Written(1, 1)),
    (WriteRegisters(1, (10, 258)), "01 10 00 01 00 02 10 08", Written(1, 2)),
]  # fmt: skip


@pytest.mark.parametrize(("request_", "frame", "reply"), GOOD)
def test_both_read_the_same(request_: Request, frame: str, reply: object) -> None:
    assert Master().agrees(1, request_, bytes.fromhex(frame), reply)


@pytest.mark.parametrize(("request_", "frame", "reply"), GOOD)
def test_a_flipped_bit_or_another_unit_is_not_agreed_to(request_: Request, frame: str, reply: object) -> None:
    master, data = Master(), bytes.fromhex(frame)
    assert not master.agrees(2, request_, data, reply)
    assert not master.agrees(1, request_, data[:-1] + bytes((data[-1] ^ 1,)), reply)


def test_other_values_than_the_library_reads_are_not_agreed_to() -> None:
    frame = bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")
    assert not Master().agrees(1, ReadRequest(Table.HOLDING, 0x6B, 3), frame, Registers((555, 0, 101)))


def test_functions_the_library_does_not_know_are_built_by_ours() -> None:
    assert Master().frame(1, ReadQueue(0x04DE)) == bytes.fromhex("01 18 04 DE 03 47")


def test_requests_are_kept_ready_but_not_without_end() -> None:
    master = Master()
    kept = {master.frame(1, ReadRequest(Table.HOLDING, start, 1)) for start in range(REQUESTS_KEPT + 50)}
    assert len(kept) == REQUESTS_KEPT + 50
    begun = time.perf_counter()
    for _ in range(1000):
        master.frame(1, ReadRequest(Table.HOLDING, REQUESTS_KEPT, 1))
    assert time.perf_counter() - begun < 0.1  # built anew, each takes 70 µs and more


def test_nothing_private_of_the_library_is_touched() -> None:
    root = Path(__file__).parents[3]
    rooms = [root / name for name in ("protocols", "storage", "simulators", "readout", "tests", "bench")]
    sources = [path for room in rooms for path in room.rglob("*.py")]
    assert len(sources) > 20
    private = re.compile(r"minimalmodbus\." + r"_\w")
    assert [path for path in sources if private.search(path.read_text(encoding="utf-8"))] == []
