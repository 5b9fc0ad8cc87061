"""Whatever is sent to a meter with a memory, it answers as Modbus says and never falls over."""

from types import SimpleNamespace

from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.modbus.crc import fits, with_crc
from protocols.modbus.requests import (
    FilePart,
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    ReadWriteRegisters,
    Request,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions

WAYS = ("window", "function 23", "window that moves on", "banks", "files", "queue", "queue that moves on")
LOCK = "{holding: 90, open: 1, close: 0, busy: 2}"
PLACES = st.sampled_from((30, 34, 50, 80, 82, 84, 86, 90, 100, 110, 400, 402, 600, 1000, 1500, 60000))
WORDS = st.one_of(st.sampled_from((0, 1, 2, 60, 0xFFFF)), st.integers(0, 0xFFFF))
COUNTS = st.integers(1, 125)


def written(most: int) -> st.SearchStrategy[tuple[int, ...]]:
    return st.lists(WORDS, min_size=1, max_size=most).map(tuple)


PARTS = st.builds(FilePart, st.integers(1, 9), st.integers(0, 800), st.integers(1, 35))
REQUESTS: st.SearchStrategy[Request] = st.one_of(
    st.builds(ReadRequest, st.sampled_from((Table.INPUT, Table.HOLDING)), PLACES, COUNTS),
    st.builds(WriteRegister, PLACES, WORDS),
    st.builds(WriteRegisters, PLACES, written(4)),
    st.builds(ReadWriteRegisters, PLACES, COUNTS, PLACES, written(4)),
    st.builds(ReadQueue, PLACES),
    st.lists(PARTS, min_size=1, max_size=3).map(lambda parts: ReadFileRecords(tuple(parts))),
)


@settings(max_examples=50, deadline=None)
@given(
    way=st.sampled_from(WAYS),
    requests=st.lists(st.tuples(REQUESTS, st.floats(0, 700)), max_size=25),
    ring=st.booleans(),
    locked=st.booleans(),
)
def test_any_requests_in_any_order_are_answered_and_the_memory_stays_whole(
    logs: SimpleNamespace, way: str, requests: list[tuple[Request, float]], ring: bool, locked: bool
) -> None:
    more = {"lock": LOCK} if locked else {}
    more |= {"when_full": "overwrite oldest"} if ring else {}
    clock = FakeClock()
    meter = SimulatedMeter(
        logs.map_of(logs.map_text(way, **more)), clock=clock, log=LogOptions.prefilled(150, 5.0)
    )
    for request, wait in requests:
        clock.advance(wait)
        frame = with_crc(bytes((meter.unit_address,)) + request.pdu())
        reply = meter.reply(frame)
        assert reply is not None
        assert fits(reply)
        assert reply[:2] in (frame[:2], bytes((frame[0], frame[1] | 0x80)))
        assert reply[1] == frame[1] or reply[2] in (1, 2, 3, 6)
    numbers = meter.log.truth().number.tolist()
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers))) if numbers else True
    assert meter.log.store.held <= 200
    clock.advance(301)  # a lock left open closes
    found = logs.retrieve(meter)
    assert {int(n) for n in found.numbers} <= set(meter.log.truth().number.tolist())
