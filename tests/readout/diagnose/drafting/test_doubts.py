"""What was once taken over, or dropped, without a question: offsets, words beside numbers, thousands.

All tables are constructed; how manuals word them is common practice, no source.
"""

import pytest

from protocols.register_map.model import Value
from protocols.register_map.parse import parse_map
from readout.diagnose.drafting.asking import read_answers
from readout.diagnose.drafting.draft import Draft, draft
from readout.diagnose.drafting.table import read_table

HEAD = "Address;Name;Type;Unit;Scale;Range;Remarks\n"


def drafted(text: str, *answers: str) -> Draft:
    given = read_answers(["fluid=compressed air", "unit_address=12", *answers])
    return draft(read_table(text.encode(), {}), "Mere 5", "s.json", answers=given)


def readings(made: Draft) -> tuple[Value, ...]:
    parsed = parse_map(made.text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    return parsed.map.readings


def asked(made: Draft) -> str:
    return "\n".join(one.question for one in made.questions)


def test_a_column_of_offsets_is_added_and_is_no_second_address() -> None:
    """615 × 0.1 − 40 = 21.5 °C: without its offset the reading would be 61.5 °C."""
    text = "Address;Name;Type;Unit;Scale;Offset\n30001;T;INT16;degC;0.1;-40\n30002;P;UINT16;bar(g);0.01;0\n"
    made = drafted(text)
    temperature, pressure = readings(made)
    assert (str(temperature.number.offset), str(pressure.number.offset)) == ("-40", "0")
    assert "is -40 added to the scaled value, or to the number sent before it is scaled (offset -4)" in asked(
        made
    )
    settled = drafted(text, "2:offset=-4")
    assert (str(readings(settled)[0].number.offset), "offset" in asked(settled)) == ("-4", False)


def test_offsets_that_follow_the_addresses_are_what_is_sent() -> None:
    text = "Register;Name;Type;Offset\n40001;a;UINT16;0\n40002;b;UINT16;1\n40003;c;UINT16;2\n"
    assert [str(one.number.offset) for one in readings(drafted(text))] == ["0", "0", "0"]


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("0 ... 2 500", (0, 2500)),
        ("0 to 1 000 000", (0, 1_000_000)),
        ("1\u202f000 – 2'000,5", (1000, 2000.5)),
        ("0...10^6", None),
        ("0...1e6", None),
        ("0-10 min", None),
    ],
)
def test_thousands_parted_by_blanks_are_one_number_of_a_range(
    text: str, ends: tuple[float, float] | None
) -> None:
    (found,) = readings(drafted(f"{HEAD}30001;Time;FLOAT;s;;{text};\n"))
    assert (found.range and (float(found.range.low), float(found.range.high))) == ends


@pytest.mark.parametrize(
    ("remark", "missing"),
    [
        ("65535 = kein Wert", [65535]),
        ("0x7FFF = Fühlerbruch", [32767]),
        ("32767: open circuit", [32767]),
        ("0 = off", []),
    ],
)
def test_a_single_word_beside_a_number_takes_neither_its_scale_nor_its_unit(
    remark: str, missing: list[int]
) -> None:
    (found,) = readings(drafted(f"{HEAD}30001;Humidity;INT16;%;0.1;;{remark}\n", "2:type=uint16"))
    assert (str(found.number.scale), found.unit, found.codes) == ("0.1", "%", {})
    assert [int(one) for one in found.not_available.numbers] == missing


def test_words_beside_a_scaled_number_are_asked_about() -> None:
    text = f"{HEAD}30001;Limit;UINT16;bar(g);0.01;;0: disabled, 200: never\n"
    (found,) = readings(drafted(text))
    assert (str(found.number.scale), found.unit, found.codes) == ("0.01", "bar(g)", {})
    assert "words for some numbers (0: disabled, 200: never)" in asked(drafted(text))
    (codes,) = readings(drafted(text, "2:type=enum"))
    assert codes.codes == {0: "disabled", 200: "never"}


@pytest.mark.parametrize("answer", ["2:not-available=abc", "2:range=wide", "2:offset=some"])
def test_an_answer_that_is_not_understood_is_refused(answer: str) -> None:
    """It would settle the question, and be lost."""
    with pytest.raises(ValueError, match="is not understood; write such as"):
        drafted(f"{HEAD}30001;H;UINT16;%;0.1;;\n", answer)


def test_codes_that_were_answered_are_codes_whatever_the_unit() -> None:
    (found,) = readings(drafted(f"{HEAD}30001;Mode;UINT16;bar(g);0.01;;\n", "2:codes=0 = off, 1 = on"))
    assert (found.codes, found.unit) == ({0: "off", 1: "on"}, None)


def test_a_remark_that_names_the_end_of_the_type_is_asked_about() -> None:
    """FFFF is the last of 16 bits, 80000000 the lowest of 32 with a sign."""
    text = f"{HEAD}30001;H;UINT16;%;0.1;;FFFFh if no probe\n30002;Q;INT32;kg/h;;;0x80000000 while starting\n"
    made = drafted(text)
    assert [one.not_available.numbers for one in readings(made)] == [(), ()]
    assert "names FFFFh, which ends what uint16 can hold" in asked(made)
    assert "names 0x80000000, which ends what int32 can hold" in asked(made)
    settled = drafted(text, "2:not-available=FFFFh", "3:not-available=none")
    assert [[int(n) for n in one.not_available.numbers] for one in readings(settled)] == [[65535], []]
    assert "names" not in asked(settled)
    assert "names" not in asked(drafted(f"{HEAD}30001;H;UINT16;%;0.1;;0-65535 counts\n"))


def test_a_scale_that_may_be_a_number_of_decimals_is_asked_about() -> None:
    made = drafted(f"{HEAD}30001;a;UINT16;V;2;;\n30002;b;UINT16;V;1;;\n")
    assert "is 2 a factor, or how many decimals the number has (scale 0.01)" in asked(made)
    assert "is 1 a factor" in asked(made)
    assert "factor" not in asked(drafted(f"{HEAD}30001;a;UINT16;V;0.1;;\n30002;b;UINT16;V;1;;\n"))


@pytest.mark.parametrize(
    ("name", "answers"),
    [("Temp x10", ("scale=0.1", "scale=10")), ("Voltage/100", ("scale=0.01", "scale=1"))],
)
def test_a_factor_in_a_name_is_asked_about(name: str, answers: tuple[str, str]) -> None:
    (question,) = drafted(f"{HEAD}30001;{name};INT16;V;;;\n").questions
    assert question.answers == tuple(f"2:{answer}" for answer in answers)
    assert asked(drafted(f"{HEAD}30001;{name};INT16;V;0.1;;\n")) == ""
    for plain in ("Tank 100", "Matrix 10", "Limit 10"):
        assert asked(drafted(f"{HEAD}30001;{plain};INT16;V;;;\n")) == ""


def test_decimals_of_a_column_are_a_scale_until_answered_otherwise() -> None:
    text = "Address;Name;Type;Unit;Decimals\n30001;a;INT16;V;2\n30002;b;FLOAT;V;2\n"
    made = drafted(text, "word_order=high first")
    assert [str(one.number.scale) for one in readings(made)] == ["0.01", "1"]
    assert "it has 2 decimals: is the number sent without a decimal point (scale 0.01)" in asked(made)
    settled = drafted(text, "word_order=high first", "2:scale=1")
    assert ([str(one.number.scale) for one in readings(settled)], asked(settled)) == (["1", "1"], "")


def test_a_longer_type_keeps_its_sign() -> None:
    text = "Address;Name;Type;Unit;Registers\n30001;a;Integer;V;2\n30003;b;Unsigned;V;2\n30005;c;Float;V;4\n"
    answers = [
        one.answers[1] for one in drafted(text, "word_order=high first").questions if "needs" in one.question
    ]
    assert answers == ["2:type=int32", "3:type=uint32", "4:type=float64"]


def test_a_float_may_mean_no_reading_by_a_number_with_decimals() -> None:
    text = "Address;Name;Type;Unit;Not available\n30001;a;FLOAT;V;9999.9\n"
    (found,) = readings(drafted(text, "word_order=high first"))
    assert [str(one) for one in found.not_available.numbers] == ["9999.9"]


def test_seconds_since_1970_are_asked_about() -> None:
    text = f"{HEAD}30001;Uhrzeit;UINT32;s;;;Sekunden seit 1.1.1970\n"
    assert "are these seconds since 1970" in asked(drafted(text))
    (found,) = readings(drafted(text, "2:type=unix time"))
    assert found.number.kind == "unix time"


@pytest.mark.parametrize(
    ("cell", "kind", "scale"),
    [
        ("FLOAT x0.1", "float32", "0.1"),
        ("FLOAT32 /10", "float32", "0.1"),
        ("INT64 x 0.01", "int64", "0.01"),
        ("unsigned 32 bit x0.1", "uint32", "0.1"),
        ("32-bit IEEE 754 floating point", "float32", "1"),
        ("float single precision", "float32", "1"),
    ],
)
def test_a_types_cell_loses_no_scale(cell: str, kind: str, scale: str) -> None:
    made = drafted(f"{HEAD}30001;a;{cell};V;;;\n", "word_order=high first")
    (found,) = readings(made)
    assert (found.number.kind, str(found.number.scale), asked(made)) == (kind, scale, "")


@pytest.mark.parametrize(
    "cell", ["FLOAT-INV", "FLOAT32_BE", "Long (Lo/Hi)", "Float MSB first", "unsigned long LE"]
)
def test_an_order_of_words_beside_a_type_is_asked_about(cell: str) -> None:
    made = drafted(f"{HEAD}30001;a;{cell};V;;;\n", "word_order=high first")
    assert f"{cell!r} means different orders to different makers" in asked(made)
    settled = drafted(f"{HEAD}30001;a;{cell};V;;;\n", "word_order=high first", "2:order=CDAB")
    assert (str(readings(settled)[0].number.word_order), asked(settled)) == ("low first", "")


def test_a_differential_pressure_is_counted_from_neither_air_nor_vacuum() -> None:
    text = f"{HEAD}30001;Filter;INT16;mbar;;;Differenzdruck\n30002;dp nozzle;INT16;Pa;;;\n"
    made = drafted(text)
    assert [one.quantity for one in readings(made)] == ["differential pressure"] * 2
    assert asked(made) == ""


@pytest.mark.parametrize(
    ("word", "unit"), [("PSIG", "psi(g)"), ("KPA", "kPa"), ("SCF", "scf"), ("°Ctd", "degC")]
)
def test_units_in_capitals_are_known(word: str, unit: str) -> None:
    made = drafted(
        f"{HEAD}30001;a;INT16;{word};;;\n", "2:reference={temperature: 68 degF, pressure: 14.5 psi}"
    )
    assert [one.unit for one in readings(made)] == [unit]


def test_bits_that_begin_at_1_are_asked_about() -> None:
    text = f"{HEAD}30001;a;UINT16;;;;Bit 1: low, Bit 2: high, Bit 3: off, bits 4-15 reserved\n"
    (question,) = drafted(text).questions
    assert "Do they count from 1" in question.question
    (found,) = readings(drafted(text, question.answers[0]))
    assert found.bits == {0: "low", 1: "high", 2: "off"}


LETTERS = HEAD + "30001;Durchfluß Höhe;UINT16;°C;;;Überdruck für Prüfer\n"


@pytest.mark.parametrize(
    ("page", "told"), [("utf-8", ""), ("cp1252", ""), ("cp850", "cp850"), ("mac_roman", "mac_roman")]
)
def test_old_code_pages_are_read_in_their_letters(page: str, told: str) -> None:
    """In cp850 `ü` is 81, `ö` 94, `°` F8; in Mac Roman 9F, 9A, A1 (Unicode's mapping tables)."""
    table = read_table(LETTERS.encode(page), {})
    (row,) = table.rows
    assert (row.cells, table.code_page) == (read_table(LETTERS.encode(), {}).rows[0].cells, told)
    text = draft(table, "Mere 5", "s.json").text
    assert ("were read in code page" in text) is bool(told)


@pytest.mark.parametrize("words", ["Presión máxima", "Débit à l'entrée", "Strømning på rør, ø", "Größe µm"])
def test_letters_of_a_spreadsheet_stay_those_of_cp1252(words: str) -> None:
    (row,) = read_table(f"{HEAD}30001;{words};UINT16;m³;;;\n".encode("cp1252"), {}).rows
    assert words in row.cells.values()


def test_the_question_for_the_table_says_what_the_file_speaks_of() -> None:
    made = drafted("Measured values (function 04)\nAddress;Name;Type;Unit\n0;a;INT16;V\n")
    assert "The file speaks of 'Measured values (function 04)'. Which table" in asked(made)


@pytest.mark.parametrize(
    ("remark", "gauge"),
    [
        ("relative humidity influence < 1 %", None),
        ("absolute accuracy 0.1 %", None),
        ("not absolute", None),
        ("nicht absolut", None),
        ("relative to atmosphere", True),
        ("absolut", False),
    ],
)
def test_a_pressure_is_gauge_or_absolute_by_words_about_a_pressure(remark: str, gauge: bool | None) -> None:
    made = drafted(f"{HEAD}30001;P;UINT16;bar;0.01;;{remark}\n")
    (found,) = readings(made)
    assert found.unit == {None: "bar", True: "bar(g)", False: "bar(a)"}[gauge]
    assert ("above the surrounding air, (g), or absolute, (a)?" in asked(made)) is (gauge is None)


@pytest.mark.parametrize("cell", ["3-4-1-2", "second register first"])
def test_an_order_in_its_own_column_is_never_passed_over(cell: str) -> None:
    text = f"Address;Name;Type;Unit;Word order\n30001;a;UINT32;V;{cell}\n"
    assert "means different orders" in asked(drafted(text, "word_order=high first"))


@pytest.mark.parametrize(
    ("remark", "top"),
    [
        ("wraps at 999 999 999", "1000000000"),  # the last one shown, so 0 comes one later
        ("Überlauf bei 99999999,9", "100000000"),
        ("rolls over at 1000000", "1000000"),
    ],
)
def test_a_roll_over_in_a_remark_is_offered(remark: str, top: str) -> None:
    (question,) = drafted(f"{HEAD}30001;Total;INT32;kg;;;{remark}\n", "word_order=high first").questions
    assert question.answers[0] == f"2:totaliser={{rolls_over_at: {top}}}"


def test_g_behind_a_pressures_name_is_no_gram() -> None:
    names = ("30001;Pressure (g);UINT16;bar", "30002;Druck (ü);UINT16;bar", "30003;Batch (g);UINT16;")
    text = HEAD + "".join(f"{name};;;\n" for name in names)
    made = drafted(text, "4:totaliser=false")
    assert [(one.unit, one.gauge) for one in readings(made)] == [
        ("bar(g)", True),
        ("bar(g)", True),
        ("g", False),
    ]
    assert asked(made) == ""


def test_conditions_are_offered_as_the_remark_has_them_in_either_order() -> None:
    made = drafted(f"{HEAD}30001;Flow;INT16;m3/h;;;bezogen auf 1 bar und 20 °C\n")
    (question,) = made.questions
    assert question.answers[1] == "2:reference={temperature: 20 degC, pressure: 1 bar}"


def test_headings_that_come_again_in_another_order_hold_from_there_on() -> None:
    """A second table of the same file: type and name have changed places."""
    second = "Address;Type;Name;Unit;Scale\n30011;INT16;Set point;degC;0.1\n"
    one, other = readings(drafted(f"{HEAD}30001;a;UINT16;V;0.1;;\n{second}"))
    assert (one.name, other.name, other.number.kind, other.unit) == ("a", "set_point", "int16", "degC")
