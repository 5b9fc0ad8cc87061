"""`demo`: the whole job once, against a simulated meter of the invented Hollow Mere bottling hall."""

import shlex
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.output import say, tell
from readout.errors import FellShort, WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterator

MAP = "insertion-meter.yaml"
POINT = "bottling-hall-header.yaml"
ARCHIVE = "hollow-mere"
REPORT, WORKBOOK = "audit.html", "rows.xlsx"
WEEKS = "fortnight"
LINK = "meter-port"
#: What the filling machines of the fortnight need.
REQUIRED = "6.5 bar(g)"
#: How long the meter is recorded, as the options of `log`.
EVERY, RUN_FOR = "1s", "20s"
#: What the meter remembers of the time before: 25 minutes.
REMEMBERED, REMEMBERED_EVERY = "300", "5s"


def demo(
    folder: Annotated[
        Path | None, typer.Argument(metavar="[FOLDER]", help="A new folder for it; else a temporary one.")
    ] = None,
    *,
    fortnight: Annotated[
        bool,
        typer.Option(
            "--fortnight",
            help="Only the end: two weeks recorded in a moment, their report beside what is true.",
        ),
    ] = False,
) -> int:
    """Check a map, read a meter, record it for 20 s, fetch what it remembers, report, export, verify.

    At the end two weeks, recorded in simulated time, whose report stands beside what is true. Everything is
    invented, and every step is the command you would type yourself.
    """
    import tempfile

    if folder is None:
        folder = Path(tempfile.mkdtemp(prefix="pipeledger-demo-"))
    elif folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WrongUse(f"{folder} is there already and is no empty folder; name a new one for the demo.")
    _lay_out(folder)
    if fortnight:
        return _fortnight(folder)
    say("A simulated insertion meter in the compressed-air header of the invented Hollow Mere bottling hall.")
    say(f"Folder: {folder}\n")
    with _meter(folder):
        _run(folder, "map", "check", MAP)
        _run(folder, "read", POINT)
        _run(folder, "log", POINT, "--archive", ARCHIVE, "--every", EVERY, "--for", RUN_FOR)
        _run(folder, "memory", "list", POINT)
        _run(folder, "memory", "fetch", POINT, "--archive", ARCHIVE, "--json")
    _run(folder, "report", ARCHIVE, "--to", REPORT)
    _run(folder, "export", ARCHIVE, "--point", POINT.removesuffix(".yaml"), "--to", WORKBOOK)
    _run(folder, "archive", "list", ARCHIVE)
    _run(folder, "archive", "verify", ARCHIVE)
    _last_readings(folder / ARCHIVE)
    say(f"\nThe report of it is {folder / REPORT}, the rows for a spreadsheet {folder / WORKBOOK}.")
    say(f"The archive is in {folder / ARCHIVE}: open rows/ with pandas, DuckDB, Polars or anything that")
    say("reads Parquet. Next, your own meter: docs/new-meter.md for its map, docs/points.md for its point.\n")
    _lay_out(folder / WEEKS)
    return _fortnight(folder / WEEKS)


def _lay_out(folder: Path) -> None:
    """The demo's files, in a folder made for them."""
    import shutil

    try:
        shutil.copytree(_files(), folder, dirs_exist_ok=True)
    except OSError as error:
        raise WrongUse(f"{folder} cannot be made ({error.strerror}); name another folder.") from error


def _fortnight(folder: Path) -> int:
    """Two weeks at once, their review, report and workbook, and what the simulator knows of them."""
    from readout.cli.demo_fortnight import known, write_fortnight

    say("Two weeks of the invented Hollow Mere bottling hall, recorded in simulated time, a row every 5 s.")
    say(f"Folder: {folder}\n")
    write_fortnight(folder / POINT, folder / ARCHIVE)
    _run(folder, "review", ARCHIVE)
    _run(folder, "report", ARCHIVE, "--to", REPORT, "--required-pressure", REQUIRED)
    _run(folder, "export", ARCHIVE, "--to", WORKBOOK, "--every", "15min")
    _run(folder, "archive", "verify", ARCHIVE)
    tell("What the simulator knows, from its own integrals:")
    for line in known():
        tell(f"  {line}")
    say(f"\nThe report of it is {folder / REPORT}, the means for a spreadsheet {folder / WORKBOOK}.")
    return 0


def _files() -> Path:
    """The demo's files: beside the packages in a source tree, inside one of them in a wheel."""
    here = Path(__file__).resolve().parent
    for place in (here / "demo_data", here.parent.parent / "demo_data"):
        if (place / "bottling_hall" / MAP).is_file():
            return place / "bottling_hall"
    raise FellShort("the demo's files are not part of this installation; install pipeledger again")


def _command(*words: str) -> list[str]:
    return [sys.executable, "-m", "readout.cli.main", *words]


def _run(folder: Path, *words: str) -> None:
    """One step, as typed by a person in that folder."""
    import subprocess

    tell(f"$ pipeledger {shlex.join(words)}")
    done = subprocess.run(_command(*words), cwd=folder, stderr=subprocess.STDOUT, check=False)
    if done.returncode:
        raise FellShort(f"the step above ended with status {done.returncode}; the demo ends here")
    tell()


@contextmanager
def _meter(folder: Path) -> "Iterator[None]":
    """The simulated meter in a process of its own, on a serial line at 19200 baud (TCP on Windows)."""
    import subprocess

    on_windows = sys.platform == "win32"
    where = ["--tcp", "localhost:0"] if on_windows else ["--link", LINK]
    options = [*where, "--baud", "19200", "--memory", REMEMBERED, "--memory-every", REMEMBERED_EVERY]
    command = _command("simulate", MAP, *options)
    tell(f"$ pipeledger simulate {MAP} {' '.join(options)} &")
    process = subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        assert process.stdout is not None
        port = process.stdout.readline().strip()
        if not port:
            raise FellShort("the simulated meter did not start")
        if on_windows:
            point = folder / POINT
            text = point.read_text(encoding="utf-8")
            point.write_text(text.replace(f"./{LINK}", port), encoding="utf-8")
        tell(f"{port}\n")
        yield
    finally:
        process.terminate()
        process.wait(10)


def _last_readings(archive: Path) -> None:
    """The last live row that was sealed, with the units its file tells."""
    import pyarrow.parquet as pq

    from readout.cli.readings_text import stored_text
    from storage.archive import ArchiveReader

    files = [file for file in ArchiveReader(archive).files() if file.source == "live"]
    if not files:
        raise FellShort("nothing was sealed")
    table = pq.read_table(archive / files[-1].file, partitioning=None)
    say(f"The last row, from {files[-1].file}:")
    for line in stored_text(table.slice(table.num_rows - 1)):
        tell(line)
