"""A workbook: summary, days, hours with charts, gaps, and the rows on as many sheets as they need.

A spreadsheet knows no time zones: times are the site's, with their offset beside them and UTC in a column of
its own. Numbers are numbers, texts never formulas, and whole numbers beyond 15 digits are texts, because a
spreadsheet would round them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from protocols.units import printed
from readout.export.sheets import Sheet, fill_summary, summary_rows
from readout.export.table import Column, Stream
from readout.review.review import Review

if TYPE_CHECKING:
    import xlsxwriter

#: Rows of a sheet (ECMA-376: 1,048,576), the heading among them.
SHEET_ROWS = 1_048_576
_EXACT = 10**15


def write_workbook(stream: Stream, review: Review | None, file: Path, *, sheet_rows: int = SHEET_ROWS) -> int:
    """Write all rows; returns how many. More rows than a sheet holds go by month of the site's calendar.

    A month that is too long for a sheet goes on on the next. Raises OSError.
    """
    import xlsxwriter
    from xlsxwriter.exceptions import FileCreateError

    options = {
        "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False, "nan_inf_to_errors": False, "in_memory": False,
    }  # fmt: skip
    try:
        with xlsxwriter.Workbook(str(file), options) as book:
            if review is not None:
                fill_summary(book, review, summary_rows(review, stream))
            return _Rows(book, stream, sheet_rows).write()
    except FileCreateError as error:
        raise OSError(f"{file} cannot be written: {error}") from error


class _Rows:
    """Writes the rows, a sheet after the other."""

    def __init__(self, book: "xlsxwriter.Workbook", stream: Stream, most: int) -> None:
        self._book, self._stream, self._most = book, stream, most
        self._by_month = stream.rows >= most
        self._parts: dict[str, int] = {}
        self._sheet: Sheet | None = None
        self._month = ""

    def write(self) -> int:
        """Every row of the stream; returns how many."""
        written = 0
        for table in self._stream.tables:
            for moment, cells in self._cells(table):
                self._place(moment).add(cells)
                written += 1
        if self._sheet is None:
            self._open("rows")
        return written

    def _place(self, moment: datetime | None) -> Sheet:
        """The sheet that takes the next row."""
        month = "rows" if not self._by_month else "no time" if moment is None else f"{moment:%Y-%m}"
        if self._sheet is None or month != self._month or self._sheet.filled >= self._most:
            self._month = month
            return self._open(month)
        return self._sheet

    def _open(self, name: str) -> Sheet:
        """Another sheet with its heading; a month that comes again gets a number."""
        count = self._parts[name] = self._parts.get(name, 0) + 1
        zone = self._stream.about.zone.key
        heads = [f"time {zone}", "offset", "time UTC"]
        heads += [_heading(column) for column in self._stream.columns[1:]]
        widths = [21, 8, 21] + [max(10, len(head) + 1) for head in heads[3:]]
        self._sheet = Sheet.made(self._book, name if count == 1 else f"{name} ({count})", heads, widths)
        return self._sheet

    def _cells(self, table: Any) -> Iterator[tuple[datetime | None, list[Any]]]:
        zone = self._stream.about.zone
        columns = [_values(table[column.name]) for column in self._stream.columns[1:]]
        for moment, *rest in zip(table["time"].to_pylist(), *columns, strict=True):
            if moment is None:
                yield None, [None, None, None, *rest]
                continue
            local = moment.astimezone(zone)
            offset = local.strftime("%z")
            utc = moment.astimezone(UTC).replace(tzinfo=None)
            yield local, [local.replace(tzinfo=None), f"{offset[:3]}:{offset[3:]}", utc, *rest]


def _heading(column: Column) -> str:
    """The name as it is, and its unit as people write it."""
    return replace(column, unit=column.unit and printed(column.unit)).heading


def _values(column: Any) -> Sequence[Any]:
    """Cells of a column: 32-bit numbers by their shortest decimal, very long whole numbers as texts."""
    import pyarrow as pa

    if column.type == pa.float32():
        shortest = np.asarray(column.cast(pa.string()).fill_null("nan").to_pylist(), dtype=np.float64)
        return [None if np.isnan(one) else float(one) for one in shortest]
    found = column.to_pylist()
    if pa.types.is_timestamp(column.type):
        return [None if one is None else one.replace(tzinfo=None) for one in found]
    if pa.types.is_integer(column.type) and column.type.bit_width == 64:
        return [str(one) if one is not None and abs(one) >= _EXACT else one for one in found]
    return list(found)
