"""Notes and marks in the picture over time and under it; what marks give; answers in and out of hours."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from protocols.units import Quantity, quantity_of
from readout.report.content import answers, marks
from readout.report.content.blocks import Table
from readout.report.content.entries import Entry, in_rows, legend
from readout.report.content.evidence import appendix, conditions
from readout.report.content.pictures.over_time import over_time
from readout.report.content.sections import complete, figures
from readout.report.language.words import Words
from readout.review.about.logbook import Mark, Note
from readout.review.marks.results import Inputs
from readout.review.review import Review

#: Three days from here are measured.
BEGIN = datetime.fromisoformat("2026-05-05T00:00+01:00").timestamp() * 1000
HOUR = 3_600_000


def at(hours: float) -> int:
    return round(BEGIN + hours * HOUR)


def booked(found: Review, *entries: Note | Mark) -> Review:
    """The same rows with these entries of the log book."""
    notes = [one for one in entries if isinstance(one, Note)]
    named = [one for one in entries if isinstance(one, Mark)]
    return replace(found, book=replace(found.book, notes=notes, marks=named))


def quantity(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity)
    return found


def test_no_number_meets_another_whatever_stands_close() -> None:
    """A number is given 9 % of the width; a mark's row is taken until its end."""
    some = [Entry(1, 0, 5000, "long"), Entry(2, 100, None, "a"), Entry(3, 400, None, "b"),
            Entry(4, 499, 500, "c"), Entry(5, 9000, None, "d")]  # fmt: skip
    assert [row for _, row in in_rows(some, 0, 10_000)] == [0, 1, 2, 3, 0]


def test_the_legend_tells_what_each_number_in_the_picture_stands_for(told: Callable[..., Review]) -> None:
    """In the order of time; what is out of the period keeps its number and is in no picture."""
    notes = [
        Note(at(10), "filler <b>2</b> stopped"),
        Note(at(-48), "early"),
        Note(at(10.2), "and runs again"),
    ]
    found = booked(told(), *notes, Mark("zone shut", at(9), at(11)))
    table = legend(found, Words())
    assert table is not None
    assert [tuple(row) for row in table.rows] == [
        ("2", "2026-05-05 09:00 – 11:00 (UTC+0100)", "zone shut"),
        ("3", "2026-05-05 10:00 (UTC+0100)", "filler <b>2</b> stopped"),
        ("4", "2026-05-05 10:12 (UTC+0100)", "and runs again"),
    ]
    bars, numbers = over_time(found, ["flow"], Words()).spec["data"][-2:]
    assert [text.strip() for text in numbers["text"]] == ["2", "3", "4"]
    assert len(set(numbers["y"])) == 3
    assert "3 · 2026-05-05 10:00 (UTC+0100)<br>filler &lt;b&gt;2&lt;/b&gt; stopped" in numbers["hovertext"]
    assert (bars["base"], bars["x"]) == (["2026-05-05T09:00:00.000"], [2 * HOUR])


def test_a_hundred_notes_of_one_hour_leave_the_picture_a_picture(told: Callable[..., Review]) -> None:
    """Eight rows with a number each; the others are there without one, to be hovered over."""
    few, many = (booked(told(), *(Note(at(10 + n / 100), "x") for n in range(count))) for count in (8, 100))
    drawn = [over_time(found, ["flow"], Words()).spec for found in (few, many)]
    assert drawn[0]["layout"]["height"] == drawn[1]["layout"]["height"]
    numbers = drawn[1]["data"][-1]
    assert len(numbers["x"]) == len(numbers["hovertext"]) == 100
    assert sum(text != "" for text in numbers["text"]) == 8


def test_the_required_pressure_is_a_line_with_its_unit(told: Callable[..., Review]) -> None:
    drawn = over_time(told("6.5 bar(g)"), ["flow", "pressure"], Words()).spec["layout"]
    assert [one["text"] for one in drawn["annotations"]] == ["required 6.5 bar(g)"]
    line = drawn["shapes"][-1]
    assert (line["yref"], line["y0"], line["y1"]) == ("y2", 6.5, 6.5)


def leak_rows(found: Review, inputs: Inputs) -> dict[str, tuple[str, str]]:
    """Inputs and result by the method's first words."""
    made = marks.marks(found, Words(), inputs)
    assert made is not None
    table = next(one for one in made.items if isinstance(one, Table) and "inputs" in one.heads)
    return {row[1].partition(":")[0]: (row[2], row[3]) for row in table.rows}


def test_a_leak_test_shows_method_inputs_and_result(told: Callable[..., Review]) -> None:
    """Constructed: from 20 to 60 m3/h and back each day, which are cycles of 16 h loaded and 8 h unloaded.

    Whole cycles from 06:00 on day 1 to 06:00 on day 3 less a gap of 2 h: 30 h at 60 m3/h or more, 16 h at 20.
    30 / 46 = 65.2 %, of 90 m3/h 58.7 m3/h.
    """
    found = booked(told(), Mark("leak test of everything", at(0), at(72)))
    rows = leak_rows(found, Inputs(output=quantity("90 m3/h")))
    inputs, result = rows["load and unload times"]
    assert (
        inputs
        == "30 h loaded and 16 h unloaded, whole cycles only; the compressor delivers 90 m³/h under load"
    )
    assert result == "58.7 m³/h (65.2 % of what the compressor delivers)"
    assert rows["mean flow with its sign"][0] == "2.917 d measured"  # 70 h
    without = leak_rows(found, Inputs())["load and unload times"]
    assert "was not given (--compressor-output)" in without[0]
    assert without[1] == "65.2 % of what the compressor delivers"


def test_a_pressure_that_only_wavers_is_no_decay_and_a_flow_that_wavers_no_cycle(
    told: Callable[..., Review],
) -> None:
    """Tuesday 09:00 to 10:00 has 6.2 bar(g) and 90 m3/h, before and after it 7 bar(g) and 60 m3/h.

    60 is no idling beside 90, and a pressure that comes back did not leak away.
    """
    found = booked(told(), Mark("leak test", at(8), at(13)))
    rows = leak_rows(found, Inputs(volume=quantity("4 m3"), output=quantity("90 m3/h")))
    assert rows["pressure decay"][1].startswith("none: the pressure does not fall from reading to reading")
    assert rows["load and unload times"][1].startswith("none: the flow does not go between two levels")


def test_before_and_after_stand_side_by_side_by_kind_of_day(told: Callable[..., Review]) -> None:
    """Tuesday: (16 x 60 + 8 x 20 + 30) / 24 = 47.9 m3/h and the spike's row; Thursday 46.7; less 1.25."""
    found = booked(told(), Mark("before", at(0), at(24)), Mark("after", at(48), at(72)))
    made = marks.marks(found, Words(), Inputs())
    assert made is not None
    table = next(one for one in made.items if isinstance(one, Table) and "change" in one.heads)
    assert [tuple(row[:5]) for row in table.rows] == [("production", "47.94", "1, 24 h", "46.67", "1, 24 h")]
    assert table.rows[0][5].startswith("−1.27 (−2.65")


def test_peak_or_pressure_is_answered_in_and_out_of_hours(told: Callable[..., Review]) -> None:
    """Pressure is below 6.5 bar(g) on Tuesday from 09:00 to 10:00 only, while 90 m3/h flow: in hours."""
    within, outside = (one.text for one in answers.peak_or_pressure(told("6.5 bar(g)"), Words()))
    assert within.startswith("In hours: Pressure was no higher than 6.5 bar(g) in 2.2 %")  # 1 of 46 h
    assert within.endswith("the peak pulls the pressure down.")
    assert outside.startswith("Out of hours: Neither: the pressure never fell below the required 6.5 bar(g)")


def test_the_band_out_of_hours_has_its_unit(told: Callable[..., Review]) -> None:
    texts = " ".join(str(one) for one in answers.out_of_hours(told(), Words()).items)
    assert "between 5.95 and 8.05 bar(g);" in texts  # 7 bar(g) less and more 15 %


@pytest.mark.parametrize(
    ("kept", "value", "register"),
    [
        ("20.0 degC (told by holding 20 int16)", "20 degC", "holding 20 int16"),
        ("1000 mbar (told by holding 21 uint16)", "1000 mbar", "holding 21 uint16"),
        ("101.325 kPa", "101.325 kPa", None),
    ],
)
def test_conditions_are_told_plainly_and_where_they_come_from_apart(
    told: Callable[..., Review], kept: str, value: str, register: str | None
) -> None:
    assert [(one.value, one.told_by) for one in conditions(kept)] == [(value, register)]
    found = told()
    flow = replace(found.readings["flow"], info=replace(found.readings["flow"].info, reference=kept))
    found = replace(found, readings={**found.readings, "flow": flow})
    words = " ".join(str(item) for item in figures(found, Words()).items)
    shown = value.replace("degC", "°C")
    assert f"flow (at {shown})" in words
    assert "told by" not in words
    assert (register is None) or f"('flow', '{shown}', '{register}')" in str(appendix(found, Words()).items)


def test_what_the_recorder_met_in_the_period_is_told(told: Callable[..., Review]) -> None:
    events = [(at(-5), "port lost"), (at(30), "port lost"), (at(30.5), "port back"), (at(99), "disk full")]
    found = told()
    found = replace(found, book=replace(found.book, events=events))
    tables = [one for one in complete(found, Words()).items if isinstance(one, Table)]
    met = next(one for one in tables if one.caption == "What the recorder met: 2 of 2")
    assert [tuple(row) for row in met.rows] == [
        ("2026-05-06 06:00 (UTC+0100)", "port lost"), ("2026-05-06 06:30 (UTC+0100)", "port back"),
    ]  # fmt: skip
