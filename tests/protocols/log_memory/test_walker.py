"""The walk by each way: every record once, in order, whatever the line and the meter do meanwhile."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from protocols.log_memory.walk.account import Known
from protocols.log_memory.walk.reading import Cause
from protocols.log_memory.walk.walker import Walker
from protocols.modbus.replies import ExceptionReply, Registers, Reply, Written
from protocols.modbus.requests import ReadRequest, Request, WriteRegisters

ALL_WAYS = (
    "window", "window by function 23", "window that moves on", "window, pointer read back", "registers",
    "banks", "files", "files that count records", "queue",
)  # fmt: skip


def walk(
    model: SimpleNamespace,
    meter: Any,
    register_map: Any,
    known: tuple[Known, ...] = (),
    reply_to: Callable[[Request], Reply | None] | None = None,
) -> Any:
    walker = Walker(register_map.log_memory, register_map.wire, known)
    batches = model.drive(walker, reply_to or meter.answer)
    numbers = [int(number) for batch in batches for number in batch.numbers]
    words = [tuple(row) for batch in batches for row in batch.words.tolist()]
    return SimpleNamespace(
        walker=walker, numbers=numbers, words=words, batches=batches, account=walker.statement()
    )


@pytest.mark.parametrize("way", ALL_WAYS)
@pytest.mark.parametrize("fields", ["plain", "numbered", "checked"])
@pytest.mark.parametrize("written", [0, 1, 7, 12])
def test_every_way_brings_every_record_once_in_order(
    model: SimpleNamespace, way: str, fields: str, written: int
) -> None:
    register_map = model.map_of(model.map_text(way, fields))
    found = walk(model, model.Meter(register_map, fields, written), register_map)
    assert found.numbers == list(range(written))
    assert found.words == [model.record_words(n, fields) for n in range(written)]
    assert (found.account.expected, found.account.read, found.account.gaps) == (written, written, ())


@pytest.mark.parametrize("way", ALL_WAYS)
@pytest.mark.parametrize("written", [12, 13, 23, 24, 30, 61])
def test_a_ring_is_read_from_its_oldest_record_past_the_turn_of_its_numbers(
    model: SimpleNamespace, way: str, written: int
) -> None:
    """Numbers start again at 24; where the archive ends tells which turn it is."""
    register_map = model.map_of(model.map_text(way, ring=True))
    meter = model.Meter(register_map, "plain", written)
    known = Known(None, (range(0, written - 10),))
    found = walk(model, meter, register_map, (known,))
    assert found.numbers == list(range(written - 10, written))
    assert found.words == [model.record_words(n) for n in found.numbers]


@pytest.mark.parametrize("way", ALL_WAYS)
@pytest.mark.parametrize("lost", range(14))
def test_one_lost_reply_costs_no_record_and_doubles_none(model: SimpleNamespace, way: str, lost: int) -> None:
    """The meter has acted on the request, so a window that moves on has moved on."""
    register_map = model.map_of(model.map_text(way))
    meter = model.Meter(register_map, "plain", 12)

    def reply_to(request: Request) -> Reply | None:
        reply: Reply = meter.answer(request)
        return None if len(meter.requests) == lost + 1 else reply

    found = walk(model, meter, register_map, reply_to=reply_to)
    assert found.numbers == list(range(12))
    assert found.words == [model.record_words(n) for n in range(12)]


def test_pointer_in_the_window_lost_repeated_and_slow(model: SimpleNamespace) -> None:
    """A window of one record that moves on when its last register is read: the 5th answer is lost though the
    index moved, the 9th repeats index 7, and after a pointer write two reads still show the old index."""
    text = (
        "register_map: 1\nmeter: m\nlog_memory:\n  capacity: 40\n  count: {holding: 0x100}\n"
        "  record: {registers: 4, fields: {a: {at: 0, type: uint16, unit: 1}}}\n  reached_by:\n"
        "    window: {pointer: {holding: 0x200}, data: {holding: 0x201}, records: 1, advance: by read}\n"
    )
    register_map = model.map_of(text)
    state = {"index": 0, "reads": 0, "slow": 0, "old": 0}
    sent: list[Request] = []

    def reply_to(request: Request) -> Reply | None:
        sent.append(request)
        if isinstance(request, WriteRegisters):
            state.update(old=state["index"], index=request.words[0], slow=2)
            return Written(request.start, 1)
        assert isinstance(request, ReadRequest)
        if request.start == 0x100:
            return Registers((20,))
        assert (request.start, request.count) == (0x200, 5)
        state["reads"] += 1
        index = state["old"] if state["slow"] else state["index"]
        if state["slow"]:
            state["slow"] -= 1
        elif state["reads"] == 9:
            index = 7
        else:
            state["index"] += 1
        reply = Registers((index, 1000 + index, 2000 + index, 3000 + index, 4000 + index))
        return None if state["reads"] == 5 else reply

    found = walk(model, None, register_map, reply_to=reply_to)
    assert found.numbers == list(range(20))
    assert found.words == [tuple(1000 * part + n for part in (1, 2, 3, 4)) for n in range(20)]
    frames = {one.frame(17).hex(" ").upper() for one in sent if isinstance(one, ReadRequest)}
    assert "11 03 02 00 00 05 86 E1" in frames


def test_the_next_visit_brings_only_what_is_new(model: SimpleNamespace) -> None:
    register_map = model.map_of(model.map_text("registers"))
    meter = model.Meter(register_map, "plain", 7)
    first = walk(model, meter, register_map)
    for _ in range(3):
        meter.record()
    second = walk(model, meter, register_map, (Known(None, (range(0, 7),)),))
    third = walk(model, meter, register_map, (Known(None, (range(0, 10),)),))
    assert (first.numbers, second.numbers, third.numbers) == (list(range(7)), [7, 8, 9], [])
    assert (second.account.expected, second.account.known, second.account.read) == (10, 7, 3)
    assert third.account.read == 0


def test_known_ranges_in_the_middle_are_left_out_and_read_again_where_asked(model: SimpleNamespace) -> None:
    register_map = model.map_of(model.map_text("window"))
    meter = model.Meter(register_map, "plain", 12)
    known = Known(None, (range(0, 2), range(5, 9)))
    walker = Walker(register_map.log_memory, register_map.wire, (known,), (Known(None, (range(6, 8),)),))
    batches = model.drive(walker, meter.answer)
    new = [int(n) for batch in batches if not batch.again for n in batch.numbers]
    again = [int(n) for batch in batches if batch.again for n in batch.numbers]
    assert (new, again) == ([2, 3, 4, 9, 10, 11], [6, 7])
    assert walker.statement().reread == 2


def test_empty_records_are_dropped_and_counted(model: SimpleNamespace) -> None:
    text = model.map_text("files", empty="empty: [all ones],")
    register_map = model.map_of(text)
    meter = model.Meter(register_map, "plain", 5)
    meter.places[0] = (0xFFFF, 0xFFFF, 0xFFFF)
    found = walk(model, meter, register_map)
    assert found.numbers == [1, 2, 3, 4]
    assert (found.account.expected, found.account.read, found.account.dummies) == (5, 4, 1)


def test_a_record_that_cannot_be_had_is_a_gap_and_the_others_come(model: SimpleNamespace) -> None:
    register_map = model.map_of(model.map_text("registers"))
    meter = model.Meter(register_map, "plain", 12)

    def reply_to(request: Request) -> Reply | None:
        hole = isinstance(request, ReadRequest) and request.start <= 1015 < request.start + request.count
        return ExceptionReply(4, 2) if hole and request.start >= 1000 else meter.answer(request)  # type: ignore[attr-defined]

    found = walk(model, meter, register_map, reply_to=reply_to)
    assert found.numbers == [n for n in range(12) if n != 5]
    assert [(gap.first, gap.last, gap.cause) for gap in found.account.gaps] == [(5, 5, Cause.EXCEPTION)]
    assert "exception 02" in found.account.gaps[0].text


def test_a_silent_meter_ends_the_walk_and_the_rest_is_one_gap(model: SimpleNamespace) -> None:
    register_map = model.map_of(model.map_text("registers"))
    meter = model.Meter(register_map, "plain", 12)

    def reply_to(request: Request) -> Reply | None:
        return meter.answer(request) if len(meter.requests) < 2 else None

    found = walk(model, meter, register_map, reply_to=reply_to)
    assert found.account.ended is not None
    assert found.account.ended.cause is Cause.NO_REPLY
    assert found.account.read + found.account.missing == 12
    assert found.account.gaps[-1].last == 11


def test_a_record_with_a_wrong_check_is_read_again_and_handed_out_as_not_fitting(
    model: SimpleNamespace,
) -> None:
    register_map = model.map_of(model.map_text("files", "checked"))
    meter = model.Meter(register_map, "checked", 5)
    meter.places[3] = (3, 0xBAD, 0xBAD)
    found = walk(model, meter, register_map)
    assert found.numbers == list(range(5))
    assert [bool(one) for batch in found.batches for one in batch.fits] == [True, True, True, False, True]
    assert found.account.unfitting == 1


def test_checks_that_fail_one_after_the_other_stop_the_walk_before_a_column_shifts(
    model: SimpleNamespace,
) -> None:
    register_map = model.map_of(model.map_text("files", "checked"))
    meter = model.Meter(register_map, "checked", 12)
    for place in range(5, 12):
        meter.places[place] = (place, 1, 2)
    found = walk(model, meter, register_map)
    assert found.account.ended is not None
    assert found.account.ended.cause is Cause.LAYOUT
    assert found.account.ended.text.startswith("The checks of")
    assert set(found.numbers) < set(range(12))


def test_fewer_records_at_once_from_any_step_on(model: SimpleNamespace) -> None:
    register_map = model.map_of(model.map_text("registers"))
    meter = model.Meter(register_map, "plain", 12)
    walker = Walker(register_map.log_memory, register_map.wire)
    walker.records_per_read = 2
    assert walker.reach.most == 5
    model.drive(walker, meter.answer)
    assert {r.count for r in meter.requests if isinstance(r, ReadRequest) and r.start >= 1000} == {6}
    walker.records_per_read = 99
    assert walker.records_per_read == 5
