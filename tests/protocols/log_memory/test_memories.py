"""Memories of other kinds: sessions, locks, queues that move on, rings that only number their records."""

from types import SimpleNamespace
from typing import Any

import pytest

from protocols.log_memory.numbers import extended, held
from protocols.log_memory.walk.account import Known
from protocols.log_memory.walk.reading import Cause, Purpose
from protocols.log_memory.walk.walker import Walker
from protocols.modbus.replies import ExceptionReply, Queue, Registers, Reply, Written
from protocols.modbus.requests import ReadQueue, ReadRequest, Request, WriteRegisters

HEAD = "register_map: 1\nmeter: Hollow Mere model\nwire: {bridge: 4}\nlog_memory:\n"


@pytest.mark.parametrize(
    ("oldest", "following", "count", "records"),
    [(65530, 4, None, 10), (65530, 4, 10, 10), (0, 0, 0, 0), (0, 0, 65536, 65536)],
)
def test_numbers_modulo_65536(oldest: int, following: int, count: int | None, records: int) -> None:
    """Oldest 65530 and next 4 are ten records; equal numbers are none or all: the count register says."""
    assert held(oldest, following, 65536, 65536, count) == records


def test_equal_numbers_of_a_memory_too_small_to_go_round_mean_none() -> None:
    assert held(7, 7, 65536, 1000) == 0
    assert held(7, 7, 1000, 1000) == 1000


def test_numbers_go_on_past_the_turn() -> None:
    assert [extended(told, 65536, 65530) for told in (65530, 65535, 0, 3)] == [65530, 65535, 65536, 65539]


class Table:
    """Input registers by address, holding registers that may be written; everything that was asked."""

    def __init__(self, registers: dict[int, int], writable: dict[int, int] | None = None) -> None:
        self.registers, self.writable = registers, writable or {}
        self.sent: list[Request] = []

    def answer(self, request: Request) -> Reply:
        self.sent.append(request)
        if isinstance(request, WriteRegisters):
            self.writable.update({request.start + i: word for i, word in enumerate(request.words)})
            return Written(request.start, len(request.words))
        assert isinstance(request, ReadRequest)
        held = self.writable if request.table == "holding" else self.registers
        return Registers(tuple(held.get(a, 0) for a in range(request.start, request.start + request.count)))


def numbers_of(batches: Any, session: int) -> list[int]:
    return [n for batch in batches if batch.session == session for n in batch.numbers.tolist()]


SESSIONS = (
    "  capacity: 100\n  sessions:\n    count: {input: 10}\n    table: {input: 20, registers: 5}\n"
    "    fields:\n"
    "      started: {at: 0, type: unix time}\n      interval: {at: 2, type: uint16, unit: min}\n"
    "      records: {at: 3, type: uint16}\n      first: {at: 4, type: uint16}\n"
    "  record: {registers: 1, fields: {flow: {at: 0, type: uint16, unit: 1}}}\n"
    "  reached_by: {registers: {input: 1000}}\n"
)


def sessions_meter() -> Table:
    entries = [0x6A00, 0, 2, 3, 0, 0x6A01, 0, 1, 4, 3]  # started, every 2 min and every min, 3 and 4 records
    registers = {10: 2} | {20 + i: word for i, word in enumerate(entries)}
    return Table(registers | {1000 + n: 500 + n for n in range(7)})


def test_sessions_are_told_with_start_interval_and_records_and_each_is_read(model: SimpleNamespace) -> None:
    register_map = model.map_of(HEAD + SESSIONS)
    walker = Walker(register_map.log_memory, register_map.wire)
    batches = model.drive(walker, sessions_meter().answer)
    assert walker.state is not None
    told = [(s.started_ms, s.interval_ms, s.records, s.first) for s in walker.state.sessions]
    assert told == [(0x6A000000 * 1000, 120_000, 3, 0), (0x6A010000 * 1000, 60_000, 4, 3)]
    assert (numbers_of(batches, 0), numbers_of(batches, 1)) == ([0, 1, 2], [3, 4, 5, 6])
    assert walker.statement().read == 7


def test_what_is_known_of_one_session_leaves_the_other_alone(model: SimpleNamespace) -> None:
    register_map = model.map_of(HEAD + SESSIONS)
    known = (Known(0x6A010000 * 1000, (range(3, 6),)),)
    walker = Walker(register_map.log_memory, register_map.wire, known)
    batches = model.drive(walker, sessions_meter().answer)
    assert (numbers_of(batches, 0), numbers_of(batches, 1)) == ([0, 1, 2], [6])


def test_the_running_intervals_record_is_marked_until_the_meters_clock_has_passed_it(
    model: SimpleNamespace,
) -> None:
    text = HEAD + SESSIONS.replace("  capacity: 100\n", "  capacity: 100\n  holds: total\n" + RECORDING)
    register_map = model.map_of(text)
    started = 0x6A010000 * 1000
    for now, unfinished in ((None, [6]), (started + 3 * 60_000 + 1, [6]), (started + 4 * 60_000, [])):
        walker = Walker(register_map.log_memory, register_map.wire)
        walker.tell(meter_now_ms=now)
        meter = sessions_meter()
        meter.registers[11] = 1
        batches = model.drive(walker, meter.answer)
        assert [int(n) for b in batches for n in b.numbers[b.unfinished]] == unfinished


RECORDING = "  recording: {input: 11, type: uint16, codes: {0: idle, 1: recording}}\n"
LOCK = "  lock: {holding: 90, open: 1, close: 0, busy: 2}\n"
PLAIN = (
    "  capacity: 10\n  count: {input: 10}\n" + LOCK +
    "  record: {registers: 1, fields: {flow: {at: 0, type: uint16, unit: 1}}}\n"
    "  reached_by: {registers: {input: 1000}}\n"
)  # fmt: skip


def test_a_lock_is_opened_first_and_closed_last(model: SimpleNamespace) -> None:
    register_map = model.map_of(HEAD + PLAIN)
    meter = Table({10: 3})
    walker = Walker(register_map.log_memory, register_map.wire)
    model.drive(walker, meter.answer)
    writes = [r.words for r in meter.sent if isinstance(r, WriteRegisters)]
    assert writes == [(1,), (0,)]
    assert isinstance(meter.sent[-1], WriteRegisters)
    assert (walker.statement().read, walker.opened) == (3, False)


def test_a_memory_in_use_by_another_port_is_told_and_left_alone(model: SimpleNamespace) -> None:
    register_map = model.map_of(HEAD + PLAIN)
    meter = Table({10: 3}, {90: 2})
    walker = Walker(register_map.log_memory, register_map.wire)
    model.drive(walker, meter.answer)
    ended = walker.statement().ended
    assert ended is not None
    assert (ended.cause, len(meter.sent)) == (Cause.LOCKED, 1)
    assert "another port" in ended.text
    assert walker.closing() is None


def test_whoever_stops_in_the_middle_has_the_step_that_closes(model: SimpleNamespace) -> None:
    register_map = model.map_of(HEAD + PLAIN)
    meter = Table({10: 3})
    walker = Walker(register_map.log_memory, register_map.wire)
    for _ in range(4):
        step = walker.next()
        assert step is not None
        walker.take(meter.answer(step.request))
    closing = walker.closing()
    assert closing is not None
    assert (closing.purpose, closing.request) == (Purpose.CLOSE, WriteRegisters(90, (0,)))


QUEUE = (
    "  capacity: 100\n  record: {registers: 2, fields: {FIELD, flow: {at: 1, type: uint16, unit: 1}}}\n"
    "  reached_by: {queue: {address: 600, advance: by read}}\n"
)


class MovingQueue:
    """Twenty records; each read takes up to 15 out, also where the reply is lost."""

    def __init__(self, records: int) -> None:
        self.left = [(n, 1000 + n) for n in range(records)]

    def answer(self, request: Request) -> Reply:
        assert isinstance(request, ReadQueue)
        taken, self.left = self.left[:15], self.left[15:]
        return Queue(tuple(word for record in taken for word in record))


@pytest.mark.parametrize("field", ["number: {at: 0, type: uint16}", "a: {at: 0, type: uint16, unit: 1}"])
def test_a_queue_that_moves_on_is_read_until_it_is_empty(model: SimpleNamespace, field: str) -> None:
    register_map = model.map_of(HEAD + QUEUE.replace("FIELD", field))
    walker = Walker(register_map.log_memory, register_map.wire)
    batches = model.drive(walker, MovingQueue(40).answer)
    assert numbers_of(batches, 0) == list(range(40))
    assert walker.statement().read == 40


def test_what_a_lost_reply_took_out_of_a_queue_is_stated_where_records_are_numbered(
    model: SimpleNamespace,
) -> None:
    register_map = model.map_of(HEAD + QUEUE.replace("FIELD", "number: {at: 0, type: uint16}"))
    walker = Walker(register_map.log_memory, register_map.wire)
    meter, asked = MovingQueue(40), []

    def reply_to(request: Request) -> Reply | None:
        asked.append(request)
        reply = meter.answer(request)
        return None if len(asked) == 2 else reply

    batches = model.drive(walker, reply_to)
    assert numbers_of(batches, 0) == [*range(15), *range(30, 40)]
    assert [(g.first, g.last, g.cause) for g in walker.statement().gaps] == [(15, 29, Cause.LOST)]
    assert not any(
        step.repeatable for step in [Walker(register_map.log_memory, register_map.wire).next()] if step
    )


@pytest.mark.parametrize("written", [0, 1, 5, 8, 9, 13, 16, 27])
def test_a_ring_that_only_numbers_its_records_is_found_by_halving(
    model: SimpleNamespace, written: int
) -> None:
    text = HEAD + (
        "  capacity: 8\n  when_full: overwrite oldest\n  record: {registers: 2, empty: [all ones], fields: "
        "{number: {at: 0, type: uint16}, flow: {at: 1, type: uint16, unit: 1}}}\n"
        "  reached_by: {registers: {input: 1000}}\n"
    )
    register_map = model.map_of(text)
    registers = {1000 + i: 0xFFFF for i in range(16)}
    for n in range(written):
        registers |= {1000 + 2 * (n % 8): n, 1001 + 2 * (n % 8): 700 + n}
    walker = Walker(register_map.log_memory, register_map.wire)
    batches = model.drive(walker, Table(registers).answer)
    assert numbers_of(batches, 0) == list(range(max(0, written - 8), written))


def test_a_memory_that_tells_no_extent_ends_at_its_first_empty_record(model: SimpleNamespace) -> None:
    text = HEAD + (
        "  capacity: 50\n  record: {registers: 1, empty: [all ones], fields: {flow: {at: 0, type: uint16, "
        "unit: 1}}}\n  reached_by: {registers: {input: 1000}}\n"
    )
    register_map = model.map_of(text)
    registers = {1000 + n: n if n < 33 else 0xFFFF for n in range(50)}
    walker = Walker(register_map.log_memory, register_map.wire)
    batches = model.drive(walker, Table(registers).answer)
    assert numbers_of(batches, 0) == list(range(33))
    assert (walker.statement().expected, walker.statement().gaps) == (33, ())


def test_a_width_the_map_does_not_know_stops_before_the_first_record(model: SimpleNamespace) -> None:
    text = HEAD + (
        "  capacity: 50\n  count: {input: 10}\n  record: {registers: 12, register: {input: 11}, fields: "
        "{flow: {at: 0, type: uint16, unit: 1}}}\n  reached_by: {registers: {input: 1000}}\n"
    )
    register_map = model.map_of(text)
    walker = Walker(register_map.log_memory, register_map.wire)
    batches = model.drive(walker, Table({10: 40, 11: 16}).answer)
    ended = walker.statement().ended
    assert (batches, ended is not None and ended.cause) == ([], Cause.LAYOUT)
    assert ended is not None
    assert "16 registers" in ended.text
    assert "describes 12" in ended.text


def test_a_memory_erased_since_the_last_visit_is_told_and_read_as_new(model: SimpleNamespace) -> None:
    text = HEAD + PLAIN.replace(LOCK, "").replace("capacity: 10", "capacity: 900")
    register_map = model.map_of(text)
    walker = Walker(register_map.log_memory, register_map.wire, (Known(None, (range(0, 500),)),))
    problems, numbers = [], []
    meter = Table({10: 3})
    while (step := walker.next()) is not None:
        taken = walker.take(meter.answer(step.request))
        problems += [problem.cause for problem in taken.problems]
        numbers += [n for batch in taken.batches for n in batch.numbers.tolist()]
    assert (set(problems), numbers) == ({Cause.RESTARTED}, [0, 1, 2])


def test_a_busy_meter_is_asked_again_and_loses_nothing(model: SimpleNamespace) -> None:
    register_map = model.map_of(HEAD + PLAIN.replace(LOCK, ""))
    meter, asked = Table({10: 3}), []

    def reply_to(request: Request) -> Reply:
        asked.append(request)
        return ExceptionReply(4, 6) if len(asked) % 3 else meter.answer(request)

    walker = Walker(register_map.log_memory, register_map.wire)
    assert numbers_of(model.drive(walker, reply_to), 0) == [0, 1, 2]


def test_a_ring_written_in_halves_every_700_ms_while_a_read_takes_300(model: SimpleNamespace) -> None:
    """Sixteen places, full at the start, each record written in two halves 50 ms apart: none comes mixed,
    the order is right, and what was overwritten before it was read is stated record for record."""
    text = HEAD + (
        "  capacity: 16\n  when_full: overwrite oldest\n  oldest: {input: 50, type: uint32}\n"
        "  next: {input: 52, type: uint32}\n  record: {registers: 2, fields: {a: {at: 0, type: uint16, "
        "unit: 1}, b: {at: 1, type: uint16, unit: 1}}}\n  reached_by: {registers: {input: 1000}}\n"
    )
    register_map = model.map_of(text)
    time_ms, last_ms = 0, 9_000

    def answer(request: Request) -> Reply:
        nonlocal time_ms
        time_ms = min(time_ms + 300, last_ms)
        begun, since = divmod(time_ms, 700)
        written = 16 + begun - 1 if since < 50 and begun else 16 + begun
        registers = {50: 0, 51: written - 16, 52: 0, 53: written}
        for n in range(written - 16, written):
            registers |= {1000 + 2 * (n % 16): n, 1001 + 2 * (n % 16): n}
        if since < 50 and begun:
            registers[1000 + 2 * (written % 16)] = written  # the first half is new already
        return Table(registers).answer(request)

    walker = Walker(register_map.log_memory, register_map.wire)
    walker.records_per_read = 2
    batches = model.drive(walker, answer)
    rows = [tuple(row) for batch in batches for row in batch.words.tolist()]
    numbers = numbers_of(batches, 0)
    account = walker.statement()
    lost = [n for gap in account.gaps for n in range(gap.first, gap.last + 1)]
    assert rows == [(n, n) for n in numbers]
    assert numbers == sorted(set(numbers))
    assert sorted(numbers + lost) == list(range(numbers[-1] + 1))
    assert {gap.cause for gap in account.gaps} == {Cause.OVERWRITTEN}
    assert account.expected == account.read + account.missing
