"""Readings over time, and above them the log book's entries.

Of each column of pixels the lowest and the highest row are drawn, so that a spike of one row keeps its
height; nothing is drawn over a gap, which is shaded besides.
"""

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np

from readout.report.content.blocks import Chart
from readout.report.content.entries import Entry, in_rows, shown, when
from readout.report.content.pictures.frame import (
    BLUE,
    DARK_GREEN,
    GREEN,
    INK,
    PALE,
    RUST,
    frame,
    labelled,
    line,
    offset_of,
    safe,
    texts,
)
from readout.report.language.words import Language, Words, plain
from readout.review.review import Review
from readout.review.series import series

#: Columns of a picture over time: more than a screen has, so that there is something to zoom into.
COLUMNS = 3000
#: Of several points in one picture; dashes would be lost in more.
_FEW = 800
#: Gaps that are shaded, the longest first.
_MOST_SHADED = 300
#: Heights [CSS pixels] of a panel and of a row of the log book; between panels, a share.
_PANEL, _ENTRY, _BETWEEN = 250, 18, 0.05
_DAY = 86_400_000  # ms
#: Rows of the log book; what stands closer together than that has its number in the legend and on hovering.
_MOST_ROWS = 8
#: Lines of several points, which differ in a print without colours, too.
_LINES = ((BLUE, "solid"), (RUST, "dash"), (DARK_GREEN, "dot"), (INK, "dashdot"))


def over_time(found: Review, names: Sequence[str], words: Words, columns: int = COLUMNS) -> Chart:
    """Readings over one time axis, one below the other, with gaps, notes and marks."""
    offset, rows = offset_of(found), _entry_rows(found)
    data: list[dict[str, Any]] = []
    drawn = frame(words, "")
    count = min(_MOST_ROWS, max((row for _, row in rows), default=-1) + 1)
    height = (2 if len(names) > 1 else 1) * _PANEL + count * _ENTRY
    panels = _domains(len(names), count * _ENTRY / height)
    width = 0
    for index, name in enumerate(names):
        key = _axis(index)
        lines, width = _panel(found, name, words, columns, offset)
        data += [one | {"yaxis": key.replace("axis", "")} for one in lines]
        label = safe(labelled(found, name, words))
        drawn[key] = drawn["yaxis"] | {"title": {"text": label}, "domain": panels[index]}
    begin, end = texts(np.array([found.coverage.begin_ms, found.coverage.end_ms], np.int64), offset)
    drawn["xaxis"] |= {"type": "date", "tickformatstops": _ticks(words), "range": [begin, end]}
    drawn["xaxis"]["hoverformat"] = _moments(words)
    drawn["xaxis"] |= {"anchor": _axis(len(names) - 1).replace("axis", "")}
    drawn |= {"height": height + 76, "shapes": _shaded(found, offset), "barmode": "overlay"}
    if rows:
        key = _axis(len(names))
        drawn[key] = _entry_axis(count, height)
        data += _told(rows, found, words, offset, key.replace("axis", ""))
        drawn["shapes"] += _strokes(rows, offset)
    required = _required(found, names, words)
    if required is not None:
        drawn["shapes"].append(required[0])
        drawn["annotations"] = [required[1]]
    caption = words(
        "Each blue stroke runs from the lowest to the highest row of {width}, the red line is their mean;"
        " nothing is drawn over gaps, which are shaded. Drag to zoom, double click to go back."
        " Times are UTC{offset} throughout.",
        width=words.span(width / 1000),
        offset=_signed(offset),
    )
    title = words("{name} over time", name=words(" and ").join(map(words.name, names)))
    return Chart("time", title, {"data": data, "layout": drawn}, caption)


def side_by_side(found: Sequence[Review], words: Words) -> Chart:
    """The mean flow of several points over one time axis, on the first one's clock."""
    offset = offset_of(found[0])
    unit = words.unit((found[0].flow or next(iter(found[0].readings.values()))).shown.unit)
    drawn = frame(words, f"{words('mean flow')} [{unit}]")
    data = []
    for n, one in enumerate(found):
        if one.flow is not None:
            columns = series(one, one.flow.info.name, _FEW)
            name = safe(one.installation.point)
            made = line(
                texts(columns.begin, offset, "m"), columns.means, name, _LINES[n % len(_LINES)][0], 1.4
            )
            made["line"]["dash"] = _LINES[n % len(_LINES)][1]
            data.append(made)
    drawn["xaxis"] |= {"type": "date", "tickformatstops": _ticks(words), "hoverformat": _moments(words)}
    drawn |= {"showlegend": True, "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"}}
    caption = words(
        "Means, corrected by the ledger; nothing is drawn over gaps. Drag to zoom, double click to go back."
        " Times are UTC{offset} throughout.",
        offset=_signed(offset),
    )
    return Chart("points", words("The points over time"), {"data": data, "layout": drawn}, caption)


def _panel(
    found: Review, name: str, words: Words, columns: int, offset: int
) -> tuple[list[dict[str, Any]], int]:
    """A reading's strokes and its mean, and how wide [ms] a column is."""
    drawn = series(found, name, columns)
    at = texts(drawn.begin, offset, "m")
    strokes_at = np.repeat(np.array(at, dtype=object), 3).tolist()
    strokes = np.column_stack([drawn.low, drawn.high, np.full(len(at), np.nan)]).ravel()
    lines = [
        line(strokes_at, strokes, words("lowest to highest row"), BLUE, 1.2),
        line(at, drawn.means, words("mean"), RUST, 1.4),
    ]
    return lines, drawn.width_ms


def _axis(index: int) -> str:
    return "yaxis" if index == 0 else f"yaxis{index + 1}"


def _domains(count: int, above: float) -> list[list[float]]:
    """Where panels stand, the first on top; `above` is the share that the log book takes."""
    free = 1 - above
    each = (free - _BETWEEN * (count - 1)) / count
    tops = [free - n * (each + _BETWEEN) for n in range(count)]
    return [[max(0.0, top - each), top] for top in tops]


def _shaded(found: Review, offset: int) -> list[dict[str, Any]]:
    gaps = sorted(found.coverage.gaps, key=lambda gap: gap.begin_ms - gap.end_ms)[:_MOST_SHADED]
    return [_box(gap.begin_ms, gap.end_ms, offset, PALE, 0.9) for gap in gaps]


def _box(begin: int, end: int, offset: int, color: str, opacity: float) -> dict[str, Any]:
    x0, x1 = texts(np.array([begin, end], np.int64), offset)
    return {
        "type": "rect", "xref": "x", "yref": "paper", "x0": x0, "x1": x1, "y0": 0, "y1": 1,
        "fillcolor": color, "opacity": opacity, "line": {"width": 0}, "layer": "below",
    }  # fmt: skip


def _entry_rows(found: Review) -> list[tuple[Entry, int]]:
    return in_rows(shown(found), found.coverage.begin_ms, found.coverage.end_ms)


def _entry_axis(count: int, height: int) -> dict[str, Any]:
    """The log book's rows above the panels; they stay as they are while the panels are zoomed."""
    return {
        "domain": [1 - count * _ENTRY / height, 1], "range": [count - 0.5, -0.5], "visible": False,
        "fixedrange": True,
    }  # fmt: skip


def _told(
    rows: Sequence[tuple[Entry, int]], found: Review, words: Words, offset: int, axis: str
) -> list[dict[str, Any]]:
    """Marks as bars, notes as triangles, each with its number; the text on hovering and in the legend."""
    begin, end = found.coverage.begin_ms, found.coverage.end_ms
    marks = [(one, row) for one, row in rows if one.end_ms is not None]
    hovers = {one.number: _hover(one, found, words) for one, _ in rows}
    starts = [max(one.begin_ms, begin) for one, _ in rows]
    bars = {
        "type": "bar", "orientation": "h", "yaxis": axis, "width": 0.62, "name": "",
        "base": texts(np.array([max(one.begin_ms, begin) for one, _ in marks], np.int64), offset),
        "x": [min(one.last_ms, end) - max(one.begin_ms, begin) for one, _ in marks],
        "y": [min(row, _MOST_ROWS - 1) for _, row in marks],
        "hovertext": [hovers[one.number] for one, _ in marks], "hoverinfo": "text",
        "marker": {"color": GREEN, "line": {"color": DARK_GREEN, "width": 1}},
    }  # fmt: skip
    numbers = {
        "type": "scatter", "mode": "markers+text", "yaxis": axis, "x": texts(np.array(starts), offset),
        "y": [min(row, _MOST_ROWS - 1) for _, row in rows], "name": "",
        "text": [f" {one.number}" if row < _MOST_ROWS else "" for one, row in rows],
        "textposition": "middle right", "textfont": {"size": 11}, "cliponaxis": False,
        "hovertext": [hovers[one.number] for one, _ in rows], "hoverinfo": "text",
        "marker": {"color": RUST, "symbol": "triangle-down",
                   "size": [8 if one.end_ms is None else 0 for one, _ in rows]},
    }  # fmt: skip
    return [bars, numbers] if marks else [numbers]


def _strokes(rows: Sequence[tuple[Entry, int]], offset: int) -> list[dict[str, Any]]:
    """Dotted lines down from where a note stands, and from both ends of a mark."""
    moments = [(one.begin_ms, RUST) for one, _ in rows if one.end_ms is None]
    moments += [
        (at, DARK_GREEN) for one, _ in rows if one.end_ms is not None for at in (one.begin_ms, one.end_ms)
    ]
    return [
        {"type": "line", "xref": "x", "yref": "paper", "x0": at, "x1": at, "y0": 0, "y1": 1,
         "line": {"color": color, "width": 1, "dash": "dot"}, "layer": "below"}
        for at, color in zip(texts(np.array([one for one, _ in moments], np.int64), offset),
                             (color for _, color in moments), strict=True)
    ]  # fmt: skip


def _hover(one: Entry, found: Review, words: Words) -> str:
    """Number, time and text, in lines that fit on a screen."""
    lines = textwrap.wrap(plain(one.text), 60) or [""]
    return "<br>".join(map(safe, (f"{one.number} · {when(one, found, words)}", *lines)))


def _required(
    found: Review, names: Sequence[str], words: Words
) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """The required pressure as a dashed line over its panel, and its label."""
    about = found.installation.pressure
    if found.pressure is None or about is None or about.name not in names:
        return None
    axis = _axis(names.index(about.name)).replace("axis", "")
    level, unit = found.pressure.required, words.unit(found.readings[about.name].shown.unit, "")
    line = {
        "type": "line", "xref": "paper", "yref": axis, "x0": 0, "x1": 1, "y0": level, "y1": level,
        "line": {"color": INK, "width": 1.2, "dash": "dash"},
    }  # fmt: skip
    label = {
        "xref": "paper", "yref": axis, "x": 0.002, "y": level, "xanchor": "left", "yanchor": "top",
        "showarrow": False, "font": {"size": 11}, "bgcolor": "rgba(255,255,255,0.75)",
        "text": safe(words("required {limit} {unit}", limit=words.number(level), unit=unit)),
    }  # fmt: skip
    return line, label


def _signed(offset: int) -> str:
    return f"{'+' if offset >= 0 else '−'}{abs(offset) // 3600:02d}:{abs(offset) // 60 % 60:02d}"


def _moments(words: Words) -> str:
    return "%d.%m.%Y %H:%M" if words.language is Language.GERMAN else "%Y-%m-%d %H:%M"


def _ticks(words: Words) -> list[dict[str, Any]]:
    """The clock with the day below it where one zooms in; else days; else months."""
    day, month = ("%d.%m.", "%m.%Y") if words.language is Language.GERMAN else ("%m-%d", "%Y-%m")
    steps = ((None, _DAY - 1, f"%H:%M\n{day}"), (_DAY, "M1", day), ("M1", None, month))
    return [{"dtickrange": [low, high], "value": form} for low, high, form in steps]
