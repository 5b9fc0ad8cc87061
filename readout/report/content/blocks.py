"""What a section is made of. Texts are plain: the template escapes them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; a `strong` one is an answer, set apart."""

    text: str
    weight: str = "plain"  # plain | strong | small
    kind: str = "text"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads; the first column names the row, the rest is set to the right unless `words`."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    align: str = "numbers"  # numbers | words
    kind: str = "table"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sketch as SVG that this program drew itself."""

    svg: str
    caption: str
    kind: str = "drawing"


@dataclass(frozen=True, slots=True)
class Chart:
    """A figure: `spec` has data and layout as the chart script takes them; `caption` says how to read it."""

    name: str
    title: str
    spec: Mapping[str, Any]
    caption: str
    kind: str = "chart"


@dataclass(frozen=True, slots=True)
class Cell:
    """An hour of the week: mean and number of hours as text, `shade` 0 to 100 %, empty where nothing is."""

    mean: str
    n: str
    shade: int


@dataclass(frozen=True, slots=True)
class Week:
    """Hours (rows, 24) by weekdays (columns, 7)."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[tuple[str, Sequence[Cell]]]
    kind: str = "week"


Item = Text | Table | Drawing | Chart | Week


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it."""

    title: str
    items: Sequence[Item]
