"""Delimited text, for spreadsheets of any country and for programs.

Numbers are written as the shortest decimal that gives them back (a 32-bit 0.1 is 0.1). A text that begins
like a formula gets an apostrophe before it; numbers are never touched.
"""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from readout.export.table import Stream, site_times

#: First characters at which spreadsheets take a text for a formula, or cut it.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


class Decimal(StrEnum):
    """What stands before the decimals."""

    POINT = "point"
    COMMA = "comma"


class Mark(StrEnum):
    """Whether a byte order mark begins the file, by which Excel knows UTF-8."""

    BOM = "bom"
    NONE = "none"


class Units(StrEnum):
    """Where units stand: in the heading, in a second row, or nowhere."""

    HEADING = "heading"
    ROW = "row"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Form:
    """How the text is written. `separator` is one character that is not the decimal mark."""

    decimal: Decimal = Decimal.POINT
    separator: str = ","
    mark: Mark = Mark.NONE
    units: Units = Units.HEADING


def write_text(stream: Stream, file: Path, form: Form) -> int:
    """Write all rows; returns how many. Lines end with CR LF (RFC 4180)."""
    zone = stream.about.zone.key
    heads = [("time UTC", ""), (f"time {zone}", ""), ("offset", "")]
    for column in stream.columns[1:]:
        named = column.heading if form.units is Units.HEADING else column.name
        heads.append((named, column.unit or ""))
    written = 0
    with file.open("wb") as out:
        out.write(b"\xef\xbb\xbf" if form.mark is Mark.BOM else b"")
        out.write(_line([head for head, _ in heads], form))
        if form.units is Units.ROW:
            out.write(_line([unit for _, unit in heads], form))
        for table in stream.tables:
            out.write(_lines(table, stream, form))
            written += table.num_rows
    return written


def _line(cells: list[str], form: Form) -> bytes:
    return (form.separator.join(_quoted(cell, form) for cell in cells) + "\r\n").encode()


def _quoted(cell: str, form: Form) -> str:
    if any(mark in cell for mark in (form.separator, '"', "\r", "\n")):
        return '"' + cell.replace('"', '""') + '"'
    return cell


def _lines(table: Any, stream: Stream, form: Form) -> bytes:
    """All rows as text; a missing value is an empty cell."""
    import pyarrow.compute as pc

    cells = list(site_times(table["time"], stream.about.zone.key))
    cells += [_cells(table[column.name], form) for column in stream.columns[1:]]
    filled = [pc.fill_null(one, "") for one in cells]
    joined = pc.binary_join_element_wise(*filled, form.separator)
    return "".join(f"{line}\r\n" for line in joined.to_pylist()).encode()


def _cells(column: Any, form: Form) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc

    kind = column.type
    if pa.types.is_floating(kind):
        column = column.cast(pa.string())
        return pc.replace_substring(column, ".", ",") if form.decimal is Decimal.COMMA else column
    if pa.types.is_string(kind):
        return _safe(column, form)
    if pa.types.is_timestamp(kind):
        return pc.strftime(column, format="%Y-%m-%dT%H:%M:%SZ")
    return column.cast(pa.string())


def _safe(column: Any, form: Form) -> Any:
    """Texts with an apostrophe before what would be a formula, in quotes where one would end too early."""
    import pyarrow.compute as pc

    def any_of(marks: tuple[str, ...], test: Any) -> Any:
        found = test(column, marks[0])
        for mark in marks[1:]:
            found = pc.or_(found, test(column, mark))
        return found

    risky = any_of(_FORMULA, pc.starts_with)
    column = pc.if_else(risky, pc.binary_join_element_wise("'", column, ""), column)
    parted = any_of((form.separator, '"', "\r", "\n"), pc.match_substring)
    inner = pc.replace_substring(column, '"', '""')
    return pc.if_else(parted, pc.binary_join_element_wise('"', inner, '"', ""), column)
