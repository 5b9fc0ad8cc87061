"""A whole page in German over archives that hold a bit of everything: no English is left, and it answers.

The archive is that of `german_week.py`: names that a user gives are German there, so that what is left in
English is the program's own.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from string import Formatter
from types import ModuleType
from typing import Any

import pytest

from readout.measuring_point.grammar import FLUIDS
from readout.report.content import sections
from readout.report.language.words import Language, Words
from readout.report.page import Extras, page
from readout.review.review import Review


class _Seen(HTMLParser):
    """Every text that a reader sees or hears, attributes that are read out included."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._hidden = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden = tag if tag in ("script", "style") else self._hidden
        self.texts += [value for key, value in attrs if key in ("aria-label", "data-title") and value]

    def handle_endtag(self, tag: str) -> None:
        self._hidden = "" if tag == self._hidden else self._hidden

    def handle_data(self, data: str) -> None:
        if not self._hidden and data.strip():
            self.texts.append(" ".join(data.replace("\u00ad", "").split()))


#: What a reader sees of a chart's data; the rest are moments, numbers, colours and switches.
_SEEN = frozenset({"name", "text", "hovertext", "ticktext", "hovertemplate", "title"})


def _chart_texts(value: object, key: str = "") -> Iterator[str]:
    match value:
        case dict():
            for name, one in value.items():
                yield from _chart_texts(one, name)
        case list():
            for one in value:
                yield from _chart_texts(one, key)
        case str() if key in _SEEN:
            yield value.replace("<br>", " ")


def charts_of(html: str) -> list[dict[str, Any]]:
    data = re.search(r'<script type="application/json" id="charts">(.*?)</script>', html, re.DOTALL)
    assert data is not None
    return list(json.loads(data[1]))


def seen(html: str) -> list[str]:
    """All texts of the page, of its charts, too."""
    charts = [one for one in _chart_texts(charts_of(html)) if one.strip() and one != "%{text}"]
    assert len(charts) > 100
    return [*_Seen(html).texts, *charts]


class Listening(Words):
    """German that notes what the dictionary lacks."""

    lacking: set[str] = set()  # noqa: RUF012 (one for all of its kind: Words is frozen)

    def german(self, english: str) -> str:
        from readout.report.language.german import GERMAN

        if english not in GERMAN:
            self.lacking.add(english)
        return super().german(english)


class Marked(Words):
    """German whose own words stand in brackets: what stands outside of them came past the language."""

    def german(self, english: str) -> str:
        told = Formatter().parse(super().german(english))
        return "".join(
            f"⟦{words}⟧{'' if name is None else f'{{{name}:{spec}}}'}" for words, name, spec, _ in told
        )


@pytest.fixture(scope="module")
def reviews(
    german_week: ModuleType, hall: ModuleType, tmp_path_factory: pytest.TempPathFactory
) -> list[Review]:
    found: list[Review] = german_week.reviews(hall, tmp_path_factory.mktemp("german") / "archive")
    return found


@pytest.fixture(scope="module")
def extras(german_week: ModuleType) -> Extras:
    found: Extras = german_week.extras()
    return found


@pytest.fixture(scope="module")
def german(reviews: list[Review], extras: Extras) -> str:
    return page(reviews, Listening(Language.GERMAN), "Messbericht", "# Befund\n\n- Gut.", extras=extras)


@pytest.fixture(scope="module")
def told(german: str) -> list[str]:
    return seen(german)


@pytest.fixture(scope="module")
def text(told: list[str]) -> str:
    return " ".join(told)


def test_all_that_was_said_is_in_the_dictionary(german: str) -> None:
    assert german
    assert Listening.lacking == set()


#: Words that no German sentence has.
ENGLISH = frozenset(
    """the of and with is are were been be not from by at for to on it its this that these those than then no
    nor each every only while where which when who how there here has have had does did can cannot may must or
    but if as into over under after before between without until since more less most least both all flow
    pressure meter reading readings total mean measured told kept rows row day days week hour hours""".split()  # noqa: SIM905
)
#: What a user, a file or a standard gave, and what the archive's columns and options are called.
GIVEN = (
    "leak test", "before", "after", "Hollow Mere bottling hall", "Hollow Mere", "early", "late",
    "EN 10255 medium", "ASME B36.10M Sch 40", "pipe.inside_diameter", "energy.price", "archive list",
)  # fmt: skip


def test_no_english_word_is_left(told: list[str]) -> None:
    for one in told:
        own = re.sub(r"`[^`]*`", " ", one)  # keys of a file and commands, as they are written there
        own = re.sub(r"\b[0-9a-f]{64}\b", " ", own)  # of a file or the ledger's last line
        for given in GIVEN:
            own = own.replace(given, " ")
        assert not ENGLISH & set(re.findall(r"[A-Za-z_-]+", own.lower())), one


def test_every_number_has_a_comma_and_every_date_is_german(told: list[str]) -> None:
    for one in told:
        own = one.replace("B36.10M", "")
        assert not re.search(r"(?<![\d.])\d+\.\d+(?![\d.])", own), one
        assert not re.search(r"\d{4}-\d{2}-\d{2}", own), one
        assert not re.search(r"\b(degC|m3)\b", own), one


def test_the_chart_script_writes_numbers_and_dates_as_german_does(german: str) -> None:
    """It knows no month names but English ones: none may be asked for."""
    dated = 0
    for layout in (one["layout"] for one in charts_of(german)):
        assert layout["separators"][0] == ","
        for axis in (axis for name, axis in layout.items() if name[1:].startswith("axis")):
            forms = [one["value"] for one in axis.get("tickformatstops", ())]
            forms += [axis["hoverformat"]] if "hoverformat" in axis else []
            assert not re.search("%[abAB]", " ".join(forms))
            dated += (
                axis.get("type") == "date" and axis["hoverformat"].startswith("%d.%m.%Y") and len(forms) > 1
            )
    assert dated == 4  # each point and source over time, and both points side by side


#: What stands outside the language: units, names, words of the site, the parts of a moment, keys of a file.
PLAIN = frozenset(
    """hauptleitung abzweig durchfluss druck zaehler sonde hollow mere bottling hall hm utc sha
    befund gut messbericht filter gewechselt halle zu leak test before after early late nachgemessen zeilen
    parquet d h min s mm m m³ bar g a °c c eur kwh kw n x en medium dn asme b e f ex sch
    holding mbar dämpfung bezugsdruck
    pipe inside diameter energy price
    probe fitting height sensor to tip wall thickness""".split()  # noqa: SIM905
)


def test_nothing_comes_past_the_language(reviews: list[Review], extras: Extras) -> None:
    html = page(reviews, Marked(Language.GERMAN), "Messbericht", "# Befund\n\n- Gut.", extras=extras)
    for one in seen(html):
        bare = one
        while "⟦" in bare:
            bare, before = re.sub(r"⟦[^⟦⟧]*⟧", " ", bare), bare
            assert bare != before, one
        bare = re.sub(r"\b[0-9a-f]{64}\b", " ", bare)  # of a file or the ledger's last line
        assert not set(re.findall(r"[^\W\d_]+", bare.lower())) - PLAIN, (one, bare)


@pytest.mark.parametrize(
    "answer",
    [
        # what, where, with what, when
        "Gemessen bei Hollow Mere bottling hall, Messstelle hauptleitung, mit Sonde Hollow Mere",
        "von 07.05.2026 00:00 (UTC+0100) bis 13.05.2026 00:00 (UTC+0100)",
        # how complete: of 4320 rows of 2 min 60 and 3 are in holes, 6 are lost, one is no number: 4250 / 4320
        "98,38 % des Zeitraums sind gemessen: 5,903 d von 6 d",
        "Aufzeichnung lief nicht",
        "keine Antwort",
        "Schnittstelle verloren",
        # how sure
        "Der mittlere Durchfluss beträgt",
        "(k = 2, etwa 95 %)",
        "bei 20,5 °C, 1 bar(a)",
        "Verfahren: Ein Momentanwert gilt für das Intervall, das mit ihm beginnt",
        # peak or pressure
        "Die Verbrauchsspitze zieht den Druck herunter",
        # what an hour out of hours costs, with its formula: no saving
        "Eine Stunde davon kostet",
        "kW/(m³/min) × 8000 h/a × 0,3 EUR/kWh",
        "Das kostet dieser Durchfluss. Es ist keine Einsparung.",
        "Das ist Grundlast, nicht Leckage",
        "Diese Grundlast stieg sprunghaft um",
        # why the meter's display may differ
        "Warum die Anzeige des Messgeräts abweichen kann: Sie zeigt einen Augenblick nach eigener Dämpfung",
        "Das Zählwerk des Messgeräts zählte",
        # corrections, leak tests, several points, memory
        "pipe.inside_diameter: 54,5 mm statt 53,1 mm",
        "mittlerer Durchfluss mit Vorzeichen",
        "Last- und Leerlaufzeiten: Last / (Last + Leerlauf)",
        "Druckabfall: Volumen × Abfall / (Bezugsdruck × Zeit)",
        "nicht vergleichbar: die Dämpfung war vorher nicht angegeben und nachher 2,5 s",
        "hauptleitung · aus dem Speicher des Messgeräts",
        "eine Zeile gilt für 5 min",
        # at the pipe
        "ZU KURZ um 2,33 m",  # two elbows out of plane ask for 50 × 54.5 mm = 2.725 m, 0.4 m are there
        "Durchfluss der Hauptleitung",
        "Bezugsdruck (holding 21) 1000,0 mbar",
        "Neben der Sondenachse, nie in ihrer Verlängerung",
        "So wenig braucht kein Kompressor",
    ],
)
def test_a_reader_finds_the_answer_in_german_words(text: str, answer: str) -> None:
    assert answer in text


@pytest.mark.parametrize("fluid", FLUIDS)
def test_cautions_are_german_for_every_fluid(reviews: list[Review], fluid: str) -> None:
    """The section is made with another fluid in the point file."""
    found = reviews[0]
    point = found.installation.measuring_point
    assert point is not None
    assert point.conditions is not None
    point = replace(point, conditions=replace(point.conditions, fluid=fluid))
    about = replace(found.installation, measuring_point=point)
    lacking = set(Listening.lacking)
    made = sections.installation(replace(found, installation=about), Listening(Language.GERMAN))
    assert Listening.lacking == lacking
    assert any("Wer entscheidet" in str(item) for item in made.items)
