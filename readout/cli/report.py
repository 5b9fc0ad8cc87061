"""`report`: the audit page, self-contained, and its PDF and figures."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.files import page_file
from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import say, tell_json
from readout.cli.review import (
    CompressorOutput,
    From,
    NetworkVolume,
    PointName,
    PressureBand,
    RequiredPressure,
    Until,
    leak_inputs,
    review_of,
    streams_wanted,
)
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.report.content.evidence import SealedRows
    from readout.report.language.words import Language


def report(
    folder: ArchiveFolder,
    *,
    to: Annotated[Path, typer.Option("--to", metavar="FILE.html", help="The page to write.")],
    point: PointName = None,
    start: From = None,
    end: Until = None,
    title: Annotated[
        str | None,
        typer.Option("--title", metavar="TEXT", help="The page's title; the site's name if not given."),
    ] = None,
    text: Annotated[
        Path | None,
        typer.Option(
            "--text", metavar="FILE", help="Your own findings, placed first: text with # and - lines."
        ),
    ] = None,
    language: Annotated[str, typer.Option("--lang", metavar="en|de", help="English or German.")] = "en",
    pdf: Annotated[bool, typer.Option("--pdf", help="Also print it to a PDF beside the page.")] = False,
    figures: Annotated[
        Path | None, typer.Option("--figures", metavar="FOLDER", help="Also write each chart as PNG and SVG.")
    ] = None,
    required: RequiredPressure = None,
    band: PressureBand = None,
    volume: NetworkVolume = None,
    output: CompressorOutput = None,
    as_json: AsJson = False,
) -> int:
    """Write the audit page: what was measured, how complete, how sure, and what follows from it.

    One file that opens without a network. --pdf and --figures need a Chromium on this computer. Exit status 1
    where a point has no rows in the span.
    """
    from readout.report.browser import browser, print_pdf, save_figures
    from readout.report.language.words import Words
    from readout.report.page import Extras, page

    inputs = leak_inputs(volume, output)
    words, findings = Words(_language(language)), "" if text is None else _read(text)
    page_file(to, "--to")
    if not to.parent.is_dir():
        raise WrongUse(f"--to {to}: there is no folder {to.parent}; is the path right?")
    found, missing = [], []
    for name, source in streams_wanted(folder, point):
        say(f"{name} ({source}): working out the figures")
        one = review_of(folder, name, source, start, end, required, band)
        if one is None:
            missing.append(f"{name} ({source})")
        else:
            found.append(one)
    for name in missing:
        say(f"{name}: no rows with numbers and a time in this span")
    if not found:
        say(f"no page was written: `pipeledger archive list {folder}` shows what there is")
        return 1
    named = (
        title or f"{words('Measurement report')}: {found[0].installation.site or found[0].installation.point}"
    )
    made = page(found, words, named, findings, extras=Extras(inputs, _files(folder)))
    _write(to, made)
    written = [_said(to)]
    if pdf:
        say(f"printing it on A4 with {browser()}")
        print_pdf(to, to.with_suffix(".pdf"))
        written.append(_said(to.with_suffix(".pdf")))
    if figures is not None:
        say(f"drawing each chart by itself with {browser()}")
        written += [_said(figures / name) for name in save_figures(made, figures)]
    if as_json:
        tell_json({"archive": str(folder), "written": written, "without_rows": missing})
    return 1 if missing else 0


def _said(path: Path) -> str:
    """The path as text, once it is told that the file is there."""
    say(f"{path}: written")
    return str(path)


def _files(folder: Path) -> "dict[tuple[str, str], list[SealedRows]]":
    """The sealed files of each point and source, in the order of their rows."""
    from readout.report.content.evidence import SealedRows
    from storage.archive import ArchiveReader

    found: dict[tuple[str, str], list[SealedRows]] = {}
    for one in sorted(ArchiveReader(folder).inventory().live.values(), key=lambda file: file.first_sequence):
        found.setdefault((one.point, one.source), []).append(SealedRows(one.file, one.rows, one.sha256))
    return found


def _language(word: str) -> "Language":
    from readout.report.language.words import Language

    if word not in list(Language):
        raise WrongUse(f"--lang {word}: write one of {', '.join(Language)}")
    return Language(word)


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise WrongUse(f"--text {path}: cannot be read ({error.strerror}); is the path right?") from error
    except UnicodeDecodeError as error:
        raise WrongUse(f"--text {path}: is no UTF-8 text (byte {error.start}); save it as UTF-8") from error


def _write(path: Path, content: str) -> None:
    """Aside first, then in its place, so that a page that is there is never half overwritten."""
    from storage.durable import Disk

    aside = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        aside.write_text(content, encoding="utf-8")
        Disk(path.parent).place(aside, path, "report")
    except OSError as error:
        raise WrongUse(f"--to {path}: cannot be written ({error.strerror}); is the path right?") from error
    finally:
        aside.unlink(missing_ok=True)
