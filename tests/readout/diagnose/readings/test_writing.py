"""A chosen way put into a map's text: the map that was meant comes out, and its comments stay."""

import random
from pathlib import Path

import pytest

from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from readout.diagnose.readings.choosing import Choice
from readout.diagnose.readings.ways import Way, forms, own_way, places
from readout.diagnose.readings.writing import with_choices
from readout.errors import FellShort

ROOT = Path(__file__).parents[4]
MAPS = sorted((*ROOT.glob("tests/golden/meters/maps/*.yaml"), *ROOT.glob("demo_data/*/*-meter.yaml")))


def read(text: str) -> RegisterMap:
    parsed = parse_map(text.encode(), "map.yaml")
    assert parsed.map is not None, [str(fault) for fault in parsed.faults]
    return parsed.map


@pytest.mark.parametrize("file", MAPS, ids=lambda file: file.stem)
def test_any_way_of_any_value_of_any_map_is_written_or_refused(file: Path) -> None:
    """What is written reads as was meant (`with_choices` reads it again; here once more, by itself)."""
    chance = random.Random(file.stem)
    text = file.read_text(encoding="utf-8")
    register_map = read(text)
    written = 0
    sentences: list[tuple[str, str]] = []
    for value in (*register_map.readings, *register_map.settings, *register_map.identity):
        tried = [Way(form, place) for form in forms(value) for place in places(value)]
        ways = [way for way in tried if value.number.address + way.place.shift >= 0]
        for way in chance.sample(ways, min(3, len(ways))):
            try:
                new = read(with_choices(text, register_map, [Choice(value, way)]))
            except FellShort as refusal:
                sentences.append((value.name, str(refusal)))
                continue
            written += 1
            (there,) = [
                one for one in (*new.readings, *new.settings, *new.identity) if one.name == value.name
            ]
            meant = way.value(value)
            assert there.parts() == meant.parts()
            assert (there.coding, there.unit, there.range) == (meant.coding, meant.unit, meant.range)
    assert all(name in sentence for name, sentence in sentences)
    assert all("by hand" in sentence for _, sentence in sentences)
    assert written > len(register_map.readings), "more than the maps' own ways can be written"


def test_the_maps_own_way_changes_nothing() -> None:
    for file in MAPS:
        text = file.read_text(encoding="utf-8")
        register_map = read(text)
        for value in register_map.readings:
            assert with_choices(text, register_map, [Choice(value, own_way(value))]) == text


TEXT = """\
# From the manual, page 12
register_map: 1
meter: Mere 5 vane meter
wire: {numbering: table digit, word_order: low first} # as it says

readings:
  # the display calls it F1
  flow: {input: 30001, type: float32, unit: l/min, basis: actual} # first line of the table
  total:
    input: 30003   # two registers
    type: uint32
    unit: kg
    not_available: ["FFFF FFFF"]
    plus: [{input: 30005, type: uint16, scale: 0.001}]
  spare: {input: 30010, type: uint32, unit: 1, not_available: ["FFFF FFFF", 7]}
"""


def changed(name: str, words: str) -> str:
    from readout.diagnose.readings.choosing import words_for

    register_map = read(TEXT)
    value = next(one for one in register_map.readings if one.name == name)
    ways = [Way(form, place) for form in forms(value) for place in places(value)]
    way = next(way for way in ways if words_for(value, way, register_map.wire.numbering) == words)
    return with_choices(TEXT, register_map, [Choice(value, way)])


def test_only_the_keys_of_the_value_change_and_comments_stay() -> None:
    found = changed("flow", "float32:ABCD:holding:40002")
    was = "flow: {input: 30001, type: float32, unit: l/min, basis: actual} # first line of the table"
    now = (
        "flow: {holding: 40002, type: float32, unit: l/min, basis: actual, word_order: high first}"
        " # first line of the table"
    )
    assert found == TEXT.replace(was, now)


def test_further_parts_move_along() -> None:
    found = changed("total", "uint32:CDAB:input:30004")
    moved = TEXT.replace("input: 30003   # two", "input: 30004   # two").replace(
        "input: 30005", "input: 30006"
    )
    assert found == moved


def test_words_of_another_width_are_left_out_and_numbers_stay() -> None:
    assert "spare: {input: 30010, type: uint16, unit: 1, not_available: [7]}" in changed(
        "spare", "uint16:AB:input:30010"
    )


def test_a_map_that_would_have_a_fault_is_not_written() -> None:
    """The next value is in the way: nothing overlaps silently."""
    with pytest.raises(FellShort, match=r"flow: the map would then have a fault: overlaps"):
        changed("flow", "float32:CDAB:input:30002")
