"""The page answers in words, keeps spikes and gaps, and lets no outside text become anything else."""

import json
import re
from collections.abc import Callable
from html.parser import HTMLParser

import pytest

from readout.report.content.pictures import week
from readout.report.content.pictures.over_time import over_time
from readout.report.language.words import Language, Words, plain
from readout.report.page import chart_script, page
from readout.review.review import Review

SPIKE = 250.0


class _Text(HTMLParser):
    """What a reader sees, and the elements there are."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self._hidden = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._hidden = tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self._hidden = False

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def _read(html: str) -> _Text:
    found = _Text()
    found.feed(html)
    return found


@pytest.fixture(scope="module")
def english(told: Callable[..., Review]) -> str:
    return page([told("6.5 bar(g)")], Words(), "Audit of the header")


@pytest.mark.parametrize(
    "answer",
    [
        "Measured at Hollow Mere bottling hall",  # where
        "by Hollow Mere header meter",  # what with
        "from 2026-05-05 00:00 (UTC+0100) until 2026-05-08 00:00 (UTC+0100)",  # when
        "97.22 % of the period was measured: 2.917 d of 3 d",  # how complete: 70 of 72 hours
        "How sure it is",
        "How sure the flow is cannot be said",  # how sure
        "the peak pulls the pressure down",  # peak or pressure: 90 m3/h while it was low
        "An hour of it costs 0.53 EUR",  # 20/60 m3/min x 6.4 kW/(m3/min) x 0.25 EUR/kWh = 0.533
        "It is no saving",
        "Why the meter's display may differ",
        "at 20 °C, 1 bar(a)",  # reference conditions
        "2026-05-05 early",  # a shift, by its day and its name
    ],
)
def test_a_reader_finds_the_answer_in_words(english: str, answer: str) -> None:
    assert answer in _read(english).text


def test_completeness_comes_first_then_certainty_then_figures(english: str) -> None:
    text = _read(english).text
    heads = ["How complete it is", "How sure it is", "The figures", "The pictures"]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)


def test_pressure_that_never_fell_below_what_is_needed_is_no_problem(told: Callable[..., Review]) -> None:
    text = _read(page([told("6 bar(g)")], Words(), "Audit")).text
    assert "Neither: the pressure never fell below the required 6 bar(g)" in text


def test_a_spike_of_one_row_has_its_exact_height(told: Callable[..., Review]) -> None:
    """Even where a column of the picture holds thousands of rows."""
    for columns in (3000, 5):
        drawn = over_time(told(), ["flow"], Words(), columns)
        assert max(one for one in drawn.spec["data"][0]["y"] if one is not None) == SPIKE


def test_a_gap_of_two_hours_is_a_gap(told: Callable[..., Review]) -> None:
    """13:00 to 15:00 on 2026-05-06: no number within it, no line over it, and it is shaded."""
    drawn = over_time(told(), ["flow", "pressure"], Words())
    begin, end = "2026-05-06T13:00", "2026-05-06T15:00"
    for line in drawn.spec["data"][:4]:
        within = [y for x, y in zip(line["x"], line["y"], strict=True) if begin <= x[:16] < end]
        assert within
        assert set(within) == {None}
        assert line["connectgaps"] is False
    shaded = [(shape["x0"][:16], shape["x1"][:16]) for shape in drawn.spec["layout"]["shapes"]]
    assert (begin, end) in shaded


def test_each_cell_of_the_week_tells_how_many_hours_it_is_of(told: Callable[..., Review]) -> None:
    """Tuesday to Thursday were measured once; Wednesday 13:00 and 14:00 not at all."""
    sand, strokes, measured = week.picture(told(), "flow", Words()).spec["data"]
    assert measured["text"][9] == ["", "90.0  n 1", "60.0  n 1", "60.0  n 1", "", "", ""]
    assert measured["text"][13] == ["", "60.0  n 1", "", "60.0  n 1", "", "", ""]
    assert sand["text"][13] == ["n 0", "", "n 0", "", "n 0", "n 0", "n 0"]
    none = sum(cell == "n 0" for row in sand["text"] for cell in row)
    assert none == 7 * 24 - 70  # 72 hours less two
    assert strokes["x"].count(None) == 2 * none
    rows = {row[0]: row[1:] for row in week.table(told(), "flow", Words()).rows}
    assert rows["13"] == ("–", "60.0 (1)", "–", "60.0 (1)", "–", "–", "–")


def test_hostile_text_stays_text(told: Callable[..., Review]) -> None:
    """A note, a title and findings with tags, a formula and a mark that turns the line around."""
    bad = "<script>alert(1)</script>\u202e"
    html = page([told()], Words(), bad, f"# {bad}\n\n{bad}")
    found = _read(html)
    assert "<img src=x onerror=alert(1)> =1+1 ⟨U+202E⟩gnp.exe</script>" in found.text
    assert [tag for tag, _ in found.elements].count("script") == 3  # data, chart script, our own
    assert "img" not in [tag for tag, _ in found.elements]
    assert not any(key.startswith("on") for _, attributes in found.elements for key in attributes)
    assert "\u202e" not in html.replace(chart_script(), "")


def test_a_marks_name_is_no_tag_in_a_chart(told: Callable[..., Review]) -> None:
    html = page([told()], Words(), "Audit")
    data = re.search(r'<script type="application/json" id="charts">(.*?)</script>', html, re.DOTALL)
    assert data is not None
    assert "<" not in data[1]
    assert json.loads(data[1])


def test_the_page_names_no_other_place_to_load_from(english: str) -> None:
    for _, attributes in _read(english).elements:
        assert not {"src", "href", "srcset", "data", "action"} & set(attributes)
    assert "default-src 'none'" in english


@pytest.mark.parametrize(
    ("value", "english", "german"),
    [(1234.5678, "1235", "1235"), (0.25, "0.25", "0,25"), (-3.5, "−3.5", "−3,5"), (None, "–", "–")],
)
def test_numbers_are_written_as_the_language_does(value: float | None, english: str, german: str) -> None:
    assert Words().number(value) == english
    assert Words(Language.GERMAN).number(value) == german


def test_almost_all_is_not_told_as_all() -> None:
    assert Words().percent(0.99999, 1) == "99.999 %"
    assert plain("a\u2067b\nc") == "a⟨U+2067⟩b c"


def test_a_picture_by_itself_has_period_and_reference_conditions_below_its_title(
    told: Callable[..., Review],
) -> None:
    """A PNG in a letter has no page around it that says when it was, and at what conditions its m³ are."""
    span = "2026-05-05 00:00 (UTC+0100) – 2026-05-08 00:00 (UTC+0100)"
    under = f'<article data-under="{span} · flow (at 20 °C, 1 bar(a))">'
    assert under in page([told()], Words(), "x")
