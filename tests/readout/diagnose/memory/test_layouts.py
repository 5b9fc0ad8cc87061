"""A map that is wrong about its meter's memory in one respect is told what would be right."""

from datetime import UTC, datetime

import pytest

from protocols.modbus.requests import WriteRegisters
from readout.diagnose.memory.layouts import EPOCHS, Turn, layouts
from readout.errors import FellShort, WrongUse
from simulators.log_memory import LogOptions, Past

TIMED = (
    "{time: {at: 0, type: calendar, layout: [minute/second, day/hour, year/month], coding: CODING}, "
    "flow: {at: 3, type: float32, unit: m3/h}}"
)
NUMBERED = "{number: {at: 0, type: uint32}, flow: {at: 2, type: float32, unit: m3/h}}"


def plausible(judged) -> list:
    return [one for one in judged if one.plausible]


def test_a_right_map_is_the_one_layout_that_makes_sense(bench, maps) -> None:
    own = maps()
    device = bench(own)
    (found,) = plausible(device.judged(own))
    assert found.layout.is_own(own.log_memory)
    first, second, last = found.records
    truth = device.meter.log.truth()
    assert (first.record, second.record, last.record) == (0, 1, truth.number[-1])
    assert first.time_ms == truth.meter_ms[0]
    assert last.time_ms == truth.meter_ms[-1]
    assert last.values["flow"] == pytest.approx(truth.values["flow"].data[-1], rel=1e-6)


@pytest.mark.parametrize(
    ("device", "turned"),
    [
        ({"words": "low first"}, {Turn.WORDS}),
        ({"byte_order": "low first"}, {Turn.BYTES}),
        ({"words": "low first", "byte_order": "low first"}, {Turn.WORDS, Turn.BYTES}),
    ],
)
def test_orders_that_the_map_has_wrong_are_found(bench, maps, device, turned) -> None:
    """ABCD is what the map says; the meter sends CDAB, BADC or DCBA."""
    meter = bench(maps(**device))
    (found,) = plausible(meter.judged(maps()))
    assert found.layout.turned == turned
    truth = meter.meter.log.truth()
    assert [record.time_ms for record in found.records] == [truth.meter_ms[n] for n in (0, 1, -1)]


@pytest.mark.parametrize("year", [year for year in EPOCHS if year != 1970])
def test_a_clock_that_counts_from_another_year_is_found(bench, maps, year: int) -> None:
    """A clock that is behind by the seconds from 1970 to that year tells just what such a meter tells."""
    seconds = datetime(year, 1, 1, tzinfo=UTC).timestamp()
    assert EPOCHS[year] == seconds
    log = LogOptions((Past(200, 10.0),), clock_ahead=-seconds)
    meter = bench(maps(), log)
    (found,) = plausible(meter.judged(maps()))
    assert found.layout.epoch == year
    assert found.records[0].time_ms == meter.meter.log.truth().meter_ms[0] + round(seconds * 1000)


@pytest.mark.parametrize(("meter", "map_says"), [("bcd", "binary"), ("binary", "bcd")])
def test_a_calendar_in_the_other_coding_is_found(bench, maps, meter: str, map_says: str) -> None:
    def fields(coding: str) -> str:
        return TIMED.replace("CODING", coding)

    device = bench(maps(extent=COUNT, registers=5, fields=fields(meter)))
    found = plausible(device.judged(maps(extent=COUNT, registers=5, fields=fields(map_says))))
    assert [one.layout.turned for one in found] == [{Turn.CODING}]


COUNT = "count: {input: 100}"


@pytest.mark.parametrize(("wide", "said"), [(6, 4), (5, 4), (4, 6), (4, 7)])
def test_a_width_that_the_map_has_wrong_is_found_by_the_records_numbers(
    bench, maps, wide: int, said: int
) -> None:
    meter = bench(maps(registers=wide, fields=NUMBERED))
    found = plausible(meter.judged(maps(registers=said, fields=NUMBERED)))
    assert wide in [one.layout.registers for one in found]
    assert said not in [one.layout.registers for one in found]


def test_what_nothing_tells_apart_stands_side_by_side(bench, maps) -> None:
    """Only 16-bit words, no time: the bytes of 0x0101 are the same both ways round."""
    fields = "{speed: {at: 0, type: uint16, unit: m/s}}"
    own = maps(extent=COUNT, registers=1, fields=fields)
    meter = bench(own)
    found = plausible(meter.judged(own))
    assert len(found) >= 1
    assert found[0].layout.is_own(own.log_memory)


def test_only_what_can_make_a_difference_is_tried(maps) -> None:
    fields = "{speed: {at: 0, type: uint16, unit: m/s}}"
    tried = list(layouts(maps(extent=COUNT, registers=1, fields=fields).log_memory))
    assert [one.turned for one in tried] == [frozenset(), {Turn.BYTES}]
    assert {one.epoch for one in tried} == {1970}


def test_nothing_but_the_pointer_is_written(bench, maps) -> None:
    meter = bench(maps())
    meter.judged(maps())
    written = {request.start for request in meter.asked if isinstance(request, WriteRegisters)}
    assert written == {82}
    assert {type(request) for request in meter.asked if request.WRITES} == {WriteRegisters}


def test_a_lock_is_opened_and_closed_again_whatever_happens(bench, maps) -> None:
    locked = SESSION_AND_LOCK
    meter = bench(maps(extent=locked))
    meter.judged(maps(extent=locked))
    told = [
        request.words
        for request in meter.asked
        if isinstance(request, WriteRegisters) and request.start == 90
    ]
    assert told == [(1,), (0,)]


SESSION_AND_LOCK = """lock: {holding: 90, open: 1, close: 0}
  sessions:
    count: {input: 100}
    table: {input: 110, registers: 7}
    fields: {started: {at: 0, type: unix time}, interval: {at: 2, type: uint16, unit: s},
             records: {at: 3, type: uint32}, first: {at: 5, type: uint32}}"""


def test_a_queue_that_moves_on_is_not_read(bench, maps) -> None:
    queue = maps(extent=COUNT, registers=4, fields=NUMBERED, way="{queue: {address: 600, advance: by read}}")
    meter = bench(queue)
    with pytest.raises(WrongUse, match="to try it would take records out of the meter"):
        meter.judged(queue)
    assert meter.asked == []


def test_an_empty_memory_is_told(bench, maps) -> None:
    with pytest.raises(FellShort, match="the memory is empty"):
        bench(maps(), LogOptions((), recording=False)).judged(maps())


def test_an_extent_that_makes_no_sense_in_any_order_is_told(bench, maps) -> None:
    """The map looks for the count where the flow is."""
    meter = bench(maps())
    elsewhere = maps(extent=COUNT.replace("100", "1"))
    with pytest.raises(FellShort, match="does not tell how far its memory goes, in whatever order"):
        meter.judged(elsewhere)


def test_registers_that_are_not_there_are_told_with_the_meters_words(bench, maps) -> None:
    meter = bench(maps())
    with pytest.raises(FellShort, match=r"It was refused\."):
        meter.judged(maps(extent=COUNT.replace("100", "3000")))


@pytest.mark.parametrize(
    "way",
    [
        "{registers: {input: 1000}}",
        "{files: {first_file: 1, records_per_file: 100}}",
        "{queue: {address: 600, next_wanted: {holding: 86}}}",
    ],
)
def test_each_way_to_the_records_is_tried(bench, maps, way: str) -> None:
    meter = bench(maps(words="low first", way=way))
    (found,) = plausible(meter.judged(maps(way=way)))
    assert found.layout.turned == {Turn.WORDS}
    assert [record.record for record in found.records] == [0, 1, 199]


WINDOW = "{window: {pointer: {holding: 82}, echo: {holding: 400}, data: {holding: 401}, records: 10}}"


def test_a_window_that_does_not_go_where_it_is_sent_is_noticed_by_its_echo(bench, maps) -> None:
    """The map takes the first word of the flow for the echo."""
    meter = bench(maps())
    wrong = maps(
        way=WINDOW.replace("echo: {holding: 400}", "echo: {holding: 401}").replace("401}, rec", "402}, rec")
    )
    sampler = meter.sampler(wrong)
    sampler.sample(round(meter.clock.utc() * 1000), {}, {})
    assert any("says that it stands at" in note for note in sampler.notes)
