"""Meters that are locked, busy, empty, erased, changed, or that overwrite while they are read."""

import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from protocols.modbus.crc import with_crc
from readout.retrieve.retrieval import Verify
from simulators.log_memory import LogOptions, Past

LOCK = "  lock: {holding: 90, open: 1, close: 0, busy: 2}\n"
COUNTED = "  capacity: 500\n  count: {input: 96}\n"
#: Function 16 on holding register 90 with one word (V1.1b3, 6.12, p. 30), unit 12.
WRITE_LOCK = bytes([12, 16, 0, 90, 0, 1, 2, 0])
OPEN, CLOSE = WRITE_LOCK + b"\x01", WRITE_LOCK + b"\x00"
RING = """\
  capacity: 16
  when_full: overwrite oldest
  oldest: {input: 96, type: uint32}
  next: {input: 98, type: uint32}
  recording: {input: 80, type: uint16, codes: {0: idle, 1: recording}}
"""
NUMBERED = """\
  record:
    registers: 4
    fields:
      number: {at: 0, type: uint16}
      flow: {at: 1, type: uint16, scale: 0.1, unit: kg/h, not_available: [65535]}
      total: {at: 2, type: uint32, unit: kg}
"""
TIMED = """\
  record:
    registers: 3
    fields:
      time: {at: 0, type: unix time}
      flow: {at: 2, type: uint16, scale: 0.1, unit: kg/h, not_available: [65535]}
"""


def stopped(records: int, faults: str = "") -> LogOptions:
    return LogOptions.prefilled(records, 5.0, recording=False, faults=faults)


def test_the_lock_is_opened_and_closed_last(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    place = hall(memory.map_text("registers", memory=memory.memory + LOCK + memory.sessions), stopped(100))
    assert place.fetch().retrieved.complete
    place.as_the_meter()
    writes = [request[:9] for request in place.requests if request[:4] == WRITE_LOCK[:4]]
    assert writes == [OPEN, CLOSE]
    assert place.requests[-1][:9] == CLOSE


def test_a_stop_in_the_middle_closes_the_lock(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    """The last thing on the bus is the write that closes it."""
    place = hall(memory.map_text("registers", memory=memory.memory + LOCK + memory.sessions), stopped(400))
    stop = threading.Event()
    visit = place.fetch(stop=stop, watch=lambda _: stop.set())
    assert visit.retrieved.interrupted
    assert place.requests[-1][:9] == CLOSE


def test_a_failing_disk_closes_the_lock(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    place = hall(memory.map_text("registers", memory=memory.memory + LOCK + memory.sessions), stopped(400))

    def breaks(_: object) -> None:
        raise OSError("the disk is gone")

    with pytest.raises(OSError, match="the disk is gone"):
        place.fetch(watch=breaks)
    assert place.requests[-1][:9] == CLOSE


def test_a_memory_in_use_by_another_port_is_left_alone(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """The lock reads so (function 3 on register 90, V1.1b3, 6.3): nothing is written at all."""
    place = hall(memory.map_text("registers", memory=memory.memory + LOCK + memory.sessions), stopped(100))
    look = bytes([12, 3, 0, 90, 0, 1])

    def held(frame: bytes) -> bytes | None:
        if frame[:6] == look:
            return with_crc(bytes([12, 3, 2, 0, 2]))
        answer: bytes | None = place.meter.reply(frame)
        return answer

    visit = place.fetch(answer=held)
    assert visit.retrieved.ended is not None
    assert "in use by another port" in visit.retrieved.ended.text
    assert not visit.retrieved.complete
    assert not [request for request in place.requests if request[1] in (6, 16)]


def test_a_memory_that_another_port_takes_meanwhile_ends_it_with_its_reason(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    text = memory.map_text("registers", memory=memory.memory + LOCK + memory.sessions)
    place = hall(text, stopped(100, "locked 300 at 50"))
    visit = place.fetch()
    assert visit.retrieved.ended is not None
    assert "in use by another port" in visit.retrieved.ended.text
    place.clock.advance(300.0)
    assert place.fetch().retrieved.complete
    place.as_the_meter()


def test_a_meter_that_is_busy_now_and_then_is_waited_for(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    place = hall(memory.map_text("window"), stopped(200, "busy x6"))
    assert place.fetch().retrieved.complete
    place.as_the_meter()


def test_a_meter_that_stays_busy_ends_it_with_a_sentence(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    place = hall(memory.map_text("window"), stopped(200, "busy x*"))
    visit = place.fetch()
    assert visit.retrieved.ended is not None
    assert "busy" in visit.retrieved.ended.text
    assert not visit.retrieved.complete
    assert visit.document["records_new"] == 0


def test_an_empty_memory_is_everything_there_is(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    place = hall(memory.map_text("window"), LogOptions(recording=False))
    visit = place.fetch()
    assert visit.retrieved.complete
    assert (visit.document["expected"], visit.document["gaps"], visit.document["first"]) == (0, [], None)


ENDS = "  capacity: 500\n  oldest: {input: 96}\n  next: {input: 98}\n"


@pytest.mark.parametrize("extent", [COUNTED, ENDS])
@pytest.mark.parametrize("way", ["window", "files"])
def test_after_an_erasure_the_new_records_are_a_new_session(
    hall: Callable[..., Any], memory: SimpleNamespace, way: str, extent: str
) -> None:
    """Their numbers are those of records that are archived already; none of both is lost."""
    place = hall(memory.map_text(way, memory=extent, record=TIMED), LogOptions.prefilled(100, 60.0))
    switched_on = place.clock.monotonic()
    before = place.fetch().document["records_new"]
    log = place.meter.log
    log.recorder.erase()
    log.recorder.start(place.clock.monotonic() - switched_on)
    place.clock.advance(605.0)
    visit = place.fetch()
    new = visit.document["records_new"]
    assert new == len(log.truth().number) == 10
    assert visit.retrieved.restarted == 1
    assert any("erased" in sentence for sentence in place.said)
    found = place.rows()
    assert found["session"] == [1] * before + [2] * new
    assert found["record"][before:] == list(range(new))
    place.clock.advance(60.0)
    third = place.fetch()
    assert (third.document["records_new"], third.retrieved.restarted) == (1, 0)
    assert place.rows()["session"] == [1] * before + [2] * (new + 1)


@pytest.mark.parametrize("way", ["registers", "files"])
def test_a_memory_erased_by_somebody_and_filled_beyond_what_is_known_is_all_new(
    hall: Callable[..., Any], memory: SimpleNamespace, way: str
) -> None:
    """Neither numbers nor a session's start tell of it; the records themselves do."""
    place = hall(memory.map_text(way, memory=COUNTED, record=TIMED), LogOptions.prefilled(20, 60.0))
    switched_on = place.clock.monotonic()
    before = place.fetch().document["records_new"]
    place.meter.log.recorder.erase()
    place.meter.log.recorder.start(place.clock.monotonic() - switched_on)
    place.clock.advance(60 * 50.0)
    visit = place.fetch()
    new = visit.document["records_new"]
    assert (new, visit.retrieved.restarted) == (len(place.meter.log.truth().number), 1)
    found = place.rows()
    assert found["session"] == [1] * before + [2] * new
    assert found["record"] == [*range(before), *range(new)]
    third = place.fetch()
    assert (third.document["records_new"], third.retrieved.restarted) == (0, 0)


@pytest.mark.parametrize("stated", ["registers: 4\n", "registers: {register: {input: 95}}\n"])
def test_another_layout_half_way_stops_with_an_explanation(
    hall: Callable[..., Any], memory: SimpleNamespace, stated: str
) -> None:
    """Told by the meter, or shown by checks that fit no more: no column is shifted."""
    record = memory.record.replace("registers: 4\n", stated)
    place = hall(memory.map_text("registers", record=record), stopped(300, "layout 5 at 150"))
    visit = place.fetch()
    assert visit.retrieved.ended is not None
    assert "layout" in visit.retrieved.ended.text
    found, truth = place.rows(), place.meter.log.truth()
    assert 100 < len(found["record"]) < 150
    good = [row for row, flag in enumerate(found["check_flag"]) if flag is None]
    for name in ("flow", "pressure"):
        held = truth.values[name].data.tolist()
        assert [found[name][row] for row in good] == [held[found["record"][row]] for row in good]


def test_dummies_are_left_out_and_counted(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    record = PLAIN_WITH_EMPTY
    place = hall(memory.map_text("registers", record=record), stopped(100, "dummy at 0; dummy at 40"))
    visit = place.fetch()
    assert (visit.retrieved.dummies, visit.document["expected"], visit.document["gaps"]) == (2, 98, [])
    assert visit.retrieved.complete
    assert 40 not in place.rows()["record"]


PLAIN_WITH_EMPTY = """\
  record:
    registers: 2
    empty: [all ones]
    fields:
      flow: {at: 0, type: uint16, scale: 0.1, unit: kg/h}
      pressure: {at: 1, type: uint16, scale: 0.001, unit: bar, gauge: true}
"""


def test_the_record_of_the_running_interval_is_left_for_the_next_time(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """It reads 10 now and 25 when it is over: one row, 25, and nothing changed."""
    text = memory.map_text("registers", memory=memory.memory.replace("mean", "total") + memory.sessions)
    place = hall(text, LogOptions((Past(20, 3600.0),), faults="running record"))
    place.clock.advance(1800.0)
    visit = place.fetch()
    assert (visit.document["records_new"], visit.retrieved.unfinished) == (20, 1)
    assert visit.retrieved.complete
    place.clock.advance(3600.0)
    visit = place.fetch(Verify.ALL)
    assert (visit.document["records_new"], visit.document["records_changed"]) == (1, 0)
    assert place.rows()["record"] == list(range(21))


def test_a_live_reading_every_ten_seconds(hall: Callable[..., Any], memory: SimpleNamespace) -> None:
    """A retrieval of a minute and a half: the screen is never older than it should be."""
    place = hall(memory.map_text("window"), stopped(1500), baud=2400)
    before = place.clock.monotonic()
    assert place.fetch(live_every_s=10.0).retrieved.complete
    took = place.clock.monotonic() - before
    assert len(place.live) >= took // 10 - 1 >= 2
    place.as_the_meter()


class EveryRecord:
    """Between meter and line: keeps the truth of every record the ring ever held."""

    def __init__(self, meter: Any) -> None:
        self._meter = meter
        self.flow: dict[int, float] = {}

    def reply(self, frame: bytes) -> bytes | None:
        truth = self._meter.log.truth()
        self.flow |= dict(zip(truth.number.tolist(), truth.values["flow"].data.tolist(), strict=True))
        answer: bytes | None = self._meter.reply(frame)
        return answer


@pytest.mark.parametrize("way", ["registers", "files"])
@pytest.mark.parametrize("record", [NUMBERED, TIMED])
def test_a_small_ring_that_turns_while_it_is_read(
    hall: Callable[..., Any], memory: SimpleNamespace, record: str, way: str
) -> None:
    """Ring of 16, a record every 700 ms in two halves 50 ms apart, a read takes 300 ms: no mixed record,
    order right, losses stated exactly."""
    head = memory.head.replace("reply_within: 300 ms", "reply_within: 500 ms, registers_per_read: 16")
    log = LogOptions((Past(16, 0.7),), interval=0.7, faults="halves 50")
    ways = {
        "registers": "{registers: {input: 1000}}",
        "files": "{files: {first_file: 1, records_per_file: 16}}",
    }
    place = hall(memory.map_text(ways[way], head=head, memory=RING, record=record), log)
    place.turnaround = 0.28
    every = EveryRecord(place.meter)
    visits = [place.fetch(answer=every.reply)]
    place.clock.advance(8.0)
    visits.append(place.fetch(answer=every.reply))
    found = place.rows()
    assert found["record"] == sorted(set(found["record"]))
    gaps = [gap for visit in visits for gap in visit.document["gaps"]]
    missing = [number for gap in gaps for number in range(gap["first"], gap["last"] + 1)]
    numbers = sorted([*found["record"], *missing])
    assert numbers == list(range(numbers[0], max(found["record"]) + 1))
    assert all("overwritten" in gap["cause"] for gap in gaps)
    assert found["flow"] == [every.flow[number] for number in found["record"]]
