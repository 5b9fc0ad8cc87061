"""Marks of the log book and what they give: leak tests with method, inputs and result; before and after."""

from collections.abc import Iterator, Sequence

from readout.report.content.blocks import Item, Section, Table, Text
from readout.report.content.entries import Entry, entries, when
from readout.report.language.words import Words, plain
from readout.review.figures.periods import Period
from readout.review.marks.comparison import compared
from readout.review.marks.leak_tests import LeakTest
from readout.review.marks.results import Inputs, MarkResult, mark_results
from readout.review.review import Review


def marks(found: Review, words: Words, inputs: Inputs) -> Section | None:
    """None without a mark; `inputs` are what leak tests need besides rows."""
    told = {(one.begin_ms, one.end_ms, one.text): one for one in entries(found)}
    results = sorted(mark_results(found, inputs), key=lambda one: one.mark.begin_ms)
    numbered = [(told[one.mark.begin_ms, one.mark.end_ms, one.mark.name], one) for one in results]
    if not numbered:
        return None
    items = [_marks(numbered, found, words), *_leak_tests(numbered, words), *_before_and_after(found, words)]
    return Section(words("Marks of the log book, and what they give"), items)


def _marks(numbered: Sequence[tuple[Entry, MarkResult]], found: Review, words: Words) -> Table:
    flow, pressure = found.corrected or found.flow, found.installation.pressure
    shown = None if pressure is None else found.readings.get(pressure.name)
    units = [f" [{words.unit(one.shown.unit)}]" if one is not None else "" for one in (flow, shown)]
    rows = [
        (
            str(entry.number), plain(entry.text), when(entry, found, words), words.number(one.flow),
            words.number(one.pressure),
        )
        for entry, one in numbered
    ]  # fmt: skip
    heads = (
        words("no."), words("mark"), words("span"), words("mean flow") + units[0],
        words("mean pressure") + units[1],
    )  # fmt: skip
    return Table(words("Marks"), heads, rows, "words")


def _leak_tests(numbered: Sequence[tuple[Entry, MarkResult]], words: Words) -> Iterator[Item]:
    """A row for each method that a leak test had what it needs for."""
    rows = [
        (str(entry.number), words(test.method), "; ".join(_inputs(test, words)) or "–", _result(test, words))
        for entry, one in numbered
        for test in one.leak_tests
    ]
    if rows:
        heads = (words("no."), words("method"), words("inputs"), words("result"))
        yield Table(words("Leak tests, with every consumer shut off"), heads, rows, "words")


def _inputs(test: LeakTest, words: Words) -> Iterator[str]:
    """What a result was worked out from, each with its unit."""
    told = test.inputs
    number = {name: value for name, value in told.items() if isinstance(value, (int, float))}
    if "measured_s" in number:
        yield words("{span} measured", span=words.span(number["measured_s"]))
    if "loaded_s" in number:
        yield words(
            "{loaded} loaded and {unloaded} unloaded, whole cycles only",
            loaded=words.span(number["loaded_s"]), unloaded=words.span(number["unloaded_s"]),
        )  # fmt: skip
        if "output" in number:
            text = "the compressor delivers {output} {unit} under load"
            yield words(text, output=words.number(number["output"]), unit=words.unit(test.unit, ""))
        else:
            yield words("what the compressor delivers under load was not given (--compressor-output)")
    if "volume_m3" in number:
        sign, intercept = "−" if number["intercept"] < 0 else "+", abs(number["intercept"])
        yield words("volume {volume} m3", volume=words.number(number["volume_m3"]))
        yield words(
            "{n} readings of the pressure, referred to {reference} bar(a)",
            n=words.fixed(number["readings"], 0), reference=words.number(number["reference_bar"]),
        )  # fmt: skip
        yield words(
            "loss = {slope} m3/h per bar × pressure {intercept} m3/h, taken at {working} bar(g)",
            slope=words.number(number["slope"]), intercept=f"{sign} {words.number(intercept)}",
            working=words.number(number["working_bar"]),
        )  # fmt: skip


def _result(test: LeakTest, words: Words) -> str:
    if test.why is not None:
        return words("none: {why}", why=words(test.why))
    share = None if test.share is None else words.percent(test.share)
    flow = None if test.flow is None else f"{words.number(test.flow)} {words.unit(test.unit, '')}".strip()
    if share is None:
        return flow or "–"
    of = words("{share} of what the compressor delivers", share=share)
    return of if flow is None else f"{flow} ({of})"


def _before_and_after(found: Review, words: Words) -> Iterator[Item]:
    both = compared(found)
    if both is None:
        return
    rows = []
    for name, *sides in both.rows:
        row = [words(name)]
        for side in sides:
            row += [words.number(None if side is None else side.mean), _counted(side, words)]
        rows.append((*row, _change(sides, words) if not both.not_comparable else words("not comparable")))
    heads = (
        words("day type"), words("before"), words("days, measured"), words("after"),
        words("days, measured"), words("change"),
    )  # fmt: skip
    caption = f"{words('Before and after, mean flow')} [{words.unit(both.unit)}]"
    yield Table(caption, heads, rows)
    for text in both.not_comparable:
        yield Text(words(text), "strong")


def _counted(side: Period | None, words: Words) -> str:
    return "–" if side is None else f"{side.count}, {words.span(side.measured_s)}"


def _change(sides: Sequence[Period | None], words: Words) -> str:
    """After less before, and in per cent of before."""
    before, after = (None if one is None else one.mean for one in sides)
    if before is None or after is None:
        return "–"
    share = f" ({words.number(100 * (after - before) / before, 3)} %)" if before else ""
    return f"{words.number(after - before, 3)}{share}"
