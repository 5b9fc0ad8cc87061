"""Text that is no YAML: told in plain words, where it began.

Where it began is counted in the text of each case; no source says how to word it.
"""

import random
from pathlib import Path

import pytest

from protocols.register_map.document import compose
from protocols.register_map.faults import Fault, Report

MAP = Path(__file__).parents[3] / "demo_data/bottling_hall/insertion-meter.yaml"


def told(text: str) -> tuple[Fault, ...]:
    report = Report("f")
    compose(text.encode(), report)
    return report.faults()


@pytest.mark.parametrize(
    ("text", "line", "column", "wanted"),
    [
        ("a: 1\n  b: 2\nc: 3\n", 2, 3, "more than line 1, which has its value already; indent it by 0"),
        ("a: 1\nm:\n  x: 1\n\n  # note\n    y: 2\n", 6, 5, "more than line 3, which has its value already"),
        ("m:\n    x: 1\n  y: 2\n", 3, 3, "less than the one above it, and like none that it could "
         "belong to; indent it by 0 or 4 spaces"),
        ("a:\n  b:\n    c: 1\n   d: 2\n", 4, 4, "indent it by 0, 2 or 4 spaces"),
        ("a:\n  - 1\n - 2\n", 3, 2, "indented less than the one above it"),
        ("a: 1\n- b\n", 2, 1, "a list entry (-) stands where a key is expected"),
        ("a: 1\nname:hall\nb: 2\n", 2, 5, "no space behind the colon; write 'name: hall'"),
        ("m:\n  name:hall\n  x: 1\n", 2, 7, "no space behind the colon; write 'name: hall'"),
        ("a: 1\nmeter\n  map: x\n", 2, 1, "'meter' has no colon"),
        ("a: 1\nb\nc: 2\n", 2, 1, "'b' has no colon"),
        ("a: b: c\n", 1, 5, "a second colon in this line"),
        ("a: 1\nm: {x: 1, y: 2\nb: 3\nc: 4\n", 2, 4, "{ that begins here is not closed by a } before line 3"),
        ("m: {x: 1, y: {z: 2}\n\nb: 3\n", 1, 4, "not closed by a } before line 3"),
        ("a: [1, 2\nb: 3\n", 1, 4, "the [ that begins here is not closed by a ] before line 2"),
        ("a: 0\nm: {x: 1\n", 2, 4, "the { that begins here"),
        ("a: [1, 2}\nb: 3\n", 1, 9, "} closes the [ of column 4; write ]"),
        ("a: {x: 1 y: 2}\n", 1, 11, "a comma or the } lacks before this"),
        ("a: {x: 1}}\nb: 2\n", 1, 10, "closes a bracket that was not opened"),
        ("a: {x: 1} y\n", 1, 11, "nothing can follow the } in this line"),
        ("a: 0\nb: 'hall\nc: 2\nd: 3\n", 2, 4, "the quote that begins here is never closed"),
        ("a: 0\nb: 'hall\nc: 'two'\nd: 3\n", 2, 4, "the quote that begins here ends only in line 3"),
        ("a: 'Miller's hall'\n", 1, 12, "text behind a closing '"),
        ("a: %5\n", 1, 4, "nothing can begin with % here; put the value in quotes"),
        ("a: - b\n", 1, 4, "a list entry (-) needs a line of its own"),
        ("a: [1, }]\n", 1, 8, "a value is expected here, not }"),
        ("{a: 1}\nb: 2\n", 2, 1, "all that stands above is at its end here"),
        ("m:\n  a%1 # so: there\n  b: 2\n", 2, 3, "'a%1' has no colon"),
        ("m:\n  - a: 1\n  b: 2\n", 3, 3, "a key stands where a list entry (-) is expected"),
        ("m: {x: 1", 1, 4, "the { that begins here is not closed by a }"),
        ("a:\n\tb: 1\n", 2, 1, "a tab stands in the indentation"),
    ],
)  # fmt: skip
def test_what_is_no_yaml_is_told_where_it_began(text: str, line: int, column: int, wanted: str) -> None:
    (fault,) = told(text)
    assert (fault.line, fault.column) == (line, column)
    assert wanted in fault.fault


@pytest.mark.parametrize(
    ("text", "column", "wanted"),
    [
        ("m: {length: 1,2 m}\n", 13, "a decimal comma? '1,2 m' reads as two entries here; write 1.2 m"),
        ("m: {t: -1,5 degC, x: 1}\n", 8, "write -1.5 degC"),
        ("m: {scale: 0,1}\n", 12, "write 0.1"),
    ],
)
def test_a_decimal_comma_with_its_unit_is_told_as_one(text: str, column: int, wanted: str) -> None:
    (fault,) = told(text)
    assert (fault.line, fault.column) == (1, column)
    assert wanted in fault.fault


def test_random_damage_is_told_without_the_words_of_a_parser() -> None:
    """Of 150 texts damaged at random, each is told in its lines, and none with `<block end>` or the like."""
    chance, text = random.Random(34), MAP.read_text(encoding="utf-8").partition("  state:")[0]
    refused = 0
    for _ in range(150):
        at = chance.randrange(len(text))
        mark = chance.choice(["{", "}", "[", "'", '"', "\n", "  ", ":", "- ", ",", "%", "\n  x: 1\n"])
        damaged = text[:at] + mark + text[at + chance.choice([0, 1, 4]) :]
        for fault in told(damaged):
            refused += 1
            assert 1 <= fault.line <= damaged.count("\n") + 1
            assert "<block" not in fault.fault
            assert "<scalar>" not in fault.fault
    assert refused > 20
