"""Every sentence that can reach the page is there in German, with the same blanks; numbers are German, too.

Templates are collected from the source: what a `Sentence` is made from, cautions, and what the page asks
`words` for. Words of closed lists are those of the lists themselves.
"""

import ast
import copy
import json
import pickle
import re
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from itertools import chain
from pathlib import Path
from string import Formatter

import pytest

import readout
from protocols.log_memory.times import TIME_FLAG_WORDS
from protocols.units import Dimension, quantity_of
from protocols.values.flags import FLAG_WORDS
from readout.bus.outcome import Status
from readout.daemon.computer_clock import ClockQuality
from readout.daemon.telling.renewed import POINT_FILE_CHANGED
from readout.measuring_point import grammar
from readout.measuring_point.conditions.corrections import Principle
from readout.measuring_point.installation.runs import Basis
from readout.measuring_point.pipe.bore import bore_of
from readout.report.language.german import GERMAN
from readout.report.language.words import Language, Words
from readout.review.about.site_time import WEEKDAYS, DayType
from readout.review.review import METHODS
from readout.sealing.memory.table import MISMATCH
from readout.sentence import Sentence, joined, told_by, word

HOME = Path(readout.__file__).parent
WORDS = Words(Language.GERMAN)
MILL = "x: Walztoleranz, 1,2\u00a0%, Rechteckverteilung"

#: What a recorder tells the ledger of itself.
EVENTS = (
    "other meter", "meter back", "port lost", "port back", "clock set", "clock step", "disk full",
    "disk free", "suspended", "killed before", POINT_FILE_CHANGED,
)  # fmt: skip

#: Words that the archive keeps or a file's closed list has.
CLOSED = list(
    chain(
        Status, ClockQuality, FLAG_WORDS.values(), TIME_FLAG_WORDS.values(), [MISMATCH], METHODS,
        (one for one in DayType), Principle, grammar.ROLES, grammar.FITTINGS, grammar.POSITIONS,
        (one for one in grammar.FLUIDS if one != "other"), Basis, WEEKDAYS, (one[:3] for one in WEEKDAYS),
        grammar.DIAMETER_FROM.form.words, grammar.DISTRIBUTION.form.words, Dimension, EVENTS,
    )
)  # fmt: skip


def _constants(node: ast.expr, assigned: dict[str, list[str]]) -> Iterator[str]:
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.IfExp(body=one, orelse=other):
            yield from (*_constants(one, assigned), *_constants(other, assigned))
        case ast.Name(id=name):
            yield from assigned.get(name, ())


def _asked(path: Path, called: frozenset[str]) -> Iterator[tuple[str, list[str]]]:
    """What calls of these names are given first, as source and as the texts it can be."""
    for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(function, ast.FunctionDef | ast.Module):
            continue
        assigned: dict[str, list[str]] = {}
        for node in ast.walk(function) if isinstance(function, ast.FunctionDef) else ():
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                assigned.setdefault(node.targets[0].id, []).extend(_constants(node.value, {}))
        for node in ast.walk(function):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in called:
                for argument in node.args if node.func.id == "Caution" else node.args[:1]:
                    yield ast.unparse(argument), list(_constants(argument, assigned))


def _sentences() -> Iterator[tuple[str, list[str]]]:
    for path in sorted(HOME.rglob("*.py")):
        if path.name != "sentence.py":
            yield from _asked(path, frozenset({"Sentence", "Caution"}))


def _page() -> Iterator[str]:
    for path in sorted([*(HOME / "report").rglob("*.py"), HOME / "cli" / "report.py"]):
        for _, texts in _asked(path, frozenset({"words"})):
            yield from texts
    template = (HOME / "report" / "page.html").read_text(encoding="utf-8")
    yield from re.findall(r"words\(\s*[\"'](.*?)[\"']", template)


def _blanks(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def test_every_sentence_is_written_out_where_it_is_made() -> None:
    """Else no dictionary could be held against it."""
    assert [source for source, texts in _sentences() if not texts] == []


def test_every_template_is_there_in_german() -> None:
    made = {text for _, texts in _sentences() for text in texts} | set(_page())
    assert len(made) > 300
    told = {text for text in made if any(map(str.isalpha, re.sub(r"\{[^}]*\}", "", text)))}
    assert told - set(GERMAN) == set()


def test_every_word_of_a_closed_list_is_there_in_german() -> None:
    assert len(CLOSED) > 100
    assert {str(one) for one in CLOSED} - set(GERMAN) == set()


def test_a_translation_has_the_same_blanks() -> None:
    assert {one for one in GERMAN if _blanks(GERMAN[one]) != _blanks(one)} == set()


def test_every_event_of_a_recorder_is_known_here() -> None:
    told = set()
    for path in (HOME / "daemon").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Dict):
                pairs = zip(node.keys, node.values, strict=True)
                told |= {
                    ast.literal_eval(v) for k, v in pairs if _is(k, "what") and isinstance(v, ast.Constant)
                }
    assert len(told) > 5
    assert told - set(EVENTS) == {"rows"}  # lost ones, which are gaps


def _is(node: ast.expr | None, text: str) -> bool:
    return isinstance(node, ast.Constant) and node.value == text


def test_no_translation_is_there_for_nothing() -> None:
    made = {text for _, texts in _sentences() for text in texts} | set(_page()) | {str(one) for one in CLOSED}
    assert set(GERMAN) - made - _DYNAMIC == set()


#: Asked for by a name that is only known when the page is made.
_DYNAMIC = frozenset(
    {
        "status", "clock", "record's time", "record's own check", "atmospheric pressure", "insertion depth",
        "is no JSON", "lacks one of n, time, kind, previous, hash",
        "does not have the hash that it states", "is not written with sorted keys and no spaces",
        "has no number, or no text where one must be",
    }
)  # fmt: skip


def test_a_sentence_is_its_english_text() -> None:
    told = Sentence("{n:.1f} of {what}", n=2.25, what="it")
    assert told == "2.2 of it"
    assert json.dumps({"why": told}) == '{"why": "2.2 of it"}'
    for same in (copy.deepcopy(told), pickle.loads(pickle.dumps(told))):
        assert (same, same.template, same.values) == (told, told.template, told.values)
    assert type(told_by(ValueError(told))) is Sentence
    assert told_by(ValueError(3)) == "3"
    assert joined("; ", ["a", told]) == "a; 2.2 of it"


@pytest.mark.parametrize(
    ("told", "german"),
    [
        # numbers with the comma, a blank before the per cent sign, a true minus
        (Sentence("{source}: mill tolerance, {share:.1%}, rectangular", source="x", share=0.012), MILL),
        (Sentence("{mm:.2f} mm", mm=Decimal("-53.104")), "−53,10 mm"),
        # a quantity, one inside an outside text, and a price as a file has it
        (Sentence("{power}", power=quantity_of("6.4 kW/(m3/min)")), "6,4 kW/(m³/min)"),
        (Sentence("{flow}: {why}", flow="a", why="20.5 degC"), "a: 20,5 °C"),
        (Sentence("{flow}: {why}", flow="a", why="0.3 EUR/kWh"), "a: 0,3 EUR/kWh"),
        # a serial number or a name is no number
        (Sentence("{flow}: {why}", flow="a", why="1.5"), "a: 1.5"),
        # a sentence within another, a closed word, and joined ones
        (Sentence("{flow}: {why}", flow="x", why=Sentence("nothing was measured")), "x: nichts gemessen"),
        (word("no reply"), "keine Antwort"),
        (joined("; ", [word("air"), word("water")]), "Luft; Wasser"),
        # what could turn the line around is shown
        (Sentence("{flow}: {why}", flow="\u202ex", why=""), "⟨U+202E⟩x: "),
    ],
)  # fmt: skip
def test_a_sentence_is_said_in_german(told: Sentence, german: str) -> None:
    assert WORDS(told) == german


def test_the_same_sentence_stays_english_on_an_english_page() -> None:
    told = Sentence("no stretch of {n} min has values for at least {share:.0%} of its time", n=15, share=0.9)
    assert Words()(told) == str(told)


def test_common_names_of_maps_have_german_words_and_others_stay() -> None:
    assert (WORDS.name("low_flow_cut_off"), WORDS.name("halle_2")) == (
        "Schleichmengenunterdrückung",
        "halle_2",
    )
    assert Words().name("low_flow_cut_off") == "low_flow_cut_off"


def test_no_line_ends_between_a_number_and_its_unit() -> None:
    assert WORDS.span(7200) == "2\u00a0h"
    assert WORDS.percent(0.5) == "50,0\u00a0%"
    assert "{hour}\u00a0{currency}" in WORDS.template(
        "An hour of it costs {hour} {currency}; a year of {hours} h under pressure {year} {currency}."
    )


def test_long_words_part_at_their_joints_in_a_narrow_cell() -> None:
    assert WORDS.soft("Außendurchmesser") == "Außen\u00addurch\u00admesser"
    assert Words().soft("outside diameter") == "outside diameter"


def test_dates_are_written_as_the_language_does() -> None:
    assert WORDS.date(date(2026, 5, 4)) == "04.05.2026"
    assert Words().date(date(2026, 5, 4)) == "2026-05-04"


def test_a_bore_says_in_german_how_it_is_known() -> None:
    """EN 10255 medium DN 50: 60.3 mm less two walls of 3.6 mm are 53.1 mm."""
    from readout.measuring_point.model import Pipe

    bore = bore_of(Pipe(standard="EN 10255 medium DN 50"))
    assert WORDS(bore.known) == "EN 10255 medium DN 50, Nennmaß"
    assert WORDS(bore.uncertain) == "Walztoleranz: außen 1\u00a0%, Wand 12,5\u00a0%, Rechteckverteilung"
