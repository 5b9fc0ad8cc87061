"""The hours of the week: a picture with mean and n in each cell, and the same numbers as a table.

One hue from pale to dark, so that a print in black and white tells the same. An hour that was never measured
is sand like the gaps of the other pictures, struck through, and says n 0: it is no hour of nothing.
"""

import math
from typing import Any

from readout.report.content.blocks import Chart, Table
from readout.report.content.pictures.frame import BLUE, INK, PALE, called, frame, safe
from readout.report.language.words import Words
from readout.review.about.site_time import WEEKDAYS
from readout.review.figures.periods import Period
from readout.review.review import Review

_HOURS = range(24)
#: Of nothing, of half and of the most.
_FAINT, _HALF, _FULL = "#f4f3ee", "#86abbd", "#0f3549"
#: A row of the picture [CSS pixels] with mean and n beside each other, and below each other on a phone.
_ROW, _TALL_ROW = 19, 28
#: Between mean and n in a cell.
_BESIDE, _BELOW = "  n ", "<br>n "


def picture(found: Review, name: str, words: Words) -> Chart:
    """Hours (down) by weekdays (across)."""
    reading, cells = found.best(name), _cells(found, name)
    means = [[_mean(cells.get((day, hour))) for day in WEEKDAYS] for hour in _HOURS]
    known = [mean for row in means for mean in row if mean is not None]
    low, high = min(known, default=0.0), max(known, default=1.0)
    unit = words.unit(reading.shown.unit)
    measured: dict[str, Any] = {
        "type": "heatmap", "x": list(range(7)), "y": list(_HOURS), "z": means, "name": "",
        "colorscale": [[0, _FAINT], [0.5, _HALF], [1, _FULL]], "zmin": min(low, 0.0), "zmax": high,
        "xgap": 1, "ygap": 1,
        "text": _texts(cells, words, _BESIDE), "texttemplate": "%{text}", "textfont": {"size": 11},
        "hovertext": _hovers(cells, words, unit), "hoverinfo": "text",
        "colorbar": {"title": {"text": safe(unit), "side": "right"}, "thickness": 12, "outlinewidth": 0},
    }  # fmt: skip
    down = {"tickvals": list(_HOURS), "ticktext": [f"{hour:02d}" for hour in _HOURS], "range": [23.5, -0.5]}
    across = {"tickvals": list(range(7)), "range": [-0.5, 6.5], "side": "top", "ticks": "", "tickangle": 0}
    drawn = frame(words, words("hour of the day")) | {"height": 24 * _ROW + 50}
    drawn["margin"] |= {"t": 30, "b": 14}
    drawn["xaxis"] |= across | {"ticktext": [words(day) for day in WEEKDAYS], "showgrid": False}
    drawn["yaxis"] |= down | {"showgrid": False, "ticks": "", "tickfont": {"size": 11}}
    below = measured["colorbar"] | {"orientation": "h", "y": -0.02, "yanchor": "top", "len": 1}
    short = {"ticktext": [words(day[:3]) for day in WEEKDAYS]}
    tall = {
        "data": [{}, {}, {"text": _texts(cells, words, _BELOW), "textfont": {"size": 9}, "colorbar": below}],
        "layout": {"height": 24 * _TALL_ROW + 110, "margin": {"l": 44, "r": 4, "t": 30, "b": 60},
                   "xaxis": drawn["xaxis"] | short},
    }  # fmt: skip
    caption = words(
        "Mean of {name} [{unit}] in each hour of the week by the site's clock; n is how many such hours were"
        " measured at least in part. Darker is more. Struck through, n 0: not measured.",
        name=called(found, name, words), unit=unit,
    )  # fmt: skip
    spec = {"data": [*_unmeasured(means, words), measured], "layout": drawn, "narrow": tall}
    return Chart("week", words("Hours of the week"), spec, caption)


def table(found: Review, name: str, words: Words) -> Table:
    """The same as text: `mean (n)`; a dash for an hour that was never measured."""
    cells = _cells(found, name)
    places = _places(cells)

    def cell(one: Period | None) -> str:
        return "–" if one is None or one.mean is None else f"{words.fixed(one.mean, places)} ({one.count})"

    rows = [(f"{hour:02d}", *(cell(cells.get((day, hour))) for day in WEEKDAYS)) for hour in _HOURS]
    caption = words(
        "Hours of the week: mean of {name} [{unit}], in brackets n",
        name=called(found, name, words), unit=words.unit(found.best(name).shown.unit),
    )  # fmt: skip
    return Table(caption, (words("hour"), *(words(day) for day in WEEKDAYS)), rows)


def _cells(found: Review, name: str) -> dict[tuple[str, int], Period]:
    """By weekday and hour."""
    cells = {}
    for one in found.best(name).week:
        day, _, clock = one.name.partition(" ")
        cells[day, int(clock[:2])] = one
    return cells


def _mean(one: Period | None) -> float | None:
    return None if one is None or one.mean is None else float(one.mean)


def _places(cells: dict[tuple[str, int], Period]) -> int:
    """Places after the point that give the largest three digits, so that all can be compared at a glance."""
    largest = max((abs(one.mean) for one in cells.values() if one.mean is not None), default=0.0)
    return 2 if not largest else min(4, max(0, 2 - math.floor(math.log10(largest))))


def _texts(cells: dict[tuple[str, int], Period], words: Words, between: str) -> list[list[str]]:
    places = _places(cells)

    def text(one: Period | None) -> str:
        return (
            "" if one is None or one.mean is None else f"{words.fixed(one.mean, places)}{between}{one.count}"
        )

    return [[text(cells.get((day, hour))) for day in WEEKDAYS] for hour in _HOURS]


def _hovers(cells: dict[tuple[str, int], Period], words: Words, unit: str) -> list[list[str]]:
    def text(day: str, hour: int) -> str:
        one = cells.get((day, hour))
        if one is None or one.mean is None:
            return ""
        lines = f"{words(day)} {hour:02d}–{hour + 1:02d} h", f"{words.number(one.mean)} {safe(unit)}"
        return "<br>".join((*lines, f"n {one.count}"))

    return [[text(day, hour) for day in WEEKDAYS] for hour in _HOURS]


def _unmeasured(means: list[list[float | None]], words: Words) -> list[dict[str, Any]]:
    """Below the measured cells: sand where there is none, and a stroke through it."""
    empty = [[1 if mean is None else None for mean in row] for row in means]
    told = words("not measured")
    sand = {
        "type": "heatmap", "x": list(range(7)), "y": list(_HOURS), "z": empty, "showscale": False, "name": "",
        "colorscale": [[0, PALE], [1, PALE]], "xgap": 1, "ygap": 1, "hovertemplate": told,
        "text": [["n 0" if mean is None else "" for mean in row] for row in means],
        "texttemplate": "%{text}", "textfont": {"size": 10, "color": INK},
    }  # fmt: skip
    x: list[float | None] = []
    y: list[float | None] = []
    for hour, row in enumerate(means):
        for day, mean in enumerate(row):
            if mean is None:
                for side in (-1, 1):  # a stroke on each side of the text
                    x += [day + side * 0.47, day + side * 0.2, None]
                    y += [hour - side * 0.45, hour - side * 0.19, None]
    strokes = {
        "type": "scatter", "mode": "lines", "x": x, "y": y, "hoverinfo": "skip", "name": told,
        "line": {"color": BLUE, "width": 0.6},
    }  # fmt: skip
    return [sand, strokes]
