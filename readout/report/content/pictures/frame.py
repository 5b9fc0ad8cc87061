"""What all pictures share: colours, axes, and numbers, moments and labels as the chart script takes them."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

import numpy as np
from markupsafe import escape
from numpy.typing import NDArray

from readout.report.language.words import Language, Words, plain
from readout.review.review import Review

INK, BLUE, RUST, PALE = "#1c2a33", "#1f5673", "#a4451f", "#e9e2d3"
GREEN, DARK_GREEN = "#c9d8c4", "#4d6b45"


def frame(words: Words, label: str) -> dict[str, Any]:
    """A layout in the page's own look; `label` stands beside the upright axis."""
    axis = {"gridcolor": "#ddd6c8", "linecolor": INK, "ticks": "outside", "zeroline": False}
    return {
        "separators": ",\u202f" if words.language is Language.GERMAN else ".\u202f",
        "height": 360, "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "Georgia, serif", "size": 13, "color": INK}, "uirevision": "kept",
        "margin": {"l": 64, "r": 12, "t": 28, "b": 48}, "showlegend": False,
        "xaxis": dict(axis), "yaxis": axis | {"title": {"text": safe(label)}, "automargin": True},
    }  # fmt: skip


def line(x: Sequence[Any], y: NDArray[np.float64], name: str, color: str, width: float) -> dict[str, Any]:
    """A line that nothing is drawn over where there is no number."""
    return {
        "type": "scatter", "mode": "lines", "x": list(x), "y": numbers(y), "name": name,
        "connectgaps": False, "line": {"color": color, "width": width},
    }  # fmt: skip


def called(found: Review, name: str, words: Words, *, raw: bool = False) -> str:
    """`flow`; `flow, corrected` of one that the ledger corrects, or with `raw` `flow, raw`."""
    if found.best(name) is found.readings[name]:
        return words.name(name)
    return f"{words.name(name)}, {words('raw' if raw else 'corrected')}"


def labelled(found: Review, name: str, words: Words, *, raw: bool = False) -> str:
    """`flow, corrected [m³/min]`, beside an axis."""
    return f"{called(found, name, words, raw=raw)} [{words.unit(found.readings[name].shown.unit)}]"


def safe(text: str) -> str:
    """The chart script reads tags in its labels: there are none in this."""
    return str(escape(plain(text)))


def texts(moments: NDArray[np.int64], offset: int, unit: Literal["ms", "m"] = "ms") -> list[str]:
    """As the site's clock shows them, to the millisecond or the minute."""
    shifted = (moments + offset * 1000).astype("datetime64[ms]")
    texts: list[str] = np.datetime_as_string(shifted, unit=unit).tolist()
    return texts


def offset_of(found: Review) -> int:
    """Of the site's clock when the period begins [s]; one for the whole axis, so that no hour comes twice."""
    when = datetime.fromtimestamp(found.coverage.begin_ms / 1000, UTC).astimezone(found.installation.zone)
    return int((when.utcoffset() or timedelta()).total_seconds())


def numbers(values: NDArray[np.float64]) -> list[float | None]:
    """None, which is drawn as a gap, where there is no number; nine digits are all that a row can have."""
    return [None if one != one else float(f"{one:.9g}") for one in values]
