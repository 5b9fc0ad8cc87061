"""The planner against an exhaustive search with a cost function of its own, and against limits."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.errors import RequestError
from protocols.modbus.tables import Table
from readout.plan.blocks import Block, Cost, Limits, Need, plan_blocks

BAUD_RATES = [1200, 9600, 19200, 38400, 115200]


def characters_on_the_wire(table: Table, count: int, words: int) -> int:
    """Request and reply of functions 1 to 4, counted field by field.

    MODBUS Application Protocol V1.1b3, 6.1 to 6.4 (function 1, start 2, quantity 2; function 1, byte count 1,
    data), each with unit address 1 and CRC 2 (MODBUS over Serial Line V1.02, 2.3).
    """
    request = 1 + (1 + 2 + 2) + 2
    data = -(-count // 8) if table in (Table.COIL, Table.DISCRETE) else 2 * words * count
    return request + 1 + (1 + 1 + data) + 2


def seconds(table: Table, count: int, words: int, baud: int, turnaround: float) -> float:
    """11-bit characters, 3.5 of them silent up to 19200 Bd, 1.750 ms above (Serial Line V1.02, p. 13)."""
    silence = 3.5 * 11 / baud if baud <= 19200 else 0.00175
    return characters_on_the_wire(table, count, words) * 11 / baud + silence + turnaround


def cost_at(baud: int, turnaround: float) -> Cost:
    silence = 3.5 * 11 / baud if baud <= 19200 else 0.00175
    return Cost(11 / baud, silence, turnaround)


def may_be_read(table: Table, start: int, end: int, words: int, limits: Limits) -> bool:
    """The map's limits, address by address."""
    listed = limits.listed.get(table, {})
    strangers = [address for address in range(start, end) if address not in listed]
    most = limits.bits_per_read if table in (Table.COIL, Table.DISCRETE) else limits.registers_per_read
    return (
        (end - start) * words <= most
        and len(strangers) <= limits.bridge
        and all(listed[address] == words for address in range(start, end) if address in listed)
    )


def least_seconds(needs: list[Need], limits: Limits, baud: int, turnaround: float) -> float:
    """Every partition of the needs into reads is tried (over subsets; no order of addresses is used)."""
    count = len(needs)
    price: list[float] = [float("inf")] * (1 << count)
    for chosen in range(1, 1 << count):
        group = [need for place, need in enumerate(needs) if chosen >> place & 1]
        table, words = group[0].table, group[0].words
        start, end = min(n.start for n in group), max(n.start + n.count for n in group)
        alike = all(n.table is table and n.words == words for n in group)
        if alike and may_be_read(table, start, end, words, limits):
            price[chosen] = seconds(table, end - start, words, baud, turnaround)
    least = [0.0] + [float("inf")] * ((1 << count) - 1)
    for left in range(1, 1 << count):
        lowest = left & -left
        rest = others = left ^ lowest
        while True:  # every subset of the others joins the lowest need in one read
            least[left] = min(least[left], price[lowest | others] + least[rest ^ others])
            if not others:
                break
            others = (others - 1) & rest
    return least[-1]


@st.composite
def problems(draw: st.DrawFn, most: int) -> tuple[list[Need], Limits]:
    """Up to `most` needs, nested and overlapping ones too, over sparse tables with two address widths."""
    wide_from = draw(st.sampled_from([30, 1000]))  # from here on 32 bits behind each address
    registers = draw(st.integers(30 if wide_from > 120 else 60, 125))
    last = draw(st.sampled_from([12, 40, 120]))  # crowded tables have more nested and overlapping needs
    needs = []
    for place in range(draw(st.integers(1, most))):
        table = draw(st.sampled_from([Table.INPUT, Table.INPUT, Table.HOLDING, Table.COIL]))
        start, count = draw(st.integers(0, last)), draw(st.one_of(st.integers(1, 4), st.integers(1, 30)))
        words = 2 if start >= wide_from and not table.of_bits else 1
        if start < wide_from < start + count:
            count = wide_from - start
        needs.append(Need(table, start, count, words, f"value {place}"))
    listed: dict[Table, dict[int, int]] = {table: {} for table in Table}
    for need in needs:
        listed[need.table].update(dict.fromkeys(range(need.start, need.start + need.count), need.words))
    for address in draw(st.sets(st.integers(0, 80), max_size=15)):  # settings: listed, not needed
        listed[Table.INPUT].setdefault(address, 2 if address >= wide_from else 1)
    return needs, Limits(registers, draw(st.integers(0, 20)), listed)


@settings(max_examples=300, deadline=None)
@given(problems(12), st.sampled_from(BAUD_RATES), st.sampled_from([0.0, 0.004, 0.02, 0.1]))
def test_no_other_set_of_reads_takes_less_time(
    problem: tuple[list[Need], Limits], baud: int, turnaround: float
) -> None:
    needs, limits = problem
    blocks = plan_blocks(needs, limits, cost_at(baud, turnaround))
    ours = sum(seconds(b.table, b.count, b.words, baud, turnaround) for b in blocks)
    assert ours == pytest.approx(least_seconds(needs, limits, baud, turnaround), rel=1e-9)


@given(problems(12))
def test_twelve_values_are_read_whole_and_within_every_limit(problem: tuple[list[Need], Limits]) -> None:
    needs, limits = problem
    blocks = plan_blocks(needs, limits, cost_at(19200, 0.01))
    for need in needs:
        assert any(
            block.table is need.table
            and block.words == need.words
            and block.start <= need.start
            and need.start + need.count <= block.start + block.count
            for block in blocks
        ), f"{need} is not within one read"
    for block in blocks:
        assert may_be_read(block.table, block.start, block.start + block.count, block.words, limits)


@pytest.mark.parametrize(
    ("baud", "turnaround", "pays", "no_longer"),
    [
        # Counted by hand in characters of 11 bits: a second read costs 8 + 5, the silence (3.5, or 1.75 ms =
        # 18.3 at 115200) and the turnaround (20 ms = 17.45 at 9600, 209.5 at 115200); a register costs 2.
        (9600, 0.0, 8, 9),  # 16.5 / 2 = 8.25
        (9600, 0.020, 16, 17),  # 33.95 / 2 = 16.98
        (115200, 0.0, 15, 16),  # 31.3 / 2 = 15.66
        (115200, 0.020, 120, 121),  # 240.8 / 2 = 120.4
    ],
)
def test_two_islands_are_read_together_while_the_gap_is_cheaper_than_a_second_read(
    baud: int, turnaround: float, pays: int, no_longer: int
) -> None:
    for gap, reads in ((pays, 1), (no_longer, 2)):
        needs = [Need(Table.HOLDING, 0, 1), Need(Table.HOLDING, 1 + gap, 1)]
        limits = Limits(125, 125, {Table.HOLDING: {0: 1, 1 + gap: 1}})
        assert len(plan_blocks(needs, limits, cost_at(baud, turnaround))) == reads, f"gap of {gap}"


def test_a_value_around_others_does_not_hide_them() -> None:
    """A wide value with one inside it and one over its end: one read where the limit allows, else two."""
    needs = [Need(Table.INPUT, 0, 8), Need(Table.INPUT, 2, 1), Need(Table.INPUT, 6, 4)]
    listed = {Table.INPUT: dict.fromkeys(range(10), 1)}
    cost = cost_at(19200, 0.01)
    assert plan_blocks(needs, Limits(10, 0, listed), cost) == (Block(Table.INPUT, 0, 10),)
    assert plan_blocks(needs, Limits(9, 0, listed), cost) == (
        Block(Table.INPUT, 0, 8),
        Block(Table.INPUT, 6, 4),
    )


def test_a_short_value_inside_a_long_one_does_not_make_the_long_one_look_short() -> None:
    """24 registers, one value inside them, one just behind: a second read would cost 8 registers more."""
    needs = [Need(Table.INPUT, 0, 24), Need(Table.INPUT, 2, 1), Need(Table.INPUT, 24, 1)]
    limits = Limits(125, 0, {Table.INPUT: dict.fromkeys(range(25), 1)})
    assert plan_blocks(needs, limits, cost_at(9600, 0.0)) == (Block(Table.INPUT, 0, 25),)


def test_meters_with_32_bits_behind_each_address_get_half_as_many_addresses_in_a_read() -> None:
    needs = [Need(Table.HOLDING, address, 1, 2) for address in range(12)]
    limits = Limits(12, 0, {Table.HOLDING: dict.fromkeys(range(12), 2)})
    assert [block.count for block in plan_blocks(needs, limits, cost_at(19200, 0.01))] == [6, 6]


@pytest.mark.parametrize(
    ("need", "message"),
    [
        (Need(Table.INPUT, 0, 9, 1, "total"), "total: input 0 to 8 .* takes 9 registers; .* allows 8"),
        (Need(Table.INPUT, 20, 5, 1, "flow"), "flow: .* spans 3 registers the map does not list"),
        (Need(Table.INPUT, 30, 3, 1, "mass"), "mass: .* hold another number of bytes"),
        (Need(Table.COIL, 0, 2001, 1, "alarms"), "alarms: .* takes 2001 bits; Modbus allows 2000"),
    ],
)
def test_a_value_that_no_single_read_can_deliver_is_refused_by_name(need: Need, message: str) -> None:
    listed = {Table.INPUT: {**dict.fromkeys((*range(9), 20, 24, 30, 32), 1), 31: 2}, Table.COIL: {}}
    with pytest.raises(RequestError, match=message):
        plan_blocks([need], Limits(8, 2, listed), cost_at(19200, 0.01))
