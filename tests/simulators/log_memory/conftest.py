"""Maps with a memory by every way, and a retrieval by the walker over a simulated meter's own frames."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from protocols.log_memory.records import Batch, columns
from protocols.log_memory.walk.reading import Problem
from protocols.log_memory.walk.walker import Walker
from protocols.modbus.crc import with_crc
from protocols.modbus.replies import Reply, read_reply
from protocols.modbus.requests import Request
from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from protocols.values.decode import decode
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter

WAYS = {
    "window": "window: {pointer: {holding: 82, type: uint32}, echo: {holding: 400, type: uint32}, "
    "data: {holding: 402}, records: 5}",
    "function 23": "window: {pointer: {holding: 82, type: uint32}, echo: {holding: 400, type: uint32}, "
    "data: {holding: 402}, records: 5, write_and_read: allowed}",
    "window that moves on": "window: {pointer: {holding: 400, type: uint32}, data: {holding: 402}, "
    "records: 5, advance: by read}",
    "registers": "registers: {input: 1000}",
    "banks": "registers: {input: 1000, bank: {holding: 84}, records_per_bank: 64}",
    "files": "files: {first_file: 3, records_per_file: 70}",
    "files that count records": "files: {first_file: 3, records_per_file: 70, counts: records}",
    "queue": "queue: {address: 600, next_wanted: {holding: 86, type: uint32}}",
    "queue that moves on": "queue: {address: 600, advance: by read}",
}
HEAD = (
    "register_map: 1\nmeter: Mere 7 meter\nserial: {unit_address: 7}\n"
    "wire: {bridge: 4, registers_per_read: 48}\n"
    "settings:\n  log_interval: {holding: 30, type: uint16, unit: s, steps: [1, 5, 60], write: allowed}\n"
    "  clock: {holding: 34, type: unix time, write: allowed}\n"
)
EXTENT = "  oldest: {input: 50, type: uint32}\n  next: {input: 52, type: uint32}\n  count: {input: 54}\n"
SESSIONS = (
    "  sessions:\n    count: {input: 100}\n    table: {input: 110, registers: 7}\n    most: 6\n    fields:\n"
    "      started: {at: 0, type: unix time}\n      interval: {at: 2, type: uint16, unit: s}\n"
    "      records: {at: 3, type: uint32}\n      first: {at: 5, type: uint32}\n"
)
RECORDING = (
    "  recording: {holding: 80, type: uint16, codes: {0: idle, 1: recording, 2: erase}, write: allowed}\n"
)
RECORD = (
    "  record:\n    registers: 8\n    fields:\n      number: {at: 0, type: uint32}\n"
    "      time: {at: 2, type: unix time}\n"
    "      flow: {at: 4, type: float32, unit: m3/h, basis: actual}\n"
    "      pressure: {at: 6, type: uint16, scale: 0.001, unit: bar, gauge: true}\n"
    "      check: {at: 7, type: crc16}\n"
)


def map_text(
    way: str, extent: str = EXTENT, record: str = RECORD, capacity: int = 200, head: str = HEAD, **more: str
) -> str:
    extra = "".join(f"  {key}: {value}\n" for key, value in more.items())
    return (
        f"{head}log_memory:\n  capacity: {capacity}\n{extra}{RECORDING}{extent}{record}"
        f"  reached_by:\n    {WAYS.get(way, way)}\n"
    )


@lru_cache
def map_of(text: str) -> RegisterMap:
    parsed = parse_map(text.encode(), "memory.yaml")
    assert parsed.map is not None, "\n".join(map(str, parsed.faults))
    return parsed.map


def ask(meter: SimulatedMeter, request: Request) -> Reply | None:
    """What the meter's frame says to a request."""
    frame = meter.reply(with_crc(bytes((meter.unit_address,)) + request.pdu()))
    return None if frame is None else read_reply(request, meter.unit_address, frame)


@dataclass
class Retrieval:
    """What a walker made of a meter's memory."""

    walker: Walker
    batches: Sequence[Batch]
    problems: Sequence[Problem]
    requests: int

    @property
    def numbers(self) -> list[int]:
        return [int(number) for batch in self.batches for number in batch.numbers]

    def values(self, name: str) -> list[Any]:
        memory = self.walker.memory
        field = memory.record.field(name)
        assert field is not None
        words = np.concatenate([batch.words for batch in self.batches])
        found = decode(field, columns(words[:, : memory.record.registers]))
        return [v if ok else None for v, ok in zip(found.data.tolist(), found.available, strict=True)]


def retrieve(
    meter: SimulatedMeter,
    *,
    known: Sequence[Any] = (),
    reread: Sequence[Any] = (),
    between: Callable[[Request], None] = lambda request: None,
    width: int | None = None,
) -> Retrieval:
    """Everything the walker gets of the meter's memory; `between` is called before every request."""
    memory = meter.register_map.log_memory
    assert memory is not None
    walker = Walker(memory, meter.register_map.wire, known, reread)
    if width is not None:
        walker.records_per_read = width
    batches: list[Batch] = []
    problems: list[Problem] = []
    requests = 0
    while (step := walker.next()) is not None:
        between(step.request)
        taken = walker.take(ask(meter, step.request))
        batches += taken.batches
        problems += taken.problems
        requests += 1
        assert requests < 5000, "the walk does not end"
    return Retrieval(walker, batches, problems, requests)


def same_as_truth(found: Retrieval, meter: SimulatedMeter) -> None:
    """Every record the memory holds was found once, in order, with its values, and nothing else."""
    assert meter.log is not None
    truth = meter.log.truth()
    assert found.numbers == truth.number.tolist()
    for name, told in truth.values.items():
        wanted = [v if ok else None for v, ok in zip(told.data.tolist(), told.available, strict=True)]
        assert found.values(name) == wanted, name


@pytest.fixture(scope="session")
def logs() -> SimpleNamespace:
    """Everything above, for tests that cannot import it."""
    return SimpleNamespace(
        map_text=map_text, map_of=map_of, ask=ask, retrieve=retrieve, same_as_truth=same_as_truth,
        ways=tuple(WAYS), EXTENT=EXTENT, SESSIONS=SESSIONS, RECORD=RECORD, HEAD=HEAD,
    )  # fmt: skip


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()
