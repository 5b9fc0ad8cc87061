"""What a section is made of. Texts are plain: the template escapes them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readout.report.language.words import Words


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
    """A figure: `spec` has data and layout as the chart script takes them; `caption` says how to read it.

    `narrow` in it, where there is one, has what is different of both on a phone.
    """

    name: str
    title: str
    spec: Mapping[str, Any]
    caption: str
    kind: str = "chart"


@dataclass(frozen=True, slots=True)
class Folded:
    """A long table that opens on a click, and is open on paper; `summary` says what it holds."""

    summary: str
    table: Table
    kind: str = "folded"


Item = Text | Table | Folded | Drawing | Chart


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it."""

    title: str
    items: Sequence[Item]


#: Rows of a table that a reader takes in at a glance.
_SHORT = 10


def fold(table: Table, words: Words) -> Table | Folded:
    """The table as it is, folded where it is long."""
    if len(table.rows) <= _SHORT:
        return table
    return Folded(words("{caption}: {n} rows", caption=table.caption, n=len(table.rows)), table)
