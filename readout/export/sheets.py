"""Sheets of a workbook: how cells are written, and what summary, days, hours and gaps hold."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from protocols.units import printed
from readout.export.table import Stream
from readout.review.figures.periods import Period
from readout.review.review import ReadingReview, Review, hours_of

if TYPE_CHECKING:
    import xlsxwriter
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

_TIME = "yyyy-mm-dd hh:mm:ss"
_NUMBER = "0.00####"
#: Gaps that are listed; what they add up to is in the summary.
_MOST_GAPS = 100_000


@dataclass
class Sheet:
    """A sheet that is filled from the top; `filled` counts rows, the heading among them."""

    page: "Worksheet"
    time: "Format"
    number: "Format"
    filled: int = 0

    @classmethod
    def made(
        cls, book: "xlsxwriter.Workbook", name: str, heads: Sequence[str], widths: Sequence[int]
    ) -> "Sheet":
        """A sheet with a heading that stays in sight; `heads` may be none."""
        page = book.add_worksheet(name)
        sheet = cls(page, book.add_format({"num_format": _TIME}), book.add_format({"num_format": _NUMBER}))
        for index, width in enumerate(widths):
            page.set_column(index, index, width)
        if heads:
            bold = book.add_format({"bold": True, "bottom": 1})
            for index, head in enumerate(heads):
                page.write_string(0, index, head, bold)
            page.freeze_panes(1, 0)
            sheet.filled = 1
        return sheet

    def add(self, cells: Sequence[Any]) -> None:
        """One row; None is an empty cell. Texts are texts whatever they begin with."""
        row = self.filled
        for index, cell in enumerate(cells):
            if cell is None:
                continue
            if isinstance(cell, datetime):
                self.page.write_datetime(row, index, cell, self.time)
            elif isinstance(cell, bool):
                self.page.write_boolean(row, index, cell)
            elif isinstance(cell, int):
                self.page.write_number(row, index, cell)
            elif isinstance(cell, float):
                self.page.write_number(row, index, cell, self.number)
            else:
                self.page.write_string(row, index, str(cell)[:32_767])
        self.filled += 1


def _local(review: Review, ms: int) -> datetime:
    """A moment as the site's clock shows it, which is all that a spreadsheet can hold."""
    return datetime.fromtimestamp(ms / 1000, UTC).astimezone(review.installation.zone).replace(tzinfo=None)


def summary_rows(review: Review, stream: Stream) -> list[tuple[Any, ...]]:
    """Who, where, when, how complete, and the figures, each a row of cells."""
    about, covered = review.installation, review.coverage
    rows: list[tuple[Any, ...]] = [
        ("point", about.point), ("site", about.site), ("meter", about.meter),
        ("serial number", about.serial_number), ("source", about.source),
        (f"first row, time of {about.zone.key}", _local(review, covered.begin_ms)),
        ("end of the last", _local(review, covered.end_ms)),
        ("rows", stream.rows),
        ("measured [s]", covered.measured_s), ("elapsed [s]", covered.elapsed_s),
        ("measured share", covered.share),
    ]  # fmt: skip
    rows += [(f"missing: {cause} [s]", seconds) for cause, seconds in sorted(covered.missing_s.items())]
    for name, one in review.readings.items():
        rows += _figures(name, one, review)
    if review.corrected is not None:
        rows += _figures(f"{review.corrected.info.name}, corrected", review.corrected, review)
    rows += _out_of_hours(review)
    rows += [("correction", one.what, _local(review, one.from_ms)) for one in review.corrections]
    rows += [("note", note.text, _local(review, note.at_ms)) for note in review.book.notes]
    rows += [
        ("mark", one.name, _local(review, one.begin_ms), _local(review, one.end_ms))
        for one in review.book.marks
    ]
    return [
        *rows,
        ("method", review.method),
        ("ledger", f"line {review.book.tail[0]}, {review.book.tail[1]}"),
    ]


def _out_of_hours(review: Review) -> list[tuple[Any, ...]]:
    """What flows while the site does not produce, and since when it is another."""
    demand, step = review.demand, review.step
    if isinstance(demand, str):
        return [("out-of-hours demand: not told", demand)]
    rows: list[tuple[Any, ...]] = [
        (f"out-of-hours demand [{printed(demand.unit or '-')}]", demand.mean),
        ("out-of-hours demand: counted [s]", demand.counted_s),
    ]
    if not isinstance(step, str):
        unit = printed(step.unit or "-")
        since, until = _local(review, step.since_ms), _local(review, step.until_ms)
        rows += [
            (f"out-of-hours demand: stepped by [{unit}]", step.size, since, until),
            (f"out-of-hours demand: median before [{unit}]", step.before),
            (f"out-of-hours demand: median after [{unit}]", step.after),
        ]
    return rows


def _figures(name: str, one: ReadingReview, review: Review) -> list[tuple[Any, ...]]:
    found, unit = one.statistics, printed(one.shown.unit or "-")
    rows: list[tuple[Any, ...]] = [
        (f"{name}: mean [{unit}]", found.mean),
        (f"{name}: median [{unit}]", found.median),
        (f"{name}: lowest [{unit}]", found.lowest),
        (f"{name}: highest [{unit}]", found.highest),
    ]
    if one.amount is not None:
        rows.append((f"{name}: total of the measured time [{printed(one.amount.unit)}]", one.total))
        rows += [
            (f"{name}: largest {peak.minutes} min mean [{unit}]", peak.value, _local(review, peak.begin_ms))
            for peak in found.peaks
            if peak.begin_ms is not None
        ]
    if one.info.reference:
        rows.append((f"{name}: at", printed(one.info.reference)))
    return rows


def fill_summary(book: "xlsxwriter.Workbook", review: Review, rows: Sequence[tuple[Any, ...]]) -> None:
    """The sheets before the rows: summary, days, hours, charts, gaps."""
    summary = Sheet.made(book, "summary", (), (44, 30, 21, 21))
    for row in rows:
        summary.add(row)
    shown = review.flow or next(iter(review.readings.values()), None)
    if shown is not None:
        unit = printed(shown.shown.unit or "-")
        days = _periods(book, review, "days", shown, shown.days)
        hours = _periods(book, review, "hours", shown, hours_of(review, shown.info.name))
        page = book.add_worksheet("charts")
        for place, (kind, sheet, count) in enumerate((("column", "days", days), ("line", "hours", hours))):
            _chart(book, page, place * 22, kind, sheet, count, f"{shown.info.name} [{unit}]")
    gaps = Sheet.made(book, "gaps", ("begin", "end", "missing [s]", "cause"), (21, 21, 14, 44))
    for gap in review.coverage.gaps[:_MOST_GAPS]:
        gaps.add((_local(review, gap.begin_ms), _local(review, gap.end_ms), gap.missing_s, gap.cause))


def _periods(
    book: "xlsxwriter.Workbook", review: Review, name: str, one: ReadingReview, periods: Sequence[Period]
) -> int:
    """A sheet of days or hours; returns how many. An hour without rows is an empty one: charts break."""
    unit = printed(one.shown.unit or "-")
    heads = [f"begin, {review.installation.zone.key}", "measured [s]", "elapsed [s]", f"mean [{unit}]",
             f"lowest [{unit}]", f"highest [{unit}]"]  # fmt: skip
    heads += [f"total [{printed(one.amount.unit)}]"] if one.amount else []
    sheet = Sheet.made(book, name, heads, [21] + [15] * (len(heads) - 1))
    before: int | None = None
    for period in periods:
        assert period.begin_ms is not None
        if before is not None and name == "hours":
            for missing in range(before + 3_600_000, period.begin_ms, 3_600_000):
                sheet.add((_local(review, missing), 0.0, 3600.0))
        before = period.begin_ms
        cells = [_local(review, period.begin_ms), period.measured_s, period.elapsed_s, period.mean,
                 period.lowest, period.highest]  # fmt: skip
        sheet.add([*cells, period.amount * one.amount.factor] if one.amount else cells)
    return sheet.filled - 1


def _chart(
    book: "xlsxwriter.Workbook", page: "Worksheet", row: int, kind: str, sheet: str, count: int, title: str
) -> None:  # fmt: skip
    chart: Any = book.add_chart({"type": kind})
    for index, name in ((3, "mean"), (5, "highest")):
        chart.add_series(
            {
                "name": name,
                "categories": [sheet, 1, 0, max(count, 1), 0],
                "values": [sheet, 1, index, max(count, 1), index],
            }
        )
    chart.set_title({"name": f"{title}, by {sheet}", "overlay": False})
    chart.set_x_axis({"num_format": "yyyy-mm-dd", "date_axis": kind == "column"})
    chart.show_blanks_as("gap")
    chart.set_size({"width": 900, "height": 400})
    page.insert_chart(row, 0, chart)
