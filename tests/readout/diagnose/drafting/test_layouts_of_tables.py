"""Tables as manuals really lay them out: columns of addresses, numbering, headings between rows, ruled lines.

All tables are constructed; how manuals word and break their tables is common practice, no source.
"""

from protocols.modbus.tables import Table as Kind
from protocols.register_map.model import RegisterMap
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


def mapped(made: Draft) -> RegisterMap:
    parsed = parse_map(made.text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    return parsed.map


def asked(made: Draft) -> str:
    return "\n".join(one.question for one in made.questions)


def test_a_meter_with_32_bits_behind_each_address_is_asked_about_once() -> None:
    rows = "".join(f"{100 + n};V{n};UINT32;1;s\n" for n in range(30))
    made = drafted("Register;Name;Type;Words;Unit\n" + rows)
    about = [one for one in made.questions if "32 bits behind each address" in one.question]
    assert len(about) == 1
    assert about[0].answers[0] == "bytes_per_register=4"
    assert made.left_out == 0
    assert [value.number.addresses for value in mapped(made).readings] == [1] * 30
    apart = drafted("Register;Name;Type;Words;Unit\n" + rows, "bytes_per_register=2")
    assert apart.left_out == 15, "every second value lies on the one before"


def test_a_start_that_breaks_the_tables_habit_is_asked_about() -> None:
    starts = (101, 103, 105, 107, 109, 112)
    text = "Register;Name;Type;Unit\n" + "".join(f"{n};V{n};FLOAT;s\n" for n in starts)
    assert "V112: begins at an even number, most values of several registers do not" in asked(drafted(text))
    odd = drafted("Register;Name;Type;Unit\n" + "".join(f"{n};V{n};FLOAT;s\n" for n in starts[:-1]))
    assert "begin at odd numbers, which speaks for 1" in asked(odd)


def test_numbers_behind_a_table_digit_that_count_from_0_are_told() -> None:
    """40000 cannot be in a table that counts from 40001."""
    made = drafted("Register;Name;Type;Unit\n40000;A;UINT16;s\n40001;B;UINT16;s\n")
    assert [value.number.address for value in mapped(made).readings] == [0, 1]
    assert "count from 0, where they usually count from 1" in asked(made)


def test_addresses_with_letters_are_hexadecimal_and_zeros_in_front_are_asked_about() -> None:
    made = drafted("Register;Name;Type;Unit\n0010;A;UINT16;s\n001A;B;UINT16;s\n")
    assert [value.number.address for value in mapped(made).readings] == [16, 26]
    assert "hexadecimal without a mark of it, as 001A" in asked(made)
    text = "Register;Name;Type;Unit\n0010;A;UINT16;s\n0011;B;UINT16;s\n"
    assert "Are addresses such as 0010, with zeros in front, decimal" in asked(drafted(text))
    told = drafted(text, "addresses=hexadecimal")
    assert [value.number.address for value in mapped(told).readings] == [16, 17]


def test_headings_reserved_rows_and_remarks_stay_as_comments() -> None:
    text = (
        "Register;Name;Type;Unit;Remarks\nMeasured values;;;;\n30001;A;UINT16;s;updated once a second\n"
        "30002;Reserved;;;\nRegister;Name;Type;Unit;Remarks\n30003;B;UINT16;s;\nEnd of the table;;;;\n"
    )
    made = drafted(text)
    assert [value.name for value in mapped(made).readings] == ["a", "b"]
    for words in (
        "# Measured values",
        "remark: updated once a second",
        "Reserved: left out",
        "# End of the table",
    ):
        assert words in made.text
    assert made.questions == ()
    assert made.left_out == 0


def test_cells_without_a_heading_are_told_of() -> None:
    made = drafted("Register;Name;Type;Unit\n30001;A;UINT16;s;see chapter 7\n")
    assert "These columns were not used: 'column 5, which has no heading'" in asked(made)


def test_what_stands_above_the_headings_stays_in_the_map_as_comments() -> None:
    made = drafted(
        "Mere 5, revision B;;;\nFloats: low word first;;;\nRegister;Name;Type;Unit\n30001;A;INT16;s\n"
    )
    assert "\n# Mere 5, revision B\n# Floats: low word first\n" in made.text


TWO = """\
Address,Register,Name,Type,Unit
0000,30001,A,REAL,V
0002,30003,B,REAL,A
000A,30011,C,REAL,W
"""


def test_of_two_columns_of_addresses_the_one_with_table_digits_counts() -> None:
    made = drafted(TWO)
    assert [(one.number.table, one.number.address) for one in mapped(made).readings] == [
        (Kind.INPUT, 0),
        (Kind.INPUT, 2),
        (Kind.INPUT, 10),
    ]
    assert "addresses" not in asked(made)


def test_two_addresses_of_a_row_that_disagree_are_asked_about() -> None:
    (question,) = [one for one in drafted(TWO.replace("0002", "0004")).questions if "apart" in one.question]
    assert (question.lines, question.answers[0]) == ((3,), "3:address=30003")


def test_a_table_of_ruled_lines_is_read() -> None:
    text = (
        "| Register | Name | Type | Unit |\n|---|:---|---|---|\n| 30001 | A | REAL | s |\n|---|---|---|---|\n"
    )
    made = drafted(text)
    assert [value.name for value in mapped(made).readings] == ["a"]
    assert made.left_out == 0


def test_a_description_beside_the_name_holds_remarks() -> None:
    """And `Qty`, `Mult.` are what manuals in a hurry write for registers and multiplier."""
    made = drafted(
        "Reg.;Name;Format;Qty;Unit;Mult.;R/W;Description\n"
        "40005;Pressure;Int16;1;bar;0,001;R;gauge\n40013;Mode;UInt16;1;-;;R;0 = off, 1 = on\n"
    )
    pressure, mode = mapped(made).readings
    assert (pressure.unit, str(pressure.number.scale)) == ("bar(g)", "0.001")
    assert mode.codes == {0: "off", 1: "on"}
    assert "not used" not in asked(made)
