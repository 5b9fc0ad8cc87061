"""`export`: rows of a point for a spreadsheet or another program."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.options import ArchiveFolder, AsJson, milliseconds
from readout.cli.output import counted, say, tell_json
from readout.cli.progress import steadily
from readout.cli.review import From, Until, span_of, streams_wanted
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import pyarrow as pa

    from readout.export.table import Stream
    from readout.export.text import Form
    from readout.review.review import Review

_KINDS = (".csv", ".xlsx", ".parquet")


def export(
    folder: ArchiveFolder,
    *,
    to: Annotated[
        Path, typer.Option("--to", metavar="FILE", help="What is written: .csv, .xlsx or .parquet.")
    ],
    point: Annotated[
        str | None,
        typer.Option("--point", metavar="NAME", help="Which point; needed where there are several."),
    ] = None,
    source: Annotated[
        str | None, typer.Option("--source", metavar="live|memory", help="Live where there are both.")
    ] = None,
    start: From = None,
    end: Until = None,
    every: Annotated[
        str | None,
        typer.Option("--every", metavar="TIME", help="Means, lowest, highest of 1min, 15min, 1h, 1d …"),
    ] = None,
    decimal: Annotated[str, typer.Option("--decimal", metavar="point|comma", help="In .csv.")] = "point",
    separator: Annotated[
        str | None, typer.Option("--separator", metavar="CHARACTER", help="In .csv; a comma, or ; or tab.")
    ] = None,
    bom: Annotated[
        bool, typer.Option("--bom", help="Begin a .csv with the mark by which Excel knows UTF-8.")
    ] = False,
    units: Annotated[
        str, typer.Option("--units", metavar="heading|row|none", help="Where units stand in a .csv.")
    ] = "heading",
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE if it is there.")] = False,
    as_json: AsJson = False,
) -> int:
    """Write the rows of a point into one file, or with --every their means in the site's time.

    Times are UTC and the site's, with its offset. Rows that are not sealed yet are there too. Exit status 1
    where there are no rows in the span.
    """
    kind = to.suffix.lower()
    if kind not in _KINDS:
        raise WrongUse(f"--to {to}: the name ends in .csv, .xlsx or .parquet")
    form = _form(decimal, separator, "bom" if bom else "none", units)
    _refuse(folder, to, "replace" if overwrite else "keep")
    name, of = _one(folder, point, source)
    since, until = span_of(folder, name, of, start, end)
    minutes = None if every is None else _minutes(every)
    written = _export(folder, name, of, (since, until), minutes, to, form)
    if as_json:
        tell_json({"file": str(to), "point": name, "source": of, "rows": written})
    if not written:
        say(f"{name} ({of}): no rows in this span; {to} is not written")
        return 1
    say(f"{to}: {counted(written, 'row')} of {name} ({of})")
    return 0


def _minutes(every: str) -> int:
    from readout.export.aggregate import minutes_of

    return minutes_of(milliseconds(every, "--every"))


def _form(decimal: str, separator: str | None, mark: str, units: str) -> "Form":
    from readout.export.text import Decimal, Form, Mark, Units

    if decimal not in list(Decimal):
        raise WrongUse(f"--decimal {decimal}: point or comma")
    if units not in list(Units):
        raise WrongUse(f"--units {units}: heading, row or none")
    wanted = {"tab": "\t", None: ";" if decimal == "comma" else ","}.get(separator, separator) or ""
    if len(wanted) != 1 or not wanted.isascii() or wanted.isalnum() or wanted in '."\r\n+-':
        raise WrongUse(f"--separator {separator}: one character, such as , or ; or tab")
    if decimal == "comma" and wanted == ",":
        raise WrongUse("--separator ,: a comma cannot stand between cells and before decimals; write ;")
    return Form(Decimal(decimal), wanted, Mark(mark), Units(units))


def _refuse(folder: Path, to: Path, existing: str) -> None:
    """Nothing is written into an archive, nor over a file unasked."""
    if folder.resolve() in to.resolve().parents:
        raise WrongUse(f"--to {to}: that is inside the archive; write it elsewhere")
    if not to.resolve().parent.is_dir():
        raise WrongUse(f"--to {to}: its folder is not there")
    if to.exists() and existing == "keep":
        raise WrongUse(f"--to {to}: is there already; name another file, or add --overwrite")


def _one(folder: Path, point: str | None, source: str | None) -> tuple[str, str]:
    """The point and source that are meant; live before memory."""
    found = [one for one in streams_wanted(folder, point) if source in (None, one[1])]
    names = sorted({name for name, _ in found})
    if not found:
        raise WrongUse(f"--source {source}: there are no such rows; write live or memory")
    if len(names) > 1:
        raise WrongUse(f"{folder} has several points: add --point with one of {', '.join(names)}")
    return found[0]


def _export(
    folder: Path, name: str, source: str, span: tuple[int | None, int | None], minutes: int | None, to: Path,
    form: "Form",
) -> int:  # fmt: skip
    from readout.export.aggregate import aggregated
    from readout.export.table import Raw, with_rows
    from storage.durable import Disk

    part = to.with_name(f".{to.stem}.part{to.suffix}")  # a file that is there is whole, or the one before

    def write(stream: "Stream") -> int:
        return _write(folder, stream, span, part, form)

    try:
        if minutes is not None:
            with steadily(f"{name} ({source})") as show:
                stream = aggregated(folder, name, source, *span, minutes, show)
            written = 0 if stream is None else write(stream)
        else:
            raw = Raw.WITH if to.suffix.lower() == ".parquet" else Raw.WITHOUT
            written = with_rows(folder, name, source, *span, write, raw=raw)
        if written:
            Disk(to.parent).place(part, to, "export")
        return written
    except OSError as error:
        raise WrongUse(f"--to {to}: cannot be written ({error.strerror or error})") from error
    finally:
        part.unlink(missing_ok=True)


def _write(
    folder: Path, stream: "Stream", span: tuple[int | None, int | None], to: Path, form: "Form"
) -> int:
    kind = to.suffix.lower()
    figures = _figures(folder, stream, span) if kind == ".xlsx" else None
    with steadily(f"writing {to.name.removeprefix('.').replace('.part', '')}") as show:
        told = replace(stream, tables=_telling(stream, show))
        if kind == ".csv":
            from readout.export.text import write_text

            return write_text(told, to, form)
        if kind == ".parquet":
            from readout.export.parquet import write_parquet

            return write_parquet(told, to)
        from readout.export.workbook import write_workbook

        return write_workbook(told, figures, to)


def _figures(folder: Path, stream: "Stream", span: tuple[int | None, int | None]) -> "Review | None":
    """What the sheets before the rows hold; from what was measured already, where that is at hand."""
    from readout.review.about.logbook import log_book
    from readout.review.review import Asked, review, reviewed

    about, asked = stream.about, Asked(*span)
    if stream.measured is not None and stream.measured.minutes.values:
        return reviewed(stream.measured, log_book(folder, about.point), asked)
    with steadily(f"{about.point} ({about.source})") as show:
        return review(folder, about.point, about.source, asked, show)


def _telling(stream: "Stream", show: "Callable[[float, str], None]") -> "Iterator[pa.Table]":
    """The tables, with how many rows have gone by told after each."""
    done = 0
    for table in stream.tables:
        yield table
        done += table.num_rows
        show(min(1.0, done / max(1, stream.rows)), counted(done, "row"))
