"""A table of values, played back through a simulated meter. All tables here are constructed."""

from decimal import Decimal

import pytest

from protocols.register_map.model import RegisterMap
from simulators.errors import WrongValues
from simulators.plant import Moment, PlantValues, Quantity, ReplayedValues, read_values


def table(meter_map: RegisterMap, text: str) -> ReplayedValues:
    return read_values(text.encode(), "hall.csv", meter_map, PlantValues())


def shown(replay: ReplayedValues, meter_map: RegisterMap, name: str, running: float) -> Quantity:
    value = meter_map.reading(name)
    return replay.quantity(value, value.unit, Moment(1_777_975_200.0, running))


def test_a_row_holds_until_the_next_and_the_last_for_ever(meter_map: RegisterMap):
    replay = table(meter_map, "seconds,flow,pressure\n0,412.5,6.98\n10,,7.01\n15.5,398,7\n")
    told = {t: shown(replay, meter_map, "flow", t) for t in (0, 9.99, 10, 15.49, 15.5, 1e9)}
    assert told == {
        0: Decimal("412.5"),
        9.99: Decimal("412.5"),
        10: None,
        15.49: None,
        15.5: Decimal(398),
        1e9: Decimal(398),
    }
    assert shown(replay, meter_map, "pressure", 12) == Decimal("7.01")


def test_without_seconds_there_is_one_row_a_second_and_a_blank_line_is_none(meter_map: RegisterMap):
    replay = table(meter_map, 'flow\n1\n\n2\n""\n4\n\n')
    assert [shown(replay, meter_map, "flow", t) for t in (0, 0.9, 1, 2, 3, 99)] == [1, 1, 2, None, 4, 4]


def test_before_the_first_row_the_first_row_holds(meter_map: RegisterMap):
    assert shown(table(meter_map, "seconds,flow\n5,7\n"), meter_map, "flow", 0) == 7


def test_readings_without_a_column_come_from_the_plant(meter_map: RegisterMap):
    replay = table(meter_map, "flow\n1\n")
    value = meter_map.reading("velocity")
    moment = Moment(1_777_975_200.0, 3.0)
    assert replay.quantity(value, "m/s", moment) == PlantValues().quantity(value, "m/s", moment)


def test_windows_line_ends_and_a_byte_order_mark_are_taken(meter_map: RegisterMap):
    replay = read_values(b"\xef\xbb\xbfseconds,flow\r\n0,1\r\n1,2\r\n", "hall.csv", meter_map, PlantValues())
    assert shown(replay, meter_map, "flow", 1) == 2


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("", ["hall.csv:1: The file is empty; its first line names the readings."]),
        ("flow\n", ["hall.csv:1: There is no row below the names."]),
        ("flwo\n1\n", ["hall.csv:1: The map has no reading 'flwo'; did you mean 'flow'?"]),
        ("flow,flow\n1,2\n", ["hall.csv:1: 'flow' names two columns."]),
        ("flow,seconds\n1,2\n", ["hall.csv:1: 'seconds' must be the first column."]),
        ("flow,pressure\n1\n", ["hall.csv:2: There are 1 cells, the first line names 2."]),
        (
            "seconds,flow\n0,1\n0,2\n",
            ["hall.csv:3: 0 s does not come after 0 s in the row before."],
        ),
        ("seconds,flow\n-1,1\n", ["hall.csv:2: '-1' is not a number of seconds since the start."]),
        (
            "flow\n1\nnan\n1e\n",
            [
                "hall.csv:3: 'nan' is not a number for 'flow'; leave the cell empty for none.",
                "hall.csv:4: '1e' is not a number for 'flow'; leave the cell empty for none.",
            ],
        ),
        (
            "flow,total\n1,\n",
            ["hall.csv:2: 'total' is empty, but the map gives it no not_available value."],
        ),
        ('flow\n1\n"2\n', ["hall.csv:3: This line cannot be split into cells (unexpected end of data)."]),
        (
            "flow,pressure\n1,70\n",
            [
                "hall.csv:2: pressure = 70 bar cannot be told by input 20 (uint16 × 0.001), which holds 0 to "
                "65.535."
            ],
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line(meter_map: RegisterMap, text: str, faults: list[str]):
    with pytest.raises(WrongValues) as told:
        table(meter_map, text)
    assert str(told.value).split("\n") == faults


def test_a_file_that_is_no_text_is_refused_with_the_line(meter_map: RegisterMap):
    with pytest.raises(WrongValues, match=r"^hall.csv:2: This is not UTF-8 text"):
        read_values(b"flow\n\xff\n", "hall.csv", meter_map, PlantValues())
