"""Rows that only mean something together: halves of a value, a unit that another register tells.

All tables are constructed; how manuals word them is common practice, no source.
"""

import pytest

from protocols.register_map.model import Value
from protocols.register_map.parse import parse_map
from readout.diagnose.drafting.asking import read_answers
from readout.diagnose.drafting.draft import Draft, draft
from readout.diagnose.drafting.table import read_table


def drafted(text: str, *answers: str) -> Draft:
    return draft(read_table(text.encode(), {}), "Mere 5", "s.json", answers=read_answers(answers))


def readings(made: Draft) -> tuple[Value, ...]:
    parsed = parse_map(made.text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    return tuple(parsed.map.readings)


HALVES = [
    ("Zählerstand, High-Teil", "Zählerstand, Low-Teil", "high first"),
    ("Zähler niederwertiger Teil", "Zähler höherwertiger Teil", "low first"),
    ("Total high word", "Total low word", "high first"),
    ("Total (low part)", "Total (high part)", "low first"),
    ("Compteur, mot haut", "Compteur, mot bas", "high first"),
    ("Compteur, mot de poids faible", "Compteur, mot de poids fort", "low first"),
]


@pytest.mark.parametrize("common", ["low first", "high first"])
@pytest.mark.parametrize(("one", "other", "order"), HALVES)
def test_joined_halves_have_the_order_of_their_names_not_that_of_the_table(
    one: str, other: str, order: str, common: str
) -> None:
    text = f'Register;Name;Type;Unit\n30001;"{one}";WORD;s\n30002;"{other}";WORD;s\n'
    whole = f"word_order={common}"
    (question,) = drafted(text, whole).questions
    assert f"2:word_order={order}" in question.answers[0]
    for answer in (question.answers[0], "2:type=uint32; 3:leave-out", "2:type=uint32; 3:leave-out; 2:name=T"):
        (total,) = readings(drafted(text, whole, answer))
        assert (total.number.kind, total.number.address, total.number.word_order) == ("uint32", 0, order)
    assert (
        f"{order}, by its name and that of line 3" in drafted(text, whole, "2:type=uint32; 3:leave-out").text
    )
    contrary = "low first" if order == "high first" else "high first"
    (total,) = readings(drafted(text, whole, f"2:type=uint32; 3:leave-out; 2:word_order={contrary}"))
    assert total.number.word_order == contrary, "what was answered goes before a name"


def test_a_setting_may_be_called_flow_unit_and_a_reading_may_not() -> None:
    """docs/maps.md: `flow_unit` is compared with the point file; `NAME_unit` is a column beside a reading."""
    text = (
        "Register;Name;Type;Unit;Access;Remarks\n40001;Flow;FLOAT;m/s;R;\n"
        "40003;Einheit;UINT16;;{access};0 = m3/h, 1 = l/min\n"
    )
    made = drafted(text.format(access="R/W"), "3:name=flow_unit")
    assert "  flow_unit: {holding: 40003," in made.text
    assert made.passes
    made = drafted(text.format(access="R"), "3:name=flow_unit")
    assert "  meter_flow_unit_value: {holding: 40003," in made.text
    assert made.passes
