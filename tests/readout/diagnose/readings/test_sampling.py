"""What is asked of a meter for trying: its registers, neighbours and the other table, and never too much."""

from collections.abc import Callable

import pytest

from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.register_map.model import Column, RegisterMap
from protocols.register_map.parse import parse_map
from readout.diagnose.readings.sampling import SILENT_MOST, Answer, Sampler
from readout.errors import FellShort

REFUSED = Answer(None, text="exception 02, illegal data address")
SILENT = Answer(None, silent=True, text="no reply")


def map_of(readings: str, more: str = "") -> RegisterMap:
    parsed = parse_map(f"register_map: 1\nmeter: m\n{more}readings:\n{readings}".encode(), "map.yaml")
    assert parsed.map is not None, [str(fault) for fault in parsed.faults]
    return parsed.map


class Meter:
    """Gives the registers of its spans, each holding its address; anything else by `otherwise`."""

    def __init__(self, spans: dict[Table, range], otherwise: Answer = REFUSED, most: int = 125) -> None:
        self.spans, self.otherwise, self.most = spans, otherwise, most
        self.asked: list[tuple[Table, int, int]] = []

    def __call__(self, request: ReadRequest, _words_per_address: int) -> Answer:
        table, first, count = request.table, request.start, request.count
        self.asked.append((table, first, count))
        there = self.spans.get(table, range(0))
        if count > self.most or any(at not in there for at in range(first, first + count)):
            return self.otherwise
        return Answer(list(range(first, first + count)))


def registers(meter: Callable[[ReadRequest, int], Answer], found: RegisterMap) -> dict[Column, int]:
    return dict(Sampler(found, meter).registers(found.readings[0]))


FLOW = map_of("  flow: {input: 10, type: float32, unit: m/s, basis: actual}\n")


def test_a_generous_meter_is_asked_twice_once_a_table() -> None:
    meter = Meter({Table.INPUT: range(100), Table.HOLDING: range(100)})
    found = registers(meter, FLOW)
    assert {column.table for column in found} == {Table.INPUT, Table.HOLDING}
    for table in (Table.INPUT, Table.HOLDING):
        assert {Column(table, at) for at in range(9, 15)} <= found.keys()
    assert all(word == column.address for column, word in found.items())
    assert len(meter.asked) <= 3


@pytest.mark.parametrize("span", [range(10, 12), range(9, 12), range(10, 13), range(8, 14)])
def test_whatever_joins_the_value_is_read_where_the_meter_ends(span: range) -> None:
    found = registers(Meter({Table.INPUT: span}), FLOW)
    assert set(found) == {Column(Table.INPUT, at) for at in span if 9 <= at < 16}


def test_a_value_that_is_not_where_the_map_says_is_looked_for_beside_it() -> None:
    meter = Meter({Table.INPUT: range(11, 20), Table.HOLDING: range(10, 12)})
    found = registers(meter, FLOW)
    assert Column(Table.INPUT, 11) in found
    assert {Column(Table.HOLDING, 10), Column(Table.HOLDING, 11)} <= found.keys()


def test_the_maps_limit_on_a_read_is_kept() -> None:
    found = map_of("  flow: {input: 10, type: float32, unit: m/s}\n", "wire: {registers_per_read: 3}\n")
    meter = Meter({Table.INPUT: range(100)}, most=3)
    registers(meter, found)
    assert max(count for _, _, count in meter.asked) <= 3


def test_a_silent_meter_is_given_up_and_a_silent_neighbourhood_left_alone() -> None:
    silent = Meter({}, otherwise=SILENT)
    with pytest.raises(FellShort, match="no reply"):
        registers(silent, FLOW)
    assert len(silent.asked) <= SILENT_MOST + 1
    shy = Meter({Table.INPUT: range(10, 12)}, otherwise=SILENT)
    sampler = Sampler(FLOW, shy)
    found = sampler.registers(FLOW.readings[0])
    assert set(found) == {Column(Table.INPUT, 10), Column(Table.INPUT, 11)}
    asked = len(shy.asked)
    sampler.registers(FLOW.readings[0])
    assert shy.asked[asked:] == [(Table.INPUT, 10, 2)], "no more silences are bought"
    assert any("stays silent" in note for note in sampler.notes)
