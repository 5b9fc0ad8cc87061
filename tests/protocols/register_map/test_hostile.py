"""A file from a stranger: whatever it holds, it is answered with faults, soon, and never with a traceback."""

import random
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.register_map.parse import Parsed, parse_map

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall/insertion-meter.yaml"
TEXT = DEMO.read_text(encoding="utf-8")
#: Processor time, so that a busy machine does not decide.
MOST_SECONDS = 1.0


def answered(data: bytes) -> Parsed:
    began = time.process_time()
    parsed = parse_map(data, "stranger.yaml")
    assert time.process_time() - began < MOST_SECONDS
    for fault in parsed.faults:
        assert fault.line >= 1
        assert fault.column >= 1
        assert "\n" not in fault.fault
    assert (parsed.map is None) == any(fault.severity == "fault" for fault in parsed.faults)
    return parsed


HOSTILE = {
    "nested_lists": "[" * 3000,
    "nested_lists_closed": "[" * 3000 + "]" * 3000,
    "nested_mappings": "{a: " * 3000,
    "nested_block_lists": "- " * 3000 + "a",
    "nested_question_marks": "? " * 3000 + "a",
    "digits": "register_map: " + "1" * 5000,
    "digits_in_a_register": "readings: {flow: {input: " + "9" * 5000 + ", type: int16}}",
    "digits_in_a_code": "readings: {a: {input: 1, type: int16, codes: {" + "7" * 5000 + ": x}}}",
    "hexadecimal": "readings: {flow: {input: 0x" + "f" * 5000 + ", type: int16}}",
    "exponent": "readings: {flow: {input: 1, type: int16, unit: s, scale: 1e999999999}}",
    "small_exponent": "readings: {flow: {input: 1, type: int16, unit: s, scale: 1e-999}}",
    "alias_of_itself": "readings: &a {flow: *a}",
    "alias_list_of_itself": "&a [*a, *a]",
    "aliases_of_aliases": "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n",
    "merge_key": "register_map: 1\nreadings:\n  <<: {a: 1}\n",
    "tag_that_runs_code": "register_map: !!python/object/apply:os.system ['true']\n",
    "directive": "%YAML 1.1\n---\nregister_map: 1\n",
    "second_document": "register_map: 1\n---\nregister_map: 1\n",
    "no_escape": 'meter: "\\UFFFFFFFF"\n',
    "a_megabyte_in_one_word": "meter: " + "x" * 1_000_000,
    "a_megabyte_of_empty_lines": "\n" * 1_000_000,
    "a_megabyte_of_comments": "#" * 1_000_000,
    "a_megabyte_in_quotes": 'meter: "' + "\\n" * 500_000 + '"',
    "many_keys": "".join(f"key_{n}: {n}\n" for n in range(60_000)),
    "many_items": "[" + "a," * 300_000 + "]",
    "many_unknown_keys": "readings:\n" + "".join(f"  a{n}: {{inptu: 1, tpye: x}}\n" for n in range(1400)),
    "many_values_on_one_register": "readings:\n"
    + "".join(f"  a{n}: {{input: 1, type: int16}}\n" for n in range(1400)),
    "long_name": "readings: {" + "a" * 900 + ": {input: 1, type: int16}}",
    "references_in_a_circle": "readings: {a: {input: 1, type: int16, unit: m3/h, reference: as b}, "
    "b: {input: 2, type: int16, unit: m3/h, reference: as a}}",
    "references_one_after_the_other": "readings:\n"
    + "".join(
        f"  r{n}: {{input: {n}, type: int16, unit: m3, reference: as r{n + 1}}}\n" for n in range(1250)
    ),
    "tabs": "readings:\n\tflow: 1\n",
    "nothing": "",
    "only_a_comment": "# nothing\n",
    "a_list": "- a\n- b\n",
    "a_word": "hello",
    "null": "null",
    "complex_key": "? {a: b}\n: c\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_refused_in_time(name: str) -> None:
    assert answered(HOSTILE[name].encode()).map is None


@pytest.mark.parametrize(
    "data",
    [
        b"\x00",
        b"\xff\xfe a",
        b"meter: \xb3\n",
        b"\xef\xbb\xbf",
        b"a: \x07",
        b"a: \xed\xa0\x80",
        bytes(range(256)),
    ],
)
def test_bytes_that_are_no_text_are_refused(data: bytes) -> None:
    assert answered(data).map is None


def test_a_file_over_one_mebibyte_is_refused_by_its_size() -> None:
    told = answered(b"#" * (1 << 20) + b"#").faults
    assert len(told) == 1
    assert "1 MiB" in told[0].fault


def test_a_byte_order_mark_changes_nothing() -> None:
    parsed = answered(b"\xef\xbb\xbf" + TEXT.encode())
    assert parsed.map is not None
    assert parsed.faults == ()


def test_windows_line_ends_change_nothing_but_the_text() -> None:
    plain, windows = answered(TEXT.encode()).map, answered(TEXT.replace("\n", "\r\n").encode()).map
    assert plain is not None
    assert windows is not None
    assert windows.readings == plain.readings


@given(st.binary(max_size=300))
@settings(max_examples=150, deadline=None)
def test_any_bytes_are_answered(data: bytes) -> None:
    answered(data)


@given(st.text(alphabet="ab:{}[],-\n \t'\"&*!%#?|>0123456789.<e_x", max_size=120))
@settings(max_examples=300, deadline=None)
def test_any_text_of_yaml_marks_is_answered(text: str) -> None:
    answered(text.encode())


@pytest.mark.parametrize("seed", range(150))
def test_a_map_with_random_damage_is_answered(seed: int) -> None:
    chance = random.Random(seed)
    text = TEXT
    for _ in range(chance.randint(1, 8)):
        at = chance.randrange(len(text))
        until = at + chance.choice([0, 0, 1, 1, 3, 40])
        text = (
            text[:at]
            + chance.choice(["", "0", ",", ":", "{", "]", "\n", "&a ", "*a", "'", "  ", "1e9"])
            + text[until:]
        )
    answered(text.encode())


LINES = TEXT.splitlines()


@given(st.lists(st.sampled_from(LINES), max_size=50))
@settings(max_examples=100, deadline=None)
def test_the_lines_of_a_map_in_any_order_are_answered(lines: list[str]) -> None:
    answered("\n".join(lines).encode())


WORDS = st.sampled_from(
    [
        "input", "holding", "coil", "discrete", "type", "unit", "scale", "offset", "plus",
        "times_ten_to", "codes", "bits", "range", "steps", "reference", "float32", "uint16", "text",
        "calendar", "bcd32", "m3/h", "scfm", "0", "1", "-1", "65535", "70000", "0.1", "as", "true",
        "[0,1]", "{0:a}", "[]", "{}", "~", "FFFF", "not_available", "layout", "coding", "registers",
        "parts", "apart", "totaliser", "gauge", "bytes_per_register", "4", "write", "allowed",
    ]
)  # fmt: skip


@given(st.lists(st.tuples(WORDS, WORDS), max_size=8), st.lists(st.tuples(WORDS, WORDS), max_size=3))
@settings(max_examples=300, deadline=None)
def test_any_mix_of_known_words_is_answered(
    outer: list[tuple[str, str]], inner: list[tuple[str, str]]
) -> None:
    inside = ", ".join(f"{key}: {value}" for key, value in inner)
    keys = ", ".join(f"{key}: {value}" for key, value in outer)
    for form in (f"{{{keys}}}", f"{{{keys}, plus: [{{{inside}}}]}}", f"{{{keys}, unit: {{{inside}}}}}"):
        answered(f"register_map: 1\nmeter: m\nreadings: {{a: {form}}}\nsettings: {{b: {form}}}\n".encode())
