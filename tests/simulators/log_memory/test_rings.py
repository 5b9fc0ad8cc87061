"""Rings that go on while they are read, and any faults in any order: nothing mixed, nothing twice."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.log_memory.walk.reading import Cause
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions, Past
from simulators.plant import PlantValues

TIMED = (
    "  record:\n    registers: 4\n    fields:\n      time: {at: 0, type: unix time}\n"
    "      flow: {at: 2, type: float32, unit: m3/h, basis: actual}\n"
)
NUMBERED = (
    "  record:\n    registers: 4\n    fields:\n      number: {at: 0, type: uint32}\n"
    "      flow: {at: 2, type: float32, unit: m3/h, basis: actual}\n"
)
WAYS = ("window", "function 23", "window that moves on", "registers", "files", "queue")


def settled(found: Any) -> dict[int, float]:
    """Flow by record number; only a record whose interval was running still may come again."""
    flows: dict[int, float] = {}
    running: set[int] = set()
    values = iter(found.values("flow"))
    for batch in found.batches:
        for number, open_ in zip(batch.numbers.tolist(), batch.unfinished.tolist(), strict=True):
            assert number not in flows or number in running, f"record {number} came twice"
            flows[number] = next(values)
            (running.add if open_ else running.discard)(number)
    assert list(flows) == sorted(flows)
    return flows


def recorded(meter: SimulatedMeter, numbers: range, every: float) -> list[float]:
    """The flow that records with these numbers were given: of the plant, over their own interval."""
    from protocols.register_map.model import RegisterMap
    from simulators.plant.series import means

    assert isinstance(meter.register_map, RegisterMap)
    assert meter.register_map.log_memory is not None
    flow = meter.register_map.log_memory.record.field("flow")
    recorder = meter.log.recorder
    session = meter.log.store.sessions[0]
    starts = recorder.clock.switched_on + session.begun + np.array(numbers) * every
    found = means(PlantValues(), flow, "m3/h", starts, starts + every)
    return np.array(found, np.float32).astype(float).tolist()


@pytest.mark.parametrize("record", [TIMED, NUMBERED], ids=["timed", "numbered"])
@pytest.mark.parametrize("way", WAYS)
def test_a_full_ring_of_16_that_writes_a_record_every_700_ms_while_a_read_takes_300_ms(
    logs: SimpleNamespace, clock: FakeClock, way: str, record: str
) -> None:
    """No record half old and half new, order right, and what was overwritten before it was read is stated."""
    interval = "  log_interval: {holding: 30, type: uint16, unit: s, steps: [1, 5, 60], write: allowed}\n"
    head = logs.HEAD.replace(interval, "")
    text = logs.map_text(
        way, record=record, capacity=16, when_full="overwrite oldest", holds="mean", head=head
    )
    options = LogOptions.prefilled(40, 0.7, faults="halves 50")
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    found = logs.retrieve(meter, between=lambda _: clock.advance(0.3))
    flows = settled(found)
    truth = recorded(meter, range(max(flows) + 1), 0.7)
    assert flows == pytest.approx({number: truth[number] for number in flows}, rel=1e-6)
    gaps = [n for gap in found.walker.statement().gaps for n in range(gap.first, gap.last + 1)]
    assert {gap.cause for gap in found.walker.statement().gaps} <= {Cause.OVERWRITTEN}
    assert sorted([*flows, *gaps]) == list(range(24, max(flows) + 1))


FAULTS = st.sampled_from([
    "pointer ignored", "pointer moves 3", "window lags 1", "window lags 3", "reply lost", "busy x2",
    "refused 4",
])  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    way=st.sampled_from(("window", "function 23", "queue", "banks")),
    faults=st.lists(st.tuples(FAULTS, st.integers(0, 99)), max_size=6),
    step=st.floats(0, 0.4),
    ring=st.booleans(),
)
def test_any_faults_in_any_order_bring_no_wrong_record(
    logs: SimpleNamespace, way: str, faults: list[tuple[str, int]], step: float, ring: bool
) -> None:
    clock = FakeClock()
    more = {"when_full": "overwrite oldest"} if ring else {}
    text = logs.map_text(way, record=NUMBERED, capacity=128, holds="mean", **more)
    plan = "; ".join(f"{fault} at {at}" for fault, at in faults)
    options = LogOptions((Past(100, 5.0),), faults=plan)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    found = logs.retrieve(meter, between=lambda _: clock.advance(step))
    flows = settled(found)
    truth = recorded(meter, range(meter.log.store.next), 5.0)
    assert flows == pytest.approx({number: truth[number] for number in flows}, rel=1e-6)
    gaps = [n for gap in found.walker.statement().gaps for n in range(gap.first, gap.last + 1)]
    assert not set(gaps) & set(flows)
    assert set(range(100)) <= set(gaps) | set(flows)
