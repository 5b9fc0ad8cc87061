"""Each memory fault as it shows on the wire, and that a reader which proves every window gets through it."""

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from protocols.log_memory.times import SessionClock, times_told
from protocols.log_memory.walk.account import Known
from protocols.log_memory.walk.reading import Cause
from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.replies import ExceptionReply, Written
from protocols.modbus.requests import ReadQueue, ReadRequest, WriteRegisters
from protocols.modbus.tables import Table
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.log_memory import LogOptions, Past
from simulators.log_memory.faults.kinds import Fault

PLAIN = (  # no number and no check: nothing but the window's echo proves where a record belongs
    "  record:\n    registers: 4\n    fields:\n      time: {at: 0, type: unix time}\n"
    "      flow: {at: 2, type: float32, unit: m3/h, basis: actual}\n"
)


def metered(
    logs: SimpleNamespace, clock: FakeClock, faults: str, way: str = "window", records: int = 60, **more: Any
) -> SimulatedMeter:
    """60 records of the past, one every 5 s, and these faults."""
    options = LogOptions.prefilled(records, 5.0, recording=False, faults=faults)
    return SimulatedMeter(logs.map_of(logs.map_text(way, **more)), clock=clock, log=options)


def point(number: int) -> WriteRegisters:
    return WriteRegisters(82, (0, number))


ECHO = ReadRequest(Table.HOLDING, 400, 2)


def test_a_pointer_that_is_ignored_stays_where_it_stood(logs: SimpleNamespace, clock: FakeClock) -> None:
    meter = metered(logs, clock, "pointer ignored at 22")
    assert logs.ask(meter, point(20)) == Written(82, 2)
    assert logs.ask(meter, ECHO).words == (0, 0), "confirmed all the same"
    assert logs.ask(meter, point(20)) == Written(82, 2)
    assert logs.ask(meter, ECHO).words == (0, 20)


def test_a_window_that_lags_shows_where_it_stood_before(logs: SimpleNamespace, clock: FakeClock) -> None:
    meter = metered(logs, clock, "window lags 2 at 30")
    logs.ask(meter, point(10))
    logs.ask(meter, point(30))
    window = ReadRequest(Table.HOLDING, 400, 10)  # the echo, and the first record, which tells its number
    shown = [logs.ask(meter, window).words[:4] for _ in range(3)]
    assert shown == [(0, 10, 0, 10), (0, 10, 0, 10), (0, 30, 0, 30)]


def test_another_master_moves_the_pointer_between_write_and_read(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = metered(logs, clock, "pointer moves 5 at 20")
    logs.ask(meter, point(20))
    records = ReadRequest(Table.HOLDING, 402, 8)
    assert logs.ask(meter, records).words[:2] == (0, 25)
    assert logs.ask(meter, ECHO).words == (0, 25)


@pytest.mark.parametrize("record", ["numbered", "plain"])
@pytest.mark.parametrize("way", ["window", "function 23", "window that moves on"])
@pytest.mark.parametrize(
    "faults",
    [
        "pointer ignored at 22", "pointer ignored x3 at 22", "window lags 2 at 30", "window lags 1 x4",
        "pointer moves 5 at 20", "pointer moves 40 at 3", "reply lost at 17; reply lost at 40",
        "busy x3 at 33",
    ],
)  # fmt: skip
def test_a_window_that_is_not_the_one_asked_for_costs_time_and_no_record(
    logs: SimpleNamespace, clock: FakeClock, way: str, faults: str, record: str
) -> None:
    more = {"record": PLAIN} if record == "plain" else {}
    meter = metered(logs, clock, faults, way, **more)
    logs.same_as_truth(logs.retrieve(meter), meter)
    asked_once = way == "window that moves on" and "busy" not in faults and "lost" not in faults
    assert meter.log.faults.played or asked_once, "a window that moves on is pointed only once"


@pytest.mark.parametrize("way", ["window that moves on", "queue that moves on"])
def test_what_does_not_move_on_brings_no_record_twice(
    logs: SimpleNamespace, clock: FakeClock, way: str
) -> None:
    meter = metered(logs, clock, "repeats at 21", way)
    logs.same_as_truth(logs.retrieve(meter), meter)
    assert meter.log.faults.played[Fault.REPEATS] == 1


def test_a_lost_reply_of_a_queue_that_moves_on_is_a_gap_of_what_it_held(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = metered(logs, clock, "reply lost at 31", "queue that moves on")
    found = logs.retrieve(meter)
    assert found.numbers == [n for n in range(60) if n not in (30, 31, 32)]
    (gap,) = found.walker.statement().gaps
    assert (gap.first, gap.last, gap.cause) == (30, 32, Cause.LOST)


def test_busy_and_refused_are_exceptions_on_any_read_with_that_record(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = metered(logs, clock, "busy x2 at 3; refused 8 x* at 12")
    records = ReadRequest(Table.HOLDING, 402, 32)
    assert [logs.ask(meter, records) for _ in range(2)] == [ExceptionReply(3, ExceptionCode.BUSY)] * 2
    assert len(logs.ask(meter, records).words) == 32
    found = logs.retrieve(meter)
    assert found.numbers == [n for n in range(60) if n != 12]
    assert [(gap.first, gap.last) for gap in found.walker.statement().gaps] == [(12, 12)]


def test_a_value_that_comes_wrong_once_shows_when_it_is_read_again(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = metered(logs, clock, "other value at 41")
    first = logs.retrieve(meter)
    truth = meter.log.truth().values["flow"].data
    wrong = [n for n, (a, b) in enumerate(zip(first.values("flow"), truth, strict=True)) if a != b]
    assert wrong == [41]
    assert all(batch.fits.all() for batch in first.batches), "the check was made to fit"
    again = logs.retrieve(meter, known=(Known(None, (range(60),)),), reread=(Known(None, (range(60),)),))
    assert again.values("flow") == truth.tolist()


def test_a_damaged_check_stays_damaged(logs: SimpleNamespace, clock: FakeClock) -> None:
    meter = metered(logs, clock, "damaged check at 9")
    for _ in range(2):
        found = logs.retrieve(meter)
        assert [int(n) for b in found.batches for n in b.numbers[~b.fits]] == [9]


def test_dummy_records_are_none_and_their_numbers_are_missing(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    record = logs.RECORD.replace("registers: 8\n", "registers: 8\n    empty: [all ones]\n")
    meter = metered(logs, clock, "dummy at 0; dummy at 7", record=record)
    found = logs.retrieve(meter)
    assert found.numbers == [n for n in range(60) if n not in (0, 7)] == meter.log.truth().number.tolist()
    assert found.walker.statement().dummies == 2


def test_a_memory_erased_while_it_is_read_is_empty_from_then_on(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = metered(logs, clock, "erased at 30")
    found = logs.retrieve(meter)
    assert found.numbers[:30] == list(range(30))
    assert len(meter.log.truth()) == 0
    assert logs.retrieve(meter).numbers == []


def test_a_memory_that_another_master_takes_is_busy_until_it_lets_go(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    lock = "{holding: 90, open: 1, close: 0, busy: 2}"
    meter = metered(logs, clock, "locked 300 at 30", lock=lock)
    found = logs.retrieve(meter)
    assert found.numbers == list(range(30))
    assert found.walker.statement().ended is not None
    register = ReadRequest(Table.HOLDING, 90, 1)
    assert logs.ask(meter, register).words == (2,)
    assert logs.ask(meter, WriteRegisters(90, (1,))) == ExceptionReply(16, ExceptionCode.BUSY)
    clock.advance(301)
    assert logs.ask(meter, register).words == (0,)
    logs.same_as_truth(logs.retrieve(meter), meter)


def test_records_of_another_width_are_told_of_and_end_the_retrieval(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    record = logs.RECORD.replace("registers: 8\n", "registers: {register: {input: 60}}\n")
    meter = metered(logs, clock, "layout 10 at 40", record=record)
    found = logs.retrieve(meter)
    assert logs.ask(meter, ReadRequest(Table.INPUT, 60, 1)).words == (10,)
    wanted = meter.log.truth().values["pressure"].data.tolist()
    assert found.values("pressure") == wanted[: len(found.numbers)], "no shifted column"
    assert len(found.numbers) == 40


def test_a_supply_cut_in_the_middle_of_a_retrieval_is_silence(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    meter = metered(logs, clock, "supply cut 30 at 20")
    found = logs.retrieve(meter, between=lambda _: clock.advance(1))
    assert meter.log.faults.played[Fault.SUPPLY_CUT] == 1
    known = Known(None, tuple(range(n, n + 1) for n in found.numbers))
    clock.advance(30)
    rest = logs.retrieve(meter, known=(known,))
    assert sorted(found.numbers + rest.numbers) == list(range(60))


def test_october_night_and_a_year_2000_reset(logs: SimpleNamespace, clock: FakeClock) -> None:
    """The IANA zone's double hour of 2024-10-27 in Berlin; records every half hour, a reset, then right."""
    start = datetime(2024, 10, 26, 23, 30, tzinfo=UTC).timestamp()
    options = LogOptions(
        (Past(8, 1800.0, start),), recording=False, site="Europe/Berlin",
        faults="clock reset 2000 at 6; clock right at 7",
    )  # fmt: skip
    text = logs.map_text("window", clock="{zone: site}", holds="sample", marked_at="start")
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    shown = [datetime.fromtimestamp(ms / 1000, UTC) for ms in logs.retrieve(meter).values("time")]
    assert [f"{moment:%Y-%m-%d %H:%M}" for moment in shown] == [
        "2024-10-27 01:30", "2024-10-27 02:00", "2024-10-27 02:30", "2024-10-27 02:00", "2024-10-27 02:30",
        "2024-10-27 03:00", "2000-01-01 00:00", "2024-10-27 04:00",
    ]  # fmt: skip
    assert meter.log.truth().time_ms.tolist() == [int((start + 1800 * n) * 1000) for n in range(8)]


@pytest.mark.parametrize("seconds", [3600, -7200])
def test_a_clock_that_was_set_steps_there_and_nowhere_else(
    logs: SimpleNamespace, clock: FakeClock, seconds: int
) -> None:
    meter = metered(logs, clock, f"clock step {seconds} at 20")
    truth = meter.log.truth()
    ahead = (truth.meter_ms - truth.time_ms) // 1000
    assert ahead.tolist() == [0] * 20 + [seconds] * 40
    high, low = logs.ask(meter, ReadRequest(Table.HOLDING, 34, 2)).words
    assert (high << 16 | low) - int(clock.utc()) == seconds


def test_digits_that_are_no_time(logs: SimpleNamespace, clock: FakeClock) -> None:
    record = (
        "  record:\n    registers: 6\n    fields:\n      number: {at: 0, type: uint16}\n"
        "      time: {at: 1, type: calendar, layout: [minute/second, day/hour, year/month], coding: bcd}\n"
        "      flow: {at: 4, type: uint16, scale: 0.1, unit: m3/h, basis: actual}\n"
        "      check: {at: 5, type: crc16}\n"
    )
    meter = metered(logs, clock, "invalid time at 5", record=record)
    found = logs.retrieve(meter)
    assert [n for n, moment in zip(found.numbers, found.values("time"), strict=True) if moment is None] == [5]
    assert all(batch.fits.all() for batch in found.batches), "the record's check fits"
    assert meter.log.truth().has_time.tolist() == [n != 5 for n in range(60)]


def test_a_record_is_half_old_and_half_new_while_the_ring_writes_it(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    options = LogOptions.prefilled(16, 1.0, faults="halves 50")
    text = logs.map_text("registers", capacity=16, when_full="overwrite oldest", record=PLAIN)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    first = ReadRequest(Table.INPUT, 1000, 4)
    old = logs.ask(meter, first).words
    clock.advance(1.02)
    mixed = logs.ask(meter, first).words
    clock.advance(0.05)
    new = logs.ask(meter, first).words
    assert old[:2] != new[:2]
    assert mixed == (*new[:2], *old[2:])


def test_records_cannot_be_read_while_one_is_written(logs: SimpleNamespace, clock: FakeClock) -> None:
    options = LogOptions.prefilled(16, 1.0, faults="busy while writing 300")
    meter = SimulatedMeter(logs.map_of(logs.map_text("registers")), clock=clock, log=options)
    refused = []
    for _ in range(20):
        clock.advance(0.1)
        reply = logs.ask(meter, ReadRequest(Table.INPUT, 1000, 4))
        refused.append(reply == ExceptionReply(4, ExceptionCode.BUSY))
    assert refused == [n % 10 < 3 for n in range(1, 21)]
    assert logs.ask(meter, ReadRequest(Table.INPUT, 54, 1)).words == (18,), "the extent is told all the time"
    found = logs.retrieve(meter, between=lambda _: clock.advance(0.13))
    assert sorted(set(found.numbers)) == list(range(max(found.numbers) + 1))


def test_the_record_of_the_running_interval_grows_until_it_is_over(
    logs: SimpleNamespace, clock: FakeClock
) -> None:
    record = "  record: {registers: 2, fields: {volume: {at: 0, type: uint32, scale: 0.001, unit: m3}}}\n"
    text = logs.map_text("registers", record=record, holds="total", marked_at="end")
    options = LogOptions.prefilled(3, 60.0, faults="running record")
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    newest, volumes = ReadRequest(Table.INPUT, 1006, 2), []
    for _ in range(5):
        clock.advance(20)
        volumes.append(logs.ask(meter, newest).words[1])
    assert volumes == sorted(volumes)
    assert volumes[0] < volumes[1] < volumes[2] == volumes[3] == volumes[4]
    assert logs.ask(meter, ReadRequest(Table.INPUT, 54, 1)).words == (5,)
    assert meter.log.store.read(3, 1).tolist() == [[0, volumes[2]]]


@pytest.mark.parametrize(
    ("fault", "reply"),
    [
        # constructed from the answer 11 14 06 05 06 0D FE 00 20; checksums by crccheck
        ("file inner length", "11 14 06 03 06 0D FE 00 20"),
        ("file reference", "11 14 06 05 07 0D FE 00 20"),
        ("file outer length", "11 14 05 05 06 0D FE 00 20"),
        ("file zero length", "11 14 02 00 06"),
    ],
)
def test_lengths_of_a_file_reply_that_do_not_add_up(
    logs: SimpleNamespace, clock: FakeClock, fault: str, reply: str
) -> None:
    from crccheck.crc import CrcModbus

    record = "  record: {registers: 1, fields: {raw: {at: 0, type: uint16, unit: 1}}}\n"
    text = logs.map_text("files: {first_file: 1, records_per_file: 100}", record=record)
    options = LogOptions.prefilled(3, 5.0, recording=False, faults=fault)
    meter = SimulatedMeter(logs.map_of(text), clock=clock, unit_address=17, log=options)
    meter.log.store.words[:2, 0] = (0x0DFE, 0x0020)
    body = bytes.fromhex("11 14 07 06 00 01 00 00 00 02")
    request = body + CrcModbus.calc(body).to_bytes(2, "little")
    wrong = bytes.fromhex(reply)
    assert meter.reply(request) == wrong + CrcModbus.calc(wrong).to_bytes(2, "little")
    right = bytes.fromhex("11 14 06 05 06 0D FE 00 20")
    assert meter.reply(request) == right + CrcModbus.calc(right).to_bytes(2, "little")


def test_a_queue_that_counts_one_register_more_than_it_has(logs: SimpleNamespace, clock: FakeClock) -> None:
    from protocols.modbus.crc import with_crc

    meter = metered(logs, clock, "queue count", "queue")
    frame = meter.reply(with_crc(bytes((7,)) + ReadQueue(600).pdu()))
    assert frame is not None
    assert (frame[2:4], frame[4:6]) == (bytes((0, 50)), bytes((0, 25))), "2 and 24 words in bytes; 25 told"
    assert logs.retrieve(meter).numbers == list(range(60))


def test_the_times_of_the_double_hour_come_out_in_utc(logs: SimpleNamespace, clock: FakeClock) -> None:
    """What the meter's clock shows and what is true belong together: the reader's own rules say so."""
    from zoneinfo import ZoneInfo

    start = datetime(2024, 10, 26, 22, 0, tzinfo=UTC).timestamp()
    text = logs.map_text("window", clock="{zone: site}", holds="sample", marked_at="start")
    options = LogOptions((Past(20, 1200.0, start),), recording=False, site="Europe/Berlin")
    meter = SimulatedMeter(logs.map_of(text), clock=clock, log=options)
    truth = meter.log.truth()
    session = SessionClock(meter.register_map.log_memory.clock, ZoneInfo("Europe/Berlin"), 1_200_000)
    times = times_told(truth.meter_ms, truth.has_time, truth.number, session)
    assert times.utc_ms.tolist() == truth.time_ms.tolist()
