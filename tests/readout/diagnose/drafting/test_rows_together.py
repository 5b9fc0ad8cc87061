"""Rows that only mean something together: halves of a value, a unit that another register tells.

All tables are constructed; how manuals word them is common practice, no source.
"""

import pytest

from protocols.register_map.model import Value
from protocols.register_map.parse import parse_map
from readout.diagnose.drafting.asking import read_answers
from readout.diagnose.drafting.draft import Draft, draft
from readout.diagnose.drafting.table import read_table

#: What every table leaves open, and what is not asked here.
OF_THE_METER = ("fluid=compressed air", "unit_address=12")


def drafted(text: str, *answers: str) -> Draft:
    return draft(
        read_table(text.encode(), {}), "Mere 5", "s.json", answers=read_answers([*OF_THE_METER, *answers])
    )


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


TOLD = (
    "Register;Name;Type;Unit;Access;Remarks\n40002;Normvolumenstrom;UINT16;{cell};R;20 °C, 1 bar\n"
    "40003;Druck;UINT16;s;R;\n40004;{name};UINT16;;R/W;0 = m³/h, 1 = l/min\n"
)


@pytest.mark.parametrize(
    ("cell", "name"),
    [
        ("siehe 40004", "Auswahl"),
        ("see 40004", "Selection"),
        ("by register 40004", "Selection"),
        ("40004", "Selection"),
        ("", "Einheit des Volumenstroms"),
        ("", "Unité de normvolumenstrom"),
        ("m3/h", "Unit flow"),
    ],
)
def test_a_unit_that_another_row_tells_is_asked_about_and_written_as_answered(cell: str, name: str) -> None:
    text = TOLD.format(cell=cell, name=name)
    question = drafted(text).questions[0]
    assert question.lines == (2,)
    assert f"does line 4 ({name}) tell its unit: m3/h, l/min?" in question.question
    assert question.answers == ("2:unit-from=4", "2:unit=m3/h")
    made = drafted(text, "2:unit-from=4")
    (left,) = made.questions
    assert "without its conditions" in left.question
    made = drafted(text, "2:unit-from=4", left.answers[1])
    assert made.questions == ()
    flow = next(line for line in made.text.splitlines() if "40002" in line)
    assert "unit: {holding: 40004, type: uint16, codes: {0: m3/h, 1: l/min}}" in flow
    assert f"its unit is told by line 4 ({name})" in flow
    assert len(readings(made)) == 2
    assert '{holding: 40004, type: uint16, codes: {0: "m³/h", 1: "l/min"}}' in made.text, "its own row stays"
    assert readings(drafted(text, "2:unit=l/min", "2:basis=actual"))[0].unit == "l/min"


def test_a_unit_register_that_no_read_reaches_with_its_value_leaves_the_row_out_and_says_why() -> None:
    text = TOLD.format(cell="see 40090", name="X").replace("40004;", "40090;")
    made = drafted(text, "2:unit-from=4", "2:basis=actual")
    (question,) = made.questions
    assert "cannot come from one read" in question.question
    assert made.passes
    assert len(readings(drafted(text, "2:unit-from=4", "2:basis=actual", *question.answers))) == 2


def test_a_unit_register_that_is_not_there_is_asked_for() -> None:
    questions = drafted(TOLD.format(cell="see 40099", name="X")).questions
    assert "'see 40099' names a register, and no row of that number" in questions[0].question


@pytest.mark.parametrize("number", ["40013", "0.1", "-1", "1,000"])
def test_a_number_as_a_unit_is_refused_and_the_other_answer_named(number: str) -> None:
    with pytest.raises(ValueError, match=r"a number is no unit; .* unit-from=LINE"):
        read_answers([f"3:unit={number}"])
    assert read_answers(["3:unit=1"]).rows == {3: {"unit": "1"}}


def test_a_line_whose_codes_are_no_units_tells_no_unit() -> None:
    text = TOLD.format(cell="", name="X").replace("1 = l/min", "1 = off")
    for line in (2, 3, 4, 9):
        with pytest.raises(
            ValueError, match=f"answer 2:unit-from={line}: write the line of a row whose codes"
        ):
            drafted(text, f"2:unit-from={line}")


@pytest.mark.parametrize(
    ("name", "answers", "asks", "gauge"),
    [
        ("Pressure", (), True, False),
        ("Pressure", ("2:gauge=true",), False, True),
        ("Überdruck", (), False, True),
        ("Pressure absolute", (), False, False),
        ("Absolutdruck", (), False, False),
        ("Pression", ("2:codes=pression relative",), False, True),
    ],
)
def test_a_pressure_whose_unit_is_told_is_asked_what_it_is_counted_from(
    name: str, answers: tuple[str, ...], asks: bool, gauge: bool
) -> None:
    text = (
        f"Register;Name;Type;Unit;Access;Remarks\n40001;{name};UINT16;see 40002;R;\n"
        "40002;Unit;UINT16;;R/W;0 = bar, 1 = kPa\n"
    )
    made = drafted(text, "2:unit-from=3", *answers)
    assert [one.answers for one in made.questions] == [("2:gauge=true", "2:gauge=false")] * asks
    assert bool(readings(made)[0].gauge) is gauge


@pytest.mark.parametrize(
    ("name", "remark", "gauge"),
    [
        ("Pressure", "", None), ("Pressure gauge", "", True), ("Druck", "Überdruck", True),
        ("Ueberdruck", "", True), ("Pression", "relative", True), ("P", "bar (g)", True),
        ("Absolutdruck", "", False), ("Pression absolue", "", False), ("Druck abs.", "", False),
        ("p abs", "", False), ("P (a)", "", False), ("Relative or absolute pressure", "", None),
        ("Pressure", "absorbed power beside it", None), ("Disengaged", "", None),
    ],
)  # fmt: skip
def test_gauge_or_absolute_is_one_answer_wherever_the_unit_is_told(
    name: str, remark: str, gauge: bool | None
) -> None:
    """In the row's own cell, and by another register: the same words, the same answer, the same remark."""
    head = "Register;Name;Type;Unit;Access;Remarks\n"
    own = drafted(f"{head}40001;{name};UINT16;bar;R;{remark}\n")
    unit = readings(own)[0].unit
    assert unit == {None: "bar", True: "bar(g)", False: "bar(a)"}[gauge]
    other = drafted(
        f"{head}40001;{name};UINT16;see 40002;R;{remark}\n40002;Unit;UINT16;;R/W;0 = bar, 1 = kPa\n",
        "2:unit-from=3",
    )
    keys = {None: "", True: ", gauge: true", False: ", gauge: false"}[gauge]
    row = next(line for line in other.text.splitlines() if "# line 2: " in line)
    assert ("gauge: " in row.partition("#")[0]) is bool(keys)
    assert keys in row
    questions = [[one.question for one in made.questions] for made in (own, other)]
    assert questions[0] == questions[1]
    assert len(questions[0]) == (gauge is None)
    remarks = [line.partition("# line 2: ")[2].split("; ")[-1] for made in (own, other)
               for line in made.text.splitlines() if "# line 2: " in line]  # fmt: skip
    assert remarks[0] == remarks[1] or gauge is None
