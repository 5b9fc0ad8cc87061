"""The manual of register maps says what the program does: its examples are read, its faults are compared."""

import re
from pathlib import Path

import pytest

from protocols.register_map import grammar as g
from protocols.register_map.grammar import memory as m
from protocols.register_map.parse import parse_map

MANUAL = (Path(__file__).parents[3] / "docs/maps.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```yaml\n(.*?)```", MANUAL, re.DOTALL)
WRONG = re.search(r"```yaml wrong\n(.*?)```\n\n```text\n(.*?)```", MANUAL, re.DOTALL)


@pytest.mark.parametrize("block", BLOCKS)
def test_every_example_is_a_map_without_a_word_against_it(block: str) -> None:
    text = block if block.startswith("register_map") else "register_map: 1\nmeter: m\n" + block
    parsed = parse_map(text.encode(), "manual.yaml")
    assert parsed.faults == ()
    assert parsed.map is not None


def test_the_faults_shown_are_the_faults_told() -> None:
    assert WRONG is not None
    text, shown = WRONG.groups()
    assert [str(fault) for fault in parse_map(text.encode(), "mere-5.yaml").faults] == shown.splitlines()


MEANS = (Path(__file__).parents[3] / "docs/what-the-manual-means.md").read_text(encoding="utf-8")


def test_what_a_printed_number_means_is_what_is_asked_for() -> None:
    rows = re.findall(r"^\| [^|]+ \| `('?from .*?|table digit)` \| `(\w+): (\w+)` \| (\d+) \|$", MEANS, re.M)
    assert len(rows) == 5
    for numbering, table, printed, address in rows:
        text = (
            f"register_map: 1\nmeter: m\nwire: {{numbering: {numbering}}}\n"
            f"readings: {{a: {{{table}: {printed}, type: uint16, unit: s}}}}\n"
        )
        parsed = parse_map(text.encode(), "manual.yaml")
        assert parsed.map is not None, parsed.faults
        number = parsed.map.readings[0].number
        assert (str(number.table), number.address) == (table, int(address))


def test_the_words_of_a_manual_lead_to_types_that_there_are() -> None:
    (rows,) = re.findall(r"^\| the manual says \| `type` \|\n\|[-| ]+\n((?:\|.*\n)+)", MEANS, re.M)
    kinds = [kind for row in rows.splitlines() for kind in re.findall(r"`([^`]+)`", row)]
    assert set(kinds) <= set(g.KINDS)
    assert len(kinds) == 11


MEMORY = [m.MEMORY, m.RECORD.form, m.SESSIONS.form, m.SESSION_FIELDS.form, *(way.form for way in m.WAYS)]


@pytest.mark.parametrize("form", [g.MAP, g.WIRE.form, g.SETTING, *MEMORY])
def test_every_key_is_in_the_manual(form: g.Keys) -> None:
    missing = [
        key.name for key in form.keys if f"`{key.name}`" not in MANUAL and f"`{key.name}:" not in MANUAL
    ]
    in_examples = ("type", "registers", "layout", "coding", "data", "first_file", "address")
    assert [name for name in missing if name not in in_examples] == []


def test_every_type_and_reserved_name_is_in_the_manual() -> None:
    flat = " ".join(MANUAL.split())
    assert [kind for kind in g.KINDS if kind not in flat] == []
    assert ", ".join(g.RESERVED) in flat
