"""The pictures, as data for the chart script: time, duration, pressure against flow, histogram.

Of each column of pixels the lowest and the highest row are drawn, so that a spike of one row keeps its
height; nothing is drawn over a gap, which is shaded besides.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from markupsafe import escape
from numpy.typing import NDArray

from readout.report.content.blocks import Cell, Chart, Week
from readout.report.language.words import Language, Words, plain
from readout.review.about.site_time import WEEKDAYS
from readout.review.review import Review, duration_curve
from readout.review.series import series

#: Columns of a picture over time: more than a screen has, so that there is something to zoom into.
COLUMNS = 3000
#: Gaps that are shaded, the longest first; points of a scatter.
_MOST_SHADED, _MOST_POINTS = 300, 4000
INK, BLUE, RUST, PALE = "#1c2a33", "#1f5673", "#a4451f", "#e9e2d3"


def over_time(found: Review, name: str, words: Words, columns: int = COLUMNS) -> Chart:
    """A reading over time, with gaps, notes and marks."""
    drawn, reading = series(found, name, columns), found.readings[name]
    offset = _offset(found)
    at = _texts(drawn.begin, offset)
    strokes_at = np.repeat(np.array(at, dtype=object), 3).tolist()
    strokes = np.column_stack([drawn.low, drawn.high, np.full(len(at), np.nan)]).ravel()
    label = f"{name} [{reading.shown.unit or '–'}]"
    data = [
        _line(strokes_at, strokes, words("lowest to highest row"), BLUE, 1.2),
        _line(at, drawn.means, words("mean"), RUST, 1.4),
    ]
    layout = _layout(words, label) | {"shapes": _shaded(found, offset), "annotations": _told(found, offset)}
    layout["xaxis"] |= {"type": "date", "tickformat": _days(words)}
    caption = words(
        "Each stroke runs from the lowest to the highest row of {width}; nothing is drawn over gaps, which"
        " are shaded. Drag to zoom, double click to go back. Times are UTC{offset} throughout.",
        width=words.span(drawn.width_ms / 1000),
        offset=_signed(offset),
    )
    title = words("{name} over time", name=plain(name))
    return Chart(f"time-{_word(name)}", title, {"data": data, "layout": layout}, caption)


def duration(found: Review, name: str, words: Words) -> Chart:
    """For which share of the measured time a value was exceeded."""
    share, values = duration_curve(found, name, 401)
    layout = _layout(words, f"{name} [{found.readings[name].shown.unit or '–'}]")
    layout["xaxis"] |= {"title": {"text": words("share of measured time [%]")}, "range": [0, 100]}
    data = [_line((share * 100).tolist(), values, words("exceeded for"), BLUE, 2)]
    caption = words("Read: for so much of the measured time the flow was at least so high.")
    return Chart("duration", words("Flow duration curve"), {"data": data, "layout": layout}, caption)


def against(found: Review, flow: str, pressure: str, words: Words) -> Chart:
    """Means of minutes of pressure over those of flow; of many an even selection."""
    values = found.measured.minutes.values
    both = (values[flow].seconds > 0) & (values[pressure].seconds > 0)
    at = np.flatnonzero(both)
    at = at[:: max(1, -(-len(at) // _MOST_POINTS))]
    x, y = (found.readings[one].values.means[at] for one in (flow, pressure))
    data = [
        {"type": "scatter", "mode": "markers", "x": _numbers(x), "y": _numbers(y),
         "marker": {"color": BLUE, "size": 3, "opacity": 0.45}, "name": words("a minute")}
    ]  # fmt: skip
    layout = _layout(words, f"{pressure} [{found.readings[pressure].shown.unit or '–'}]")
    layout["xaxis"] |= {"title": {"text": _safe(f"{flow} [{found.readings[flow].shown.unit or '–'}]")}}
    caption = words(
        "Each point is the mean of a minute. Pressure that falls to the right falls with the demand;"
        " points low on the left are pressure lost without demand."
    )
    return Chart("against", words("Pressure against flow"), {"data": data, "layout": layout}, caption)


def histogram(found: Review, name: str, words: Words) -> Chart:
    """How long a reading had which value."""
    curve, line = found.measured.curves[name], found.readings[name].shown
    hours, edges = np.histogram(curve.values * line.factor + line.offset, 40, weights=curve.seconds / 3600)
    middles = (edges[1:] + edges[:-1]) / 2
    data = [{"type": "bar", "x": _numbers(middles), "y": _numbers(hours), "marker": {"color": BLUE}}]
    layout = _layout(words, words("measured time [h]")) | {"bargap": 0.08}
    layout["xaxis"] |= {"title": {"text": _safe(f"{name} [{line.unit or '–'}]")}}
    caption = words("Hours of the measured time in each of 40 classes.")
    return Chart("histogram", words("Histogram"), {"data": data, "layout": layout}, caption)


def week(found: Review, name: str, words: Words) -> Week:
    """Means of the hours of the week with n, the number of hours that were measured."""
    reading = found.readings[name]
    cells = {one.name: one for one in reading.week}
    means = [one.mean for one in reading.week if one.mean is not None]
    low, high = min(means, default=0.0), max(means, default=0.0)

    def cell(weekday: str, hour: int) -> Cell:
        one = cells.get(f"{weekday} {hour:02d}:00")
        if one is None or one.mean is None:
            return Cell("", "", 0)
        shade = round(60 * (one.mean - low) / (high - low)) if high > low else 0
        return Cell(words.number(one.mean, 3), f"n {one.count}", shade)

    rows = [(f"{hour:02d}", [cell(day, hour) for day in WEEKDAYS]) for hour in range(24)]
    caption = words(
        "Mean of {name} [{unit}] by hour and weekday on the site's clock; n is how many such hours were"
        " measured at least in part. Darker is more; empty was not measured.",
        name=plain(name),
        unit=reading.shown.unit or "–",
    )
    return Week(caption, [words(day) for day in WEEKDAYS], rows)


def _line(x: Sequence[Any], y: NDArray[np.float64], name: str, color: str, width: float) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "lines", "x": list(x), "y": _numbers(y), "name": name,
        "connectgaps": False, "line": {"color": color, "width": width},
    }  # fmt: skip


def _layout(words: Words, label: str) -> dict[str, Any]:
    axis = {"gridcolor": "#ddd6c8", "linecolor": INK, "ticks": "outside", "zeroline": False}
    return {
        "separators": ",\u202f" if words.language is Language.GERMAN else ".\u202f",
        "height": 360, "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "Georgia, serif", "size": 13, "color": INK},
        "margin": {"l": 64, "r": 12, "t": 28, "b": 48}, "showlegend": False,
        "xaxis": dict(axis), "yaxis": axis | {"title": {"text": _safe(label)}, "automargin": True},
    }  # fmt: skip


def _shaded(found: Review, offset: int) -> list[dict[str, Any]]:
    gaps = sorted(found.coverage.gaps, key=lambda gap: gap.begin_ms - gap.end_ms)[:_MOST_SHADED]
    shapes = [_box(gap.begin_ms, gap.end_ms, offset, PALE, 0.9) for gap in gaps]
    return shapes + [_box(m.begin_ms, m.end_ms, offset, "#b8cbb3", 0.45) for m in found.book.marks]


def _box(begin: int, end: int, offset: int, color: str, opacity: float) -> dict[str, Any]:
    x0, x1 = _texts(np.array([begin, end], np.int64), offset)
    return {
        "type": "rect", "xref": "x", "yref": "paper", "x0": x0, "x1": x1, "y0": 0, "y1": 1,
        "fillcolor": color, "opacity": opacity, "line": {"width": 0}, "layer": "below",
    }  # fmt: skip


def _told(found: Review, offset: int) -> list[dict[str, Any]]:
    """Notes and marks, above the picture, by number or name; the full text stands in the table."""
    told = [(note.at_ms, str(n)) for n, note in enumerate(found.book.notes, 1)]
    told += [(mark.begin_ms, mark.name) for mark in found.book.marks]
    return [
        {"x": _texts(np.array([at], np.int64), offset)[0], "xref": "x", "y": 1, "yref": "paper",
         "yanchor": "bottom", "text": _safe(text[:24]), "showarrow": False, "font": {"size": 11}}
        for at, text in told
        if found.coverage.begin_ms <= at < found.coverage.end_ms
    ]  # fmt: skip


def _safe(text: str) -> str:
    """The chart script reads tags in its labels: there are none in this."""
    return str(escape(plain(text)))


def _word(name: str) -> str:
    return "".join(one if one.isascii() and one.isalnum() else "-" for one in name)


def _offset(found: Review) -> int:
    """Of the site's clock when the period begins [s]; one for the whole axis, so that no hour comes twice."""
    when = datetime.fromtimestamp(found.coverage.begin_ms / 1000, UTC).astimezone(found.installation.zone)
    return int((when.utcoffset() or timedelta()).total_seconds())


def _signed(offset: int) -> str:
    return f"{'+' if offset >= 0 else '−'}{abs(offset) // 3600:02d}:{abs(offset) // 60 % 60:02d}"


def _days(words: Words) -> str:
    return "%d.%m.\n%H:%M" if words.language is Language.GERMAN else "%m-%d\n%H:%M"


def _texts(moments: NDArray[np.int64], offset: int) -> list[str]:
    texts: list[str] = np.datetime_as_string((moments + offset * 1000).astype("datetime64[ms]")).tolist()
    return texts


def _numbers(values: NDArray[np.float64]) -> list[float | None]:
    """None, which is drawn as a gap, where there is no number."""
    return [None if one != one else float(one) for one in values]
