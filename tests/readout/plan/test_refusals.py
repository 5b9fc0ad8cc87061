"""Plans that keep off what a meter refuses: still the cheapest, nothing cut, everything else asked for."""

from collections.abc import Callable, Sequence
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import Number, RegisterMap, Value
from readout.plan.blocks import Block, Cost, Limits, Need, plan_blocks
from readout.plan.plan import plan_round, raw_name
from readout.plan.refusals import Refusal, Refusals, sentences, smallest
from readout.plan.show import describe

FORMAT = SerialFormat(9600, "even")
COST = Cost(11 / 9600, 3.5 * 11 / 9600, 0.01)
MakeMap = Callable[..., RegisterMap]
MakeNumber = Callable[..., Number]
Span = tuple[int, int]


def meter_with(make_map: MakeMap, number: MakeNumber, places: Sequence[int], **wire: object) -> RegisterMap:
    """A value of one register at each of those input registers."""
    return make_map([Value(f"v{place}", number(Table.INPUT, place)) for place in places], **wire)


def reads(register_map: RegisterMap, *refused: Refusal) -> list[Span]:
    plan = plan_round(register_map, register_map.readings, FORMAT, 1, refusals=Refusals(refused))
    return [(read.block.start, read.block.end) for read in plan.reads]


def test_a_refused_block_is_cut_where_it_bridges_a_hole(make_map: MakeMap, number: MakeNumber) -> None:
    bridging = meter_with(make_map, number, [*range(10), *range(14, 30)], bridge=10)
    assert reads(bridging) == [(0, 30)]
    assert reads(bridging, Refusal(Table.INPUT, 0, 30)) == [(0, 10), (14, 30)]


def test_a_refused_block_without_a_hole_is_cut_in_the_middle(make_map: MakeMap, number: MakeNumber) -> None:
    whole = meter_with(make_map, number, range(40))
    assert reads(whole, Refusal(Table.INPUT, 0, 40)) == [(0, 20), (20, 40)]


def test_a_refused_value_is_left_out_and_its_neighbours_stay_together(
    make_map: MakeMap, number: MakeNumber
) -> None:
    whole = meter_with(make_map, number, range(40))
    found = Refusals().adding(Refusal(Table.INPUT, 0, 40)).adding(Refusal(Table.INPUT, 20, 20))
    found = found.adding(Refusal(Table.INPUT, 33, 1, values=("v33",)))
    assert reads(whole, *found.all) == [(0, 33), (34, 40)]
    plan = plan_round(whole, whole.readings, FORMAT, 1, refusals=found)
    assert [value.name for value in plan.refused] == ["v33"]
    assert set(map(raw_name, plan.columns)) == {f"raw_input_{place}" for place in range(40)}
    assert describe(plan)["refused"] == ["v33"]


def test_a_value_wider_than_a_refused_one_within_it_is_still_asked_for(
    make_map: MakeMap, number: MakeNumber
) -> None:
    """A meter may check only the first register: what it refuses alone it may give in a wider value."""
    wide = Value("wide", number(Table.INPUT, 3), plus=(number(Table.INPUT, 6),))
    nested = make_map([wide, Value("v4", number(Table.INPUT, 4))], bridge=4)
    plan = plan_round(
        nested,
        nested.readings,
        FORMAT,
        1,
        refusals=Refusals((Refusal(Table.INPUT, 4, 1, values=("v4",)),)),
    )
    assert [(read.block.start, read.block.end) for read in plan.reads] == [(3, 7)]
    assert plan.refused == ()


def cheapest(spans: Sequence[Span], may: Callable[[int, int], bool]) -> float:
    """Every way of cutting the sorted, disjoint spans into runs, tried."""
    found = []
    for cuts in range(len(spans)):
        for places in combinations(range(1, len(spans)), cuts):
            edges = [0, *places, len(spans)]
            runs = [(spans[a][0], spans[b - 1][1]) for a, b in pairwise(edges)]
            if all(low_high in spans or may(*low_high) for low_high in runs):
                found.append(sum((13 + 2 * (b - a)) * 11 / 9600 + 3.5 * 11 / 9600 + 0.01 for a, b in runs))
    return min(found)


@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(1, 4)), min_size=1, max_size=8),
    st.lists(st.tuples(st.integers(0, 30), st.integers(2, 12)), max_size=3),
    st.lists(st.integers(0, 40), max_size=2),
)
def test_the_plan_is_the_cheapest_that_keeps_off_refused_stretches_and_cuts(
    gaps: list[Span], refused: list[Span], cuts: list[int]
) -> None:
    spans, address = [], 0
    for gap, width in gaps:
        spans.append((address + gap, address + gap + width))
        address += gap + width
    stretches = [(start, start + count) for start, count in refused]

    def may(low: int, high: int) -> bool:
        holds = any(low <= start and end <= high for start, end in stretches)
        return not holds and not any(low < cut < high for cut in cuts) and high - low <= 20

    needs = [Need(Table.INPUT, low, high - low) for low, high in spans]
    limits = Limits(
        20, 40, {Table.INPUT: {}}, refused={Table.INPUT: stretches}, cuts={Table.INPUT: sorted(cuts)}
    )
    blocks = plan_blocks(needs, limits, COST)
    for block in blocks:
        assert (block.start, block.end) in spans or may(block.start, block.end)
    assert all(any(block.holds(need) for block in blocks) for need in needs)
    seconds = sum(COST.seconds(block.table, block.count) for block in blocks)
    assert seconds == pytest.approx(cheapest(spans, may))


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 8)), max_size=8))
def test_only_stretches_that_hold_no_other_matter(drawn: list[Span]) -> None:
    spans = {(start, start + count) for start, count in drawn}
    expected = [
        one
        for one in sorted(spans)
        if not any(one[0] <= other[0] and other[1] <= one[1] for other in spans - {one})
    ]
    assert smallest(spans) == expected


def test_what_is_refused_is_said_in_registers_as_sent() -> None:
    refused = [Refusal(Table.INPUT, place, 2, exception=2, values=(f"v{place}",)) for place in (10, 12, 14)]
    refused += [Refusal(Table.COIL, 3, 1, values=("door",)), Refusal(Table.INPUT, 0, 10, exception=3)]
    assert sentences(Refusals(tuple(refused))) == (
        "bit coil 3 is refused by this meter (door: no reply)",
        "registers input 10 to 15 are refused by this meter "
        "(v10, v12, v14: exception 02, illegal data address)",
        "registers input 0 to 9 are not given in one read "
        "(exception 03, illegal data value) and read in pieces",
    )


def test_blocks_of_another_table_are_left_as_they_are(make_map: MakeMap, number: MakeNumber) -> None:
    both = make_map([Value(f"v{t}{n}", number(t, n)) for t in (Table.INPUT, Table.HOLDING) for n in range(4)])
    plan = plan_round(both, both.readings, FORMAT, 1, refusals=Refusals((Refusal(Table.INPUT, 0, 4),)))
    assert [read.block for read in plan.reads] == [
        Block(Table.INPUT, 0, 2),
        Block(Table.INPUT, 2, 2),
        Block(Table.HOLDING, 0, 4),
    ]
