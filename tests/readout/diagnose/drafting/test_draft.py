"""A register table drafted into a map: what is read, what is asked, what is never settled silently.

All tables are constructed; wordings of headings and types are common practice, no source.
"""

import unicodedata
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.modbus.tables import Table as Kind
from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from readout.diagnose.drafting.asking import read_answers
from readout.diagnose.drafting.cells import Where, addresses, codes_of
from readout.diagnose.drafting.draft import Draft, draft
from readout.diagnose.drafting.kinds import scale_of, type_of
from readout.diagnose.drafting.table import Column, read_table

ENGLISH = "Register,Parameter,Data type,Words,Unit,Factor,Access,Range\n"


def drafted(text: str | bytes, named: dict[Column, str] | None = None) -> Draft:
    data = text.encode() if isinstance(text, str) else text
    return draft(read_table(data, named or {}), "Mere 5", "register-map.schema.json")


def mapped(made: Draft) -> RegisterMap:
    parsed = parse_map(made.text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    return parsed.map


def asked(made: Draft) -> str:
    return "\n".join(f"{one.line}: {one.question}" for one in made.questions)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_a_german_table_in_any_encoding_is_read_as_it_is_meant(encoding: str, delimiter: str) -> None:
    text = "Adresse;Bezeichnung;Datentyp;Einheit;Faktor\n30001;Wärme;UINT;°C;0,1\n"
    found = mapped(drafted(text.replace(";", delimiter).encode(encoding)))
    (value,) = found.readings
    assert (value.name, value.unit, value.number.address) == ("waerme", "degC", 0)
    assert (value.number.table, str(value.number.scale)) == (Kind.INPUT, "0.1")


def test_an_editor_is_led_to_the_schema_by_the_first_line() -> None:
    first = drafted(ENGLISH + "30001,Flow,float,2,m/s,,R,\n").text.splitlines()[0]
    assert first == "# yaml-language-server: $schema=register-map.schema.json"


def test_headings_of_a_kind_of_its_own_are_named() -> None:
    text = "Reg. Loc.;Was\n30001;Flow\n"
    with pytest.raises(ValueError, match="--column"):
        read_table(text.encode(), {})
    assert drafted(text, {Column.ADDRESS: "Reg. Loc.", Column.NAME: "Was"}).entries == 1


@pytest.mark.parametrize(
    ("rows", "question"),
    [
        ("30001,Total,UINT32,1,kg,,R,\n", "needs 2 registers"),
        ("30001,Level,UINT16,1,degC,,R,-30 to 80\n", "2: Level: the range begins below 0"),
        ("30001,A,UINT16,1,s,,R,\n30001,B,UINT16,1,s,,R,\n", "3: B: shares input 30001 with A (line 2)"),
        ("30005,A,UINT16,1,s,,R,\n30001,B,UINT16,1,s,,R,\n", "lies before the one above"),
        ("30001,A,UINT16,1,s,,R,\n30003,B,UINT16,1,s,,R,\n", "1 register before it is not listed"),
        ("30001,A,mystery,1,s,,R,\n", "the type 'mystery' is not known"),
        ("30001,A,UINT16,1,furlong,,R,\n", "the unit 'furlong' is not known"),
        ("30001,A,UINT16,1,s,see p. 4,R,\n", "the scale 'see p. 4' is not understood"),
        ("30001,A,UINT16,1,bar,,R,\n", "above the surrounding air"),
        ("1,A,UINT16,1,s,,R,\n", "from 0 or from 1"),
        ("0,A,UINT16,1,s,,R,\n", "Which table"),
        ("30001,A,float,2,s,,R,\n", "holds the high part"),
        ("30001,A,float,2,s,,R,\nTBD,B,float,2,s,,R,\n", "3: B: the address 'TBD' is no number"),
    ],
)
def test_what_the_table_leaves_open_is_asked(rows: str, question: str) -> None:
    assert question in asked(drafted(ENGLISH + rows))


def test_of_two_rows_that_overlap_one_stays_as_a_comment_with_its_reason() -> None:
    made = drafted(ENGLISH + "30001,Total,UINT32,1,kg,,R,\n30002,Hours,UINT16,1,h,,R,\n")
    assert (made.entries, made.left_out, made.passes) == (1, 1, True)
    assert "# hours: {input: 30002" in made.text
    assert "3: Hours: shares input 30002 with Total (line 2). Left out as a comment" in asked(made)


def test_a_writable_row_becomes_a_setting_that_nobody_may_write_yet() -> None:
    found = mapped(drafted(ENGLISH + "30001,Flow,float,2,m/s,,R,\n40010,Damping,U16,1,s,x0.1,R/W,\n"))
    (setting,) = found.settings
    assert (setting.name, setting.number.address, setting.writable) == ("damping", 9, False)


def test_a_blank_function_code_carries_on_from_the_row_above() -> None:
    text = "Address,Name,Type,Unit,FC\n0,Speed,float,m/s,04\n2,Level,uint16,s,\n"
    assert [value.number.table for value in mapped(drafted(text)).readings] == [Kind.INPUT, Kind.INPUT]


@pytest.mark.parametrize(
    ("text", "factor"),
    [("0.1", "0.1"), ("0,1", "0.1"), ("x0.1", "0.1"), ("/10", "0.1"), ("10^-1", "0.1"), ("1/1000", "0.001")],
)
def test_a_scale_is_read_in_each_wording(text: str, factor: str) -> None:
    assert str(scale_of(text)) == factor


def test_addresses_types_and_codes_are_read_in_each_wording() -> None:
    assert addresses("40001-40002") == addresses("40001/02") == Where(40001, 40002)
    assert addresses("0x001A") == addresses("1Ah") == Where(26, None, is_hex=True)
    words = ("REAL", "IEEE754", "U16", "long", "DWORD", "string(16)", "BCD", "strange")
    assert [type_of(word) for word in words] == [
        *("float32", "float32", "uint16", "int32", "uint32", "text", "bcd16"),
        None,
    ]
    assert codes_of("0 = off, 1 = on") == {0: "off", 1: "on"}


_CELLS = st.sampled_from(
    [
        "30001",
        "0x1F",
        "40001-2",
        "REAL",
        "string(999)",
        '"',
        "\0",
        "0 = }  # x, 1 = \u2028",
        "°C",
        "-",
        "\ud7ff",
        "1e9",
    ]
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.one_of(_CELLS, st.text(max_size=8)), max_size=8), max_size=6), st.binary(max_size=60)
)
def test_no_table_gives_a_traceback_and_every_draft_that_passes_is_a_map(
    rows: list[list[str]], tail: bytes
) -> None:
    lines = "\n".join(",".join(row) for row in rows)
    made = drafted(ENGLISH.encode() + lines.encode("utf-8", "replace") + tail)
    assert made.passes == (parse_map(made.text.encode(), "map.yaml").map is not None)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=200))
def test_bytes_that_are_no_table_are_told_to_be_none(data: bytes) -> None:
    with pytest.raises(ValueError, match="heading"):
        drafted(data)


@pytest.mark.parametrize("data", [b"PK\x03\x04abc", b"%PDF-1.7 Register;Name", b"\xd0\xcf\x11\xe0\xa1"])
def test_a_file_that_is_no_text_is_told_what_it_is(data: bytes) -> None:
    with pytest.raises(ValueError, match=r"this is a (workbook|PDF); copy its table .* save it as CSV"):
        read_table(data, {})


def test_bits_of_a_row_that_is_left_out_are_left_out_with_it() -> None:
    text = "30001,A,UINT16,1,s,,R\n30002,Flags,WORD,1,,,R,\n,Bit 0: x,,,,,,\n30003,Reserved,,,,,,\n30004,,,\n"
    table = read_table((ENGLISH + text).encode(), {})
    made = draft(table, "x", "s", answers=read_answers(["3:leave-out", "unit_address=12"]))
    (value,) = mapped(made).readings
    assert (value.name, dict(value.bits), made.questions) == ("a", {}, ())
    assert "Bit 0: x: left out with the row above" in made.text


def test_an_address_0_settles_the_numbering_and_says_so() -> None:
    made = drafted(ENGLISH + "0,A,UINT16,1,s,,R,\n")
    assert "  numbering: from 0  # 0 is listed\n" in made.text
    assert "from 0 or from 1" not in asked(made)


@pytest.mark.parametrize("column", range(8))
@pytest.mark.parametrize("cell", ["x10", "Bit 1: ", ", ", "0.1 bar "])
def test_a_cell_of_a_hundred_thousand_characters_costs_no_time(cell: str, column: int) -> None:
    """`x10` repeated in a type's cell once took minutes; all of these together take a second."""
    cells = ["30001", "A", "UINT16", "1", "s", "0.1", "R", "0...5"]
    cells[column] = cell * (100_000 // len(cell))
    made = drafted(ENGLISH + ",".join(f'"{one}"' for one in cells) + "\n30009,Z,UINT16,1,s,,R,\n")
    assert made.passes
    assert max(map(len, made.text.splitlines())) < 1500


def test_coils_with_their_digit_0_are_coils() -> None:
    text = "Register,Name,FC\n00001,A,\n2,B,01\n10001,C,02\n30001,D,04\n40001,E,03\n"
    made = drafted(text)
    places = [(one.number.table, one.number.address) for one in mapped(made).readings]
    assert places == [(Kind.COIL, 0), (Kind.COIL, 1), (Kind.DISCRETE, 0), (Kind.INPUT, 0), (Kind.HOLDING, 0)]
    assert "digit" not in asked(made)
    assert "zeros in front" not in asked(made)


def test_a_range_below_absolute_zero_is_asked_to_be_one_of_raw_numbers() -> None:
    """-800 × 0.1 = -80."""
    made = drafted(ENGLISH + "30001,Dew point,INT16,1,degC,0.1,R,-800 to 200\n")
    question = made.questions[0]
    assert "below -273.15 °C" in question.question
    assert question.answers == ("2:range=-80 to 20",)


@pytest.mark.parametrize("form", ["NFC", "NFD"])
@pytest.mark.parametrize(
    ("label", "name"),
    [
        ("Durchfluß Übergröße", "durchfluss_uebergroesse"), ("Öldruck", "oeldruck"), ("Gerät", "geraet"),
        ("Trykk på rør", "trykk_paa_roer"), ("Débit d'air", "debit_d_air"),
    ],
)  # fmt: skip
def test_a_name_keeps_its_umlauts_as_two_letters(label: str, name: str, form: Literal["NFC", "NFD"]) -> None:
    """DIN 5007-2 and the spelling of passports; NFD has a letter and its accent apart."""
    made = drafted(unicodedata.normalize(form, f"{ENGLISH}30001,{label},UINT16,1,s,,R,\n"))
    assert [one.name for one in mapped(made).readings] == [name]
