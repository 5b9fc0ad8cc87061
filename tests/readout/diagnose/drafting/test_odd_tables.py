"""Register tables as manuals really print them: merged cells, units in other cells, bits, three languages.

All tables are constructed; how manuals word and break their tables is common practice, no source.
"""

import re

import pytest

from protocols.modbus.tables import Table as Kind
from protocols.register_map.model import RegisterMap, Value
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


def reading(text: str, *answers: str) -> Value:
    (found,) = mapped(drafted(text, *answers)).readings
    return found


def asked(made: Draft) -> str:
    return "\n".join(one.question for one in made.questions)


def row_of(made: Draft, name: str) -> str:
    (line,) = [line for line in made.text.splitlines() if line.strip(" #").startswith(f"{name}: ")]
    return line


GERMAN = """\
Adresse (hex);Bezeichnung;Datentyp;Anzahl Register;Einheit;Skalierung;Zugriff;Wertebereich;Bemerkung
0010;Geschwindigkeit;Gleitkomma 32 Bit;2;m/s;;L;0 bis 180;
001A;Druck;vorzeichenlos 16 Bit;1;bar;0,001;L;0…16;Überdruck
001B;Temperatur;Ganzzahl 16 Bit mit Vorzeichen;1;0,1 °C;;L;-40…120;32767 = kein Sensor
001C;Dämpfung;UINT16;1;s;/10;L/S;0…60;
"""
FRENCH = """\
Adresse\tDésignation\tType de données\tLongueur\tUnité\tFacteur d'échelle\tAccès\tPlage\tRemarques
30017\tVitesse\tflottant 32 bits\t2\tm/s\t\tlecture seule\t0 à 180\t
30027\tPression\tentier non signé 16 bits\t1\tbar\t0,001\tL\t0 à 16\tpression relative
30028\tTempérature\tentier signé 16 bits\t1\t0,1 °C\t\tL\t-40 à 120\t32767 = non disponible
40029\tAmortissement\tentier non signé 16 bits\t1\ts\t/10\tL/E\t0 à 60\t
"""


@pytest.mark.parametrize(
    ("text", "answers"), [(GERMAN, ["table=input"]), (FRENCH, [])], ids=["German", "French"]
)
def test_a_german_and_a_french_table_are_the_same_meter(text: str, answers: list[str]) -> None:
    """0x10 is 16, 0x1A 26, 0x1B 27; 30017 is the input register sent as 16."""
    found = mapped(drafted(text, *answers))
    speed, pressure, temperature = found.readings[:3]
    assert [one.number.address for one in found.readings[:3]] == [16, 26, 27]
    assert (speed.number.kind, speed.unit) == ("float32", "m/s")
    assert (pressure.number.kind, pressure.unit, pressure.gauge) == ("uint16", "bar(g)", True)
    assert (temperature.number.kind, str(temperature.number.scale), temperature.unit) == (
        "int16",
        "0.1",
        "degC",
    )
    assert [int(one) for one in temperature.not_available.numbers] == [32767]
    assert temperature.range is not None
    assert [int(temperature.range.low), int(temperature.range.high)] == [-40, 120]
    assert temperature.name in ("temperatur", "temperature")


@pytest.mark.parametrize(
    ("type_cell", "unit_cell", "scale_cell", "want"),
    [
        ("UINT16", "0.1 bar(g)", "", ("uint16", "0.1", "bar(g)")),
        ("UINT16", "bar(g)", "0,1", ("uint16", "0.1", "bar(g)")),
        ("UINT16", "", "0.1 bar(g)", ("uint16", "0.1", "bar(g)")),
        ("UINT16 (0.1 barg)", "", "", ("uint16", "0.1", "bar(g)")),
        ("INT16 x0.1", "°C", "", ("int16", "0.1", "degC")),
        ("INT16/10", "°C", "", ("int16", "0.1", "degC")),
        ("16-bit signed integer", "°C/10", "", ("int16", "0.1", "degC")),
        ("UINT32", "m/s x 0.01", "", ("uint32", "0.01", "m/s")),
        ("unsigned int 32, 1/100", "m/s", "", ("uint32", "0.01", "m/s")),
        ("REAL", "Volts", "", ("float32", "1", "V")),
        ("UINT32", "pulses", "", ("uint32", "1", "1")),
        ("REAL", "m3/hr", "", ("float32", "1", "m3/h")),
    ],
)
def test_unit_and_scale_are_found_in_whichever_cell_they_stand(
    type_cell: str, unit_cell: str, scale_cell: str, want: tuple[str, str, str]
) -> None:
    made = drafted(f"Register;Name;Type;Unit;Scale\n30001;X;{type_cell};{unit_cell};{scale_cell}\n")
    (value,) = mapped(made).readings
    assert (value.number.kind, str(value.number.scale), value.unit) == want
    assert not re.search(r"no unit|the unit", asked(made))


def test_a_factor_above_one_is_asked_about_and_an_answer_turns_it_round() -> None:
    text = "Register;Name;Type;Unit;Factor\n30001;A;INT16;s;10\n30002;B;INT16 x10;s;\n"
    (question,) = drafted(text).questions
    assert question.lines == (2, 3)
    assert question.answers[0] == "2-3:scale=0.1"
    made = drafted(text, question.answers[0])
    assert made.questions == ()
    assert [str(value.number.scale) for value in mapped(made).readings] == ["0.1", "0.1"]


@pytest.mark.parametrize("cell", ["1,000", "1.000"])
def test_a_number_that_may_be_thousands_is_asked_not_taken(cell: str) -> None:
    made = drafted(f"Register;Name;Type;Unit;Factor\n30001;A;INT16;s;{cell}\n")
    assert f"is the scale {cell} one with decimals, or 1000?" in asked(made)
    assert str(mapped(made).readings[0].number.scale) == "1"


@pytest.mark.parametrize(
    ("cell", "address", "words"),
    [
        ("40,021", 20, 1),
        ("40.021", 20, 1),
        ("40 021", 20, 1),
        ("40021-40022", 20, 2),
        ("40021/22", 20, 2),
        ("40021 bis 40022", 20, 2),
        ("400021", 20, 1),
        ("4x0021", 20, 1),
        ("4x00021", 20, 1),
    ],
)
def test_an_address_is_read_with_separators_and_in_merged_cells(cell: str, address: int, words: int) -> None:
    kind = {1: "UINT16", 2: "UINT32"}[words]
    made = drafted(f"Register;Name;Type;Unit\n{cell};A;{kind};s\n")
    (value,) = mapped(made).readings
    assert (value.number.table, value.number.address, value.number.words) == (Kind.HOLDING, address, words)
    assert "address" not in asked(made)


def test_a_row_of_blank_cells_is_the_second_register_of_the_row_above() -> None:
    made = drafted("Register;Name;Type;Unit\n30001;Speed;;m/s\n30002;;;\n30003;B;UINT16;s\n")
    first, _ = mapped(made).readings
    assert first.number.words == 2
    assert "no type is told. Assumed: uint32" in asked(made)
    assert "goes on in line 3" in row_of(made, "speed")


@pytest.mark.parametrize(
    "text",
    [
        'Register;Name;Type;Remarks\n40021;Flags;WORD;"Bit 0: sensor fault\nBit 1: memory full"\n',
        "Register;Name;Type;Remarks\n40021;Flags;WORD;Bit 0 = sensor fault, Bit 1 = memory full\n",
        "Register;Name;Type;Remarks\n40021;Flags;WORD;\n;Bit 0;;sensor fault\n;Bit 1;;memory full\n",
        "Register;Name;Type\n40021;Flags;WORD\n40021.0;sensor fault;BOOL\n40021.1;memory full;BOOL\n",
        "Register;Name;Type;Remarks\n40021.0;sensor fault;BOOL;\n40021.1;memory full;BOOL;\n",
        "Register;Name;Type;Remarks\n40021;Flags;bitfield;0 = sensor fault, 1 = memory full\n",
    ],
    ids=[
        "lines of one cell",
        "one cell",
        "rows",
        "numbered rows",
        "numbered rows alone",
        "a bitfield's codes",
    ],
)
def test_bits_are_put_to_their_register_wherever_they_stand(text: str) -> None:
    value = reading(text)
    assert dict(value.bits) == {0: "sensor fault", 1: "memory full"}
    assert (value.number.kind, value.number.address) == ("uint16", 20)


def test_several_bits_that_are_one_number_are_asked_about() -> None:
    made = drafted("Register;Name;Type;Remarks\n40021;Flags;WORD;Bit 0: fault, Bit 4-6: mode\n")
    assert dict(mapped(made).readings[0].bits) == {0: "fault"}
    assert "'Bit 4-6: mode' is a number of several bits" in asked(made)


def test_codes_of_following_rows_are_put_to_their_register() -> None:
    value = reading("Register;Name;Type;Remarks\n30001;State;WORD;\n;0 = idle;;\n;1 = measuring;;\n")
    assert dict(value.codes) == {0: "idle", 1: "measuring"}


def test_a_register_that_can_only_be_written_is_left_out_with_a_sentence() -> None:
    made = drafted(
        "Register;Name;Type;Access\n40001;Span;UINT16;R/W\n40002;Reset;UINT16;W\n40003;X;UINT16;R\n"
    )
    assert (made.left_out, [value.name for value in mapped(made).settings]) == (1, ["span"])
    assert "Reset: can only be written" in asked(made)
    assert row_of(made, "reset").startswith("# ")


def test_a_factory_setting_and_a_renamed_reading_stand_beside_their_row() -> None:
    text = (
        "Register;Name;Type;Unit;Default\n30001;Status;UINT16;1;3\n30002;Flow 2;UINT16;kg/h;\n"
        "30003;Flow 2;UINT16;kg/h;\n"
    )
    made = drafted(text)
    beside = row_of(made, "meter_status_value")
    assert "factory setting 3" in beside
    assert "called meter_status_value, for 'status' is a column of every row already" in beside
    assert "called flow_2_2, for another row is flow_2" in row_of(made, "flow_2_2")


@pytest.mark.parametrize(
    ("cell", "orders"),
    [
        ("FLOAT CDAB", ("low first", "high first")),
        ("REAL (DCBA)", ("low first", "low first")),
        ("FLOAT, low word first", ("low first", "high first")),
    ],
)
def test_an_order_that_a_row_tells_by_its_bytes_is_taken(cell: str, orders: tuple[str, str]) -> None:
    number = reading(f"Register|Name|Type|Unit\n30001|Speed|{cell}|m/s\n").number
    assert (number.word_order, number.byte_order) == orders


def test_an_order_in_a_word_that_makers_use_differently_is_asked_about() -> None:
    made = drafted("Register|Name|Type|Unit\n30001|Speed|FLOAT swapped|m/s\n")
    assert "'FLOAT swapped' means different orders to different makers" in asked(made)
    assert mapped(made).readings[0].number.word_order == "high first"


def test_values_for_no_reading_are_taken_as_the_register_holds_them() -> None:
    """0x8000 of an int16 is -32768; of a float its words stand in the map."""
    text = (
        "Register;Name;Type;Unit;Invalid value\n30001;A;INT16;s;0x8000\n30002;B;UINT16;s;65535\n"
        "30003;C;FLOAT;s;0x7F7FFFFF\n"
    )
    first, second, third = mapped(drafted(text)).readings
    assert [int(one) for one in first.not_available.numbers] == [-32768]
    assert [int(one) for one in second.not_available.numbers] == [65535]
    assert third.not_available.words == ((0x7F7F, 0xFFFF),)


def test_parts_of_a_total_become_one_value_only_when_answered() -> None:
    text = (
        "Register;Name;Type;Unit;Scale\n30001;Total;UINT32;kg;\n30003;Total, fraction;UINT16;kg;0,001\n"
        "30004;Total exponent;INT16;;\n"
    )
    plain = drafted(text)
    assert [value.name for value in mapped(plain).readings] == ["total", "total_fraction", "total_exponent"]
    assert "is it the fraction of Total (line 2)?" in asked(plain)
    made = drafted(text, "3:added-to=2", "4:exponent-of=2", "2:totaliser=true")
    (total,) = mapped(made).readings
    assert [(one.address, one.kind, str(one.scale)) for one in total.plus] == [(2, "uint16", "0.001")]
    assert total.times_ten_to is not None
    assert (total.times_ten_to.address, total.times_ten_to.kind) == (3, "int16")


def test_halves_of_a_value_in_rows_of_their_own_are_asked_about_and_joined() -> None:
    text = "Register;Name;Type;Unit\n30001;Total LW;WORD;s\n30002;Total HW;WORD;s\n"
    (question,) = drafted(text).questions
    assert "of two moments" in question.question
    number = reading(text, question.answers[0]).number
    assert (number.kind, number.address, number.word_order) == ("uint32", 0, "low first")


def test_small_numbers_that_speak_of_faults_are_codes_not_values_for_no_reading() -> None:
    value = reading("Register;Name;Type;Remarks\n30001;X;UINT16;0 = ok, 1 = error, 65535 = not available\n")
    assert dict(value.codes) == {0: "ok", 1: "error"}
    assert [int(one) for one in value.not_available.numbers] == [65535]


def test_lowest_and_highest_in_columns_of_their_own_are_the_range() -> None:
    span = reading("Register;Name;Type;Unit;Min.;Max.\n30001;A;INT16;s;-40;120\n").range
    assert span is not None
    assert [int(span.low), int(span.high)] == [-40, 120]


def test_a_temperature_without_a_sign_is_asked_about() -> None:
    """Manuals forget the sign where the sample value was above 0; common practice, no source."""
    text = "Register;Name;Type;Unit\n30001;Dew point;UINT16;°C\n"
    (question,) = drafted(text).questions
    assert "can this temperature be below 0?" in question.question
    assert reading(text, question.answers[0]).number.kind == "int16"
    assert drafted(text, "2:type=uint16").questions == ()


def test_a_unit_that_codes_make_meaningless_is_told_beside_the_row() -> None:
    made = drafted("Register;Name;Type;Unit;Remarks\n30001;Mode;UINT16;bar;0 = off, 1 = on\n")
    assert "unit 'bar' not taken over beside words" in row_of(made, "mode")


def test_a_range_in_raw_numbers_is_asked_about_with_the_range_in_units() -> None:
    """-3200 × 0.01 = -32, 32000 × 0.01 = 320; an int16 × 0.01 ends at 327.67."""
    text = "Register;Name;Type;Unit;Range\n30001;Loop;INT16;0.01 mA;-3200...32000\n"
    (question,) = drafted(text).questions
    span = reading(text, *question.answers).range
    assert span is not None
    assert [int(span.low), int(span.high)] == [-32, 320]


def test_bcd_of_two_registers_is_wide_and_of_more_is_asked_to_be_a_date() -> None:
    made = drafted("Register;Name;Type;Words;Unit\n30001;A;BCD;2;1\n30003;Date;BCD;3;1\n")
    assert [value.number.kind for value in mapped(made).readings] == ["bcd32", "bcd16"]
    assert "3 registers in BCD are often a date" in asked(made)


def test_a_setting_that_is_compared_is_offered_its_name() -> None:
    """Only as `inside_diameter` is the meter's diameter held against the pipe's."""
    text = (
        "Adresse;Bezeichnung;Datentyp;Einheit;Zugriff\n40031;Rohrinnendurchmesser;UINT16;mm;R/W\n"
        "40032;Geschwindigkeit;UINT16;m/s;R\n"
    )
    (question,) = [one for one in drafted(text).questions if "may be what is called" in one.question]
    assert question.answers == ("2:name=inside_diameter",)
    (setting,) = mapped(drafted(text, "2:name=inside_diameter")).settings
    assert setting.name == "inside_diameter"
    assert "may be what is called" not in asked(drafted(text, "2:name=inside_diameter"))
