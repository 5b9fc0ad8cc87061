"""B18: limits and holes that no map tells are found once, split around, and never asked for in vain again."""

from collections.abc import Callable
from typing import Any

import pytest

from readout.bus.outcome import Status

FLOATS = ((4, 6), (24, 26))
PRESENT = (*range(10), *range(20, 30))


def map_of(wire: str = "", more: str = "") -> str:
    """Registers 0 to 9 and 20 to 29 of the input table, each a uint16 but for the two floats."""
    values = [
        f"  v{a}: {{input: {a}, type: {'float32' if (a, a + 2) in FLOATS else 'uint16'}, unit: bar}}"
        for a in PRESENT
        if a not in (5, 25)
    ]
    readings = "\n".join(values)
    return f"register_map: 1\nmeter: constructed\nwire: {{{wire}}}\nreadings:\n{readings}\n{more}"


BRIDGED, ISLANDS = map_of("bridge: 10"), map_of()
WHOLE = {f"raw_input_{address}": 4000 + address for address in PRESENT}


def eight_at_a_time(refusing: Callable[..., Any], **more: Any) -> Any:
    return refusing({4: PRESENT}, FLOATS, 8, **more)


def has_all(words: dict[str, int | None]) -> bool:
    return all(words[name] == word for name, word in WHOLE.items())


def cuts_a_float(asked: list[tuple[int, int, int]]) -> bool:
    spans = [set(range(start, start + count)) for _, start, count in asked]
    return any(len(span & {low, low + 1}) == 1 for span in spans for low in (4, 24))


def test_the_meter_of_these_tests_refuses_with_the_bytes_seen_in_the_field(
    refusing: Callable[..., Any],
) -> None:
    meter = refusing({3: PRESENT}, FLOATS, 8)
    too_many, hole, half = (
        bytes.fromhex(f"01 03 {span} 00 00") for span in ("0000 0009", "000A 0001", "0005 0001")
    )
    assert meter.reply(too_many) == bytes.fromhex("01 83 03 01 31")
    assert meter.reply(hole) == meter.reply(half) == bytes.fromhex("01 83 02 C0 F1")


@pytest.mark.parametrize("silent", [False, True], ids=["exceptions", "silence"])
@pytest.mark.parametrize("text", [BRIDGED, ISLANDS], ids=["one block", "two blocks"])
def test_the_first_run_finds_what_the_meter_gives_and_the_second_is_never_refused(
    refusing: Callable[..., Any], reading: Callable[..., Any], text: str, silent: bool
) -> None:
    meter = eight_at_a_time(refusing, silent=silent)
    first = reading(text, meter)
    found = first.settle()
    assert (found.round.status, has_all(found.words)) == (Status.OK, True)
    assert 0 < len(meter.refused) <= 8
    assert not cuts_a_float(meter.given + meter.refused)
    assert len(first.said) == 1
    meter.refused.clear()
    found = reading(text, meter, first.kept).settle()
    assert (found.round.status, has_all(found.words), meter.refused) == (Status.OK, True, [])
    assert not cuts_a_float(meter.given + meter.refused)


@pytest.mark.parametrize("silent", [False, True], ids=["exceptions", "silence"])
def test_a_recorder_learns_the_same_round_by_round(
    refusing: Callable[..., Any], reading: Callable[..., Any], silent: bool
) -> None:
    meter = eight_at_a_time(refusing, silent=silent)
    run = reading(BRIDGED, meter)
    found = [run.round() for _ in range(8)]
    assert len(meter.refused) <= 8
    assert [one.round.status for one in found[-3:]] == [Status.OK] * 3
    assert has_all(found[-1].words)
    assert found[0].words["raw_input_0"] == 4000, "the value that proved the meter alive is a reading"


def test_a_hole_that_the_map_lists_is_named_and_not_asked_again(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    listed = map_of(more="  gap: {input: 10, type: text, registers: 10}\n")
    meter = eight_at_a_time(refusing)
    first = reading(listed, meter)
    found = first.settle()
    assert has_all(found.words)
    assert (found.round.status, found.round.cause) == (Status.PARTIAL, "refused: gap")
    (said,) = first.said
    assert "registers input 10 to 19 are refused by this meter (gap: exception 0" in said
    assert "the blocks were split" in said
    meter.refused.clear()
    again = reading(listed, meter, first.kept, first.clock).settle()
    assert (again.round.status, meter.refused) == (Status.PARTIAL, [])
    assert "learned on 2026-05-04" in again.round.text


def test_what_is_refused_is_tried_again_once_an_hour_and_comes_back(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    text = map_of(more="  late: {holding: 7, type: uint16}\n  other: {holding: 8, type: uint16}\n")
    meter = refusing({4: PRESENT, 3: [8]})
    run = reading(text, meter)
    run.settle()
    meter.refused.clear()
    for _ in range(119):  # an hour short of 30 s
        run.clock.advance(30)
        run.round()
    assert meter.refused == []
    for _ in range(121):
        run.clock.advance(30)
        run.round()
    assert meter.refused == [(3, 7, 1)] * 2
    meter.registers = {4: PRESENT, 3: [7, 8]}
    for _ in range(121):
        run.clock.advance(30)
        run.round()
    found = run.round()
    assert (found.round.status, found.words["raw_holding_7"]) == (Status.OK, 3007)
    assert run.said[-1] == "late: refused until now, and answered again"
    assert not run.kept.of_values


def test_one_refusal_teaches_nothing(refusing: Callable[..., Any], reading: Callable[..., Any]) -> None:
    meter = refusing({4: [*range(10), *range(20, 29)]}, FLOATS)
    run = reading(ISLANDS, meter)
    assert run.round().round.status is Status.PARTIAL
    meter.registers = {4: PRESENT}
    assert [run.round().round.status for _ in range(5)] == [Status.OK] * 5
    assert run.learner.plan.refusals.all == ()


def test_a_meter_that_is_warming_up_teaches_nothing(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    meter = refusing({4: PRESENT}, FLOATS, down=True)
    run = reading(ISLANDS, meter)
    assert {run.round().round.status for _ in range(10)} == {Status.EXCEPTION}
    meter.down = False
    found = run.round()
    assert (found.round.status, has_all(found.words)) == (Status.OK, True)
    assert (run.kept.all, run.said) == ((), [])


def test_a_silent_meter_teaches_nothing_and_costs_one_silence_a_round(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    meter = refusing({4: PRESENT}, FLOATS, down=True, silent=True)
    run = reading(BRIDGED, meter)
    run.round()
    meter.refused.clear()
    assert {run.round(first_only=True).round.status for _ in range(30)} == {Status.NO_REPLY}
    assert len(meter.refused) <= 2 * 30
    meter.down = False
    assert run.round(first_only=True).round.status in (Status.OK, Status.PARTIAL)
    assert run.learner.plan.refusals.all == ()


def test_silence_of_a_block_that_answered_before_is_no_hole(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    meter = refusing({4: PRESENT}, FLOATS, silent=True)
    run = reading(ISLANDS, meter)
    assert run.round().round.status is Status.OK
    meter.registers = {4: range(10)}
    assert {run.round().round.status for _ in range(5)} == {Status.PARTIAL}
    assert run.learner.plan.refusals.all == ()


def test_parts_read_apart_are_left_out_when_one_of_them_is_refused(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    apart = "  total: {input: 50, type: uint16, parts: apart, plus: [{input: 70, type: uint16}]}\n"
    meter = refusing({4: [*PRESENT, 50]}, FLOATS)
    run = reading(map_of(more=apart), meter)
    found = run.settle()
    assert (found.round.status, found.round.cause, has_all(found.words)) == (
        Status.PARTIAL, "refused: total", True,
    )  # fmt: skip
    meter.given.clear()
    run.round()
    assert (4, 50, 1) not in meter.given


@pytest.mark.parametrize(
    ("table", "there", "sentence"),
    [
        ("holding", 4, "this meter may keep it in the input registers (function 04)"),
        ("input", 3, "this meter may keep it in the holding registers (function 03)"),
    ],
)
def test_a_table_that_is_refused_whole_is_said_to_lie_in_the_other_one(
    refusing: Callable[..., Any], reading: Callable[..., Any], table: str, there: int, sentence: str
) -> None:
    """M02. Function 3 is answered 01 83 01 80 F0, function 4 has the registers; and the other way round."""
    text = (
        f"register_map: 1\nmeter: constructed\nreadings:\n  flow: {{{table}: 0, type: float32, unit: m3/h}}\n"
    )
    run = reading(text, refusing({there: range(2)}))
    found = run.round().round
    assert found.status is Status.EXCEPTION
    assert sentence in found.text


def test_a_learned_refusal_of_a_whole_table_keeps_saying_where_it_may_lie(
    refusing: Callable[..., Any], reading: Callable[..., Any]
) -> None:
    text = map_of(more="  valve: {holding: 7, type: uint16}\n")
    run = reading(text, refusing({4: PRESENT, 3: [99]}, FLOATS))
    found = run.settle().round
    assert found.cause == "refused: valve"
    assert "this meter may keep it in the input registers (function 04)" in found.text
