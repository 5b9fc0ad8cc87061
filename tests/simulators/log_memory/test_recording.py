"""A meter's memory while time passes: when it records, what it tells of it, and what it is told to do."""

import struct
from types import SimpleNamespace

import numpy as np
import pytest

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.replies import ExceptionReply, Written
from protocols.modbus.requests import ReadRequest, WriteRegisters
from protocols.modbus.tables import Table
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.errors import NotSimulated
from simulators.log_memory import LogOptions, Past

IDLE, RECORDING, ERASE = (0,), (1,), (2,)


def told(logs: SimpleNamespace, meter: SimulatedMeter, address: int, words: int = 1) -> int:
    """A whole number from input registers."""
    reply = logs.ask(meter, ReadRequest(Table.INPUT, address, words))
    return int.from_bytes(struct.pack(f">{words}H", *reply.words), "big")


@pytest.fixture
def sessions_map(logs: SimpleNamespace) -> object:
    return logs.map_of(logs.map_text("window", logs.SESSIONS, after_power_loss="new session"))


def session(logs: SimpleNamespace, meter: SimulatedMeter, entry: int) -> tuple[int, ...]:
    """Start [s], interval [s], records, first number."""
    words = logs.ask(meter, ReadRequest(Table.INPUT, 110 + 7 * entry, 7)).words
    return struct.unpack(">IHII", struct.pack(">7H", *words))


def test_a_record_is_in_the_memory_once_its_interval_is_over(logs: SimpleNamespace, clock: FakeClock) -> None:
    meter = SimulatedMeter(
        logs.map_of(logs.map_text("window", holds="mean")), clock=clock, log=LogOptions(interval=5.0)
    )
    seen = []
    for _ in range(12):
        seen.append(told(logs, meter, 52, 2))
        clock.advance(1)
    assert seen == [0] * 5 + [1] * 5 + [2] * 2
    logs.same_as_truth(logs.retrieve(meter), meter)


def test_a_memory_that_is_full_and_stops_records_no_more(logs: SimpleNamespace, clock: FakeClock) -> None:
    options = LogOptions.prefilled(198, 5.0)
    meter = SimulatedMeter(logs.map_of(logs.map_text("files")), clock=clock, log=options)
    clock.advance(60)
    assert told(logs, meter, 54) == 200
    assert logs.ask(meter, ReadRequest(Table.HOLDING, 80, 1)).words == IDLE
    start = logs.ask(meter, WriteRegisters(80, RECORDING))
    assert start == ExceptionReply(16, ExceptionCode.ILLEGAL_DATA_VALUE), "there is no room"


def test_stop_start_and_erase_are_written_and_read_back(
    logs: SimpleNamespace, clock: FakeClock, sessions_map: object
) -> None:
    meter = SimulatedMeter(sessions_map, clock=clock, log=LogOptions.prefilled(20, 5.0))
    clock.advance(10)
    assert logs.ask(meter, WriteRegisters(80, IDLE)) == Written(80, 1)
    clock.advance(3600.25)
    assert session(logs, meter, 0)[2] == 22
    assert logs.ask(meter, WriteRegisters(80, RECORDING)) == Written(80, 1)
    clock.advance(5.0)
    at = int(clock.utc()) - 4  # a session begins at the next whole second of the meter's clock
    assert session(logs, meter, 1) == (at, 5, 0, 22)
    clock.advance(10.0)
    assert session(logs, meter, 1) == (at, 5, 2, 22)
    assert told(logs, meter, 100) == 2
    assert logs.ask(meter, WriteRegisters(80, ERASE)) == Written(80, 1)
    assert told(logs, meter, 100) == 0
    assert logs.ask(meter, ReadRequest(Table.HOLDING, 80, 1)).words == IDLE
    assert len(meter.log.truth()) == 0
    assert logs.ask(meter, WriteRegisters(80, (7,))) == ExceptionReply(16, ExceptionCode.ILLEGAL_DATA_VALUE)


def test_another_interval_begins_another_session(
    logs: SimpleNamespace, clock: FakeClock, sessions_map: object
) -> None:
    meter = SimulatedMeter(sessions_map, clock=clock, log=LogOptions.prefilled(20, 5.0))
    assert logs.ask(meter, ReadRequest(Table.HOLDING, 30, 1)).words == (5,)
    assert logs.ask(meter, WriteRegisters(30, (60,))) == Written(30, 1)
    clock.advance(180)
    assert [session(logs, meter, i)[1:] for i in (0, 1)] == [(5, 20, 0), (60, 3, 20)]
    logs.same_as_truth(logs.retrieve(meter), meter)


@pytest.mark.parametrize(
    ("after", "sessions", "recording", "records"),
    [("new session", 2, RECORDING, 14), ("stops", 1, IDLE, 12), ("resumes", 1, RECORDING, 14)],
)
def test_after_a_power_loss_the_meter_does_what_its_map_says(
    logs: SimpleNamespace,
    clock: FakeClock,
    after: str,
    sessions: int,
    recording: tuple[int, ...],
    records: int,
) -> None:
    register_map = logs.map_of(logs.map_text("window", logs.SESSIONS, after_power_loss=after))
    meter = SimulatedMeter(register_map, clock=clock, log=LogOptions.prefilled(10, 5.0))
    clock.advance(12)
    meter.log.recorder.cut_supply(12.0, 100.0)
    clock.advance(99)
    assert logs.ask(meter, ReadRequest(Table.INPUT, 100, 1)) is None, "without supply it says nothing"
    clock.advance(12)
    assert told(logs, meter, 100) == sessions
    assert logs.ask(meter, ReadRequest(Table.HOLDING, 80, 1)).words == recording
    assert meter.log.store.next == records
    logs.same_as_truth(logs.retrieve(meter), meter)


def test_sessions_of_the_past_are_listed_with_their_own_intervals(
    logs: SimpleNamespace, clock: FakeClock, sessions_map: object
) -> None:
    now = clock.utc()
    past = (Past(30, 60.0, now - 86_400), Past(7, 1.0), Past(50, 5.0))
    meter = SimulatedMeter(sessions_map, clock=clock, log=LogOptions(past, recording=False))
    assert [session(logs, meter, i) for i in range(3)] == [
        (int(now) - 86_400, 60, 30, 0), (int(now) - 250 - 3600 - 7, 1, 7, 30), (int(now) - 250, 5, 50, 37)
    ]  # fmt: skip
    found = logs.retrieve(meter)
    assert found.numbers == list(range(87))
    assert meter.log.truth().session.tolist() == [0] * 30 + [1] * 7 + [2] * 50


@pytest.mark.parametrize("marked_at", ["start", "end"])
def test_records_without_a_time_are_at_the_sessions_start_and_its_intervals(
    logs: SimpleNamespace, clock: FakeClock, marked_at: str
) -> None:
    flow = "{at: 0, type: uint16, scale: 0.1, unit: m3/h, basis: actual}"
    record = f"  record: {{registers: 1, fields: {{flow: {flow}}}}}\n"
    text = logs.map_text("registers", logs.SESSIONS, record, marked_at=marked_at)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions.prefilled(4, 5.0, recording=False))
    first = 1000 * (int(clock.utc()) - 20) + (5000 if marked_at == "end" else 0)
    truth = meter.log.truth()
    assert (
        truth.time_ms.tolist()
        == truth.meter_ms.tolist()
        == [first, first + 5000, first + 10_000, first + 15_000]
    )


def test_a_clock_that_gains_is_told_as_it_stands_and_the_truth_keeps_both(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    # 20 ppm over nine days are 15.55 s
    nine_days = 9 * 86_400
    options = LogOptions((Past(nine_days // 60, 60.0),), recording=False, clock_ahead=90.0, drift_ppm=20.0)
    ring = logs.map_text("files", capacity=210, when_full="overwrite oldest")
    meter = SimulatedMeter(logs.map_of(ring), clock=clock, log=options)
    clock.advance(nine_days)
    high, low = logs.ask(meter, ReadRequest(Table.HOLDING, 34, 2)).words
    assert (high << 16 | low) - clock.utc() == pytest.approx(90 + 15.552, abs=1)
    truth = meter.log.truth()
    ahead = (truth.meter_ms - truth.time_ms) / 1000
    assert np.abs(ahead - 90).max() < 1.3, "records tell whole seconds"


@pytest.mark.parametrize("oldest", [True, False])
def test_a_rings_sessions_keep_their_extent_where_a_register_tells_the_oldest(
    logs: SimpleNamespace, clock: FakeClock, oldest: bool
) -> None:
    extent = logs.SESSIONS + (logs.EXTENT if oldest else "")
    text = logs.map_text("window", extent, capacity=100, when_full="overwrite oldest")
    past = (
        Past(60, 60.0),
        Past(30, 60.0),
        Past(80, 60.0),
    )  # 170 in all: 70 are gone, all of the first session
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions(past, recording=False))
    assert told(logs, meter, 100) == 2
    told_sessions = [session(logs, meter, i)[2:] for i in (0, 1)]
    assert told_sessions == ([(30, 60), (80, 90)] if oldest else [(20, 70), (80, 90)])
    found = logs.retrieve(meter)
    assert found.numbers == list(range(70, 170))
    logs.same_as_truth(found, meter)


def test_a_full_table_of_sessions_takes_no_other(
    logs: SimpleNamespace, clock: FakeClock, sessions_map: object
) -> None:
    past = tuple(Past(3, 1.0) for _ in range(6))
    meter = SimulatedMeter(sessions_map, clock=clock, log=LogOptions(past, recording=False))
    start = logs.ask(meter, WriteRegisters(80, RECORDING))
    assert start == ExceptionReply(16, ExceptionCode.ILLEGAL_DATA_VALUE)
    assert logs.ask(meter, ReadRequest(Table.INPUT, 110, 42)).words[35:] != (0,) * 7


def test_a_lock_left_open_closes_by_itself_after_five_minutes(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    text = logs.map_text("window", lock="{holding: 90, open: 1, close: 0, busy: 2}")
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions.prefilled(10, recording=False))
    records, busy = ReadRequest(Table.HOLDING, 400, 10), ExceptionReply(3, ExceptionCode.BUSY)
    lock = ReadRequest(Table.HOLDING, 90, 1)
    assert logs.ask(meter, records) == busy
    assert logs.ask(meter, WriteRegisters(90, (1,))) == Written(90, 1)
    clock.advance(299)
    assert len(logs.ask(meter, records).words) == 10
    clock.advance(299)
    assert logs.ask(meter, lock).words == (1,), "reading keeps it open"
    clock.advance(2)
    assert logs.ask(meter, lock).words == (0,)
    assert logs.ask(meter, records) == busy
    assert logs.ask(meter, WriteRegisters(90, (9,))) == ExceptionReply(16, ExceptionCode.ILLEGAL_DATA_VALUE)


def test_a_past_that_does_not_fit_is_refused_in_a_sentence(logs: SimpleNamespace, clock: FakeClock) -> None:
    register_map = logs.map_of(logs.map_text("window"))
    with pytest.raises(NotSimulated, match="holds 200 records and stops when it is full; 201 do not fit"):
        SimulatedMeter(register_map, clock=clock, log=LogOptions.prefilled(201))
    with pytest.raises(NotSimulated, match="records every 1, 5, 60 s, not every 7"):
        SimulatedMeter(register_map, clock=clock, log=LogOptions.prefilled(1, 7.0))


def test_50_000_records_of_the_past_are_there_at_once_and_in_little_memory(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    text = logs.map_text(
        "files: {first_file: 1, records_per_file: 1000}", capacity=50_000, count="{input: 54}"
    )
    text = text.replace(logs.EXTENT, "")
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=LogOptions.prefilled(50_000, recording=False))
    truth = meter.log.truth()
    assert len(truth) == 50_000
    assert meter.log.store.words.nbytes == 50_000 * 16
    flow = truth.values["flow"].data
    assert flow.dtype == np.float64
    assert 46 < flow.min() < 62 < 295 < flow.max() < 314, "the plant's nights and shifts"
