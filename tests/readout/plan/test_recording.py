"""What a map says of recording: the intervals a meter takes, and what fetching its records costs."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import RegisterMap, Value
from protocols.register_map.parse import parse_map
from readout.errors import WrongUse
from readout.plan.recording import Intervals, intervals_of, memory_of, retrieval_s, setting_of

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{unit_address: 12}}
settings:
  log_interval: {interval}
log_memory:
  capacity: 1000
  count: {{input: 10}}
  record: {{registers: 4, fields: {{time: {{at: 0, type: unix time}}, flow: {{at: 2, type: float32}}}}}}
  reached_by: {way}
"""
WINDOW = "{window: {pointer: {holding: 82}, data: {holding: 83}, records: 10}}"


def map_with(interval: str, way: str = WINDOW) -> RegisterMap:
    parsed = parse_map(MAP.format(interval=interval, way=way).encode(), "m")
    assert parsed.map is not None, parsed.faults
    return parsed.map


def interval_setting(text: str) -> Value:
    found = setting_of(map_with(text).settings, "log_interval")
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("setting", "steps"),
    [
        ("{holding: 32, type: uint16, unit: s, steps: [20, 1, 10]}", [1, 10, 20]),
        ("{holding: 32, type: uint16, unit: min, steps: [1, 5]}", [60, 300]),
        ("{holding: 32, type: uint16, codes: {0: 1 s, 1: 10 s, 2: 1 min}}", [1, 10, 60]),
    ],
)
def test_fixed_intervals_are_those_of_the_map_in_seconds(setting: str, steps: list[int]) -> None:
    found = intervals_of(interval_setting(setting))
    assert [int(step) for step in found.steps] == steps
    assert found.takes(Fraction(steps[0]))
    assert not found.takes(Fraction(steps[0] + 1))
    assert found.no_shorter(Fraction(steps[1]) - Fraction(1, 1000)) == steps[1]


def test_a_whole_number_of_tenths_is_what_a_scaled_register_offers() -> None:
    """50,000 records for nine days: 15.552 s at least, so 15.6 s (common practice figures, exact)."""
    found = intervals_of(interval_setting("{holding: 32, type: uint16, scale: 0.1, unit: s}"))
    assert found.no_shorter(Fraction("15.552")) == Fraction("15.6")
    assert not found.takes(Fraction("15.55"))
    assert found.takes(Fraction("6553.5"))
    assert not found.takes(Fraction("6553.6"))
    assert str(found) == "multiples of 0.1 s from 0.1 s up to 6553.5 s"


def test_whole_seconds_are_what_a_plain_register_offers_within_its_range() -> None:
    found = intervals_of(interval_setting("{holding: 32, type: uint16, unit: s, range: [5, 600]}"))
    assert found.no_shorter(Fraction("15.552")) == 16
    assert found.no_shorter(Fraction(1)) == 5
    with pytest.raises(WrongUse, match="longest interval of this meter is 600 s"):
        found.no_shorter(Fraction(601))


def test_a_map_that_does_not_tell_is_taken_to_offer_tenths() -> None:
    found = intervals_of(None)
    assert not found.told
    assert found == Intervals(told=False)
    assert found.no_shorter(Fraction("15.552")) == Fraction("15.6")
    odd = "{holding: 32, type: uint16, unit: furlong}"
    assert not intervals_of(interval_setting(odd)).told


def test_a_map_without_a_memory_says_so() -> None:
    with pytest.raises(WrongUse, match=r"m\.yaml says nothing of a log_memory"):
        memory_of(None, "m.yaml")


def test_retrieval_is_counted_in_characters_silences_and_turnarounds() -> None:
    """10 records a read: function 16 writes the pointer, one read brings pointer and window (by hand).

    Characters: write 11 + 8, read 8 + 5 + 2 × 41 = 114 in all. At 9600 Bd, 11 bits each, with 3.5 characters
    of silence and the guess of 10 ms for the turnaround, twice a window (Serial Line V1.02, 2.5.1).
    """
    way = "{window: {pointer: {holding: 82}, data: {holding: 83}, records: 10}}"
    found = map_with("{holding: 32, type: uint16, unit: s}", way)
    character = 11 / 9600
    assert found.log_memory is not None
    seconds = retrieval_s(found.log_memory, found.wire, SerialFormat(9600), 100)
    assert seconds == pytest.approx(10 * ((11 + 8 + 8 + 5 + 82) * character + 2 * (3.5 * character + 0.010)))
    assert retrieval_s(found.log_memory, found.wire, SerialFormat(9600), 0) == 0


def test_a_memory_of_billions_is_reckoned_at_once() -> None:
    way = "{registers: {input: 1000, bank: {holding: 84}, records_per_bank: 1000}}"
    found = map_with("{holding: 32, type: uint16, unit: s}", way)
    assert found.log_memory is not None
    one = retrieval_s(found.log_memory, found.wire, SerialFormat(9600), 100_000)
    assert retrieval_s(found.log_memory, found.wire, SerialFormat(9600), 4_000_000) == pytest.approx(40 * one)


def test_decimal_intervals_stay_exact() -> None:
    assert Intervals((Decimal("0.1"), Decimal("0.3"))).takes(Fraction(3, 10))


INTERVALS = st.one_of(
    st.lists(st.integers(1, 3600), min_size=1, unique=True).map(
        lambda steps: Intervals(tuple(Decimal(step) for step in sorted(steps)))
    ),
    st.builds(
        lambda step, low, more: Intervals((), step, low * step, (low + more) * step),
        st.sampled_from([Decimal("0.001"), Decimal("0.1"), Decimal(1), Decimal(60)]),
        st.integers(1, 100),
        st.integers(0, 10_000),
    ),
)


@given(INTERVALS, st.fractions(Fraction(1, 1000), 4000))
def test_the_interval_offered_is_the_shortest_that_is_long_enough(found: Intervals, needed: Fraction) -> None:
    """Against every interval there is, one by one."""
    if found.steps:
        every = [Fraction(step) for step in found.steps]
    else:
        assert found.shortest_s is not None
        assert found.longest_s is not None
        step = Fraction(found.resolution_s)
        first, last = Fraction(found.shortest_s) / step, Fraction(found.longest_s) / step
        every = [step * number for number in range(int(first), int(last) + 1)]
    fitting = [one for one in every if one >= needed]
    if not fitting:
        with pytest.raises(WrongUse):
            found.no_shorter(needed)
        return
    assert found.no_shorter(needed) == min(fitting)
    assert found.takes(min(fitting))
