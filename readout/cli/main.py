"""Joins the commands to one program and turns errors into a sentence and an exit status.

Command files import nothing heavy at their top, so that `--help` and completion stay quick; what a
command needs it imports when it runs.
"""

import os
import sys
from collections.abc import Callable
from functools import wraps

import typer

from readout.cli import (
    archive_describe,
    archive_list,
    archive_redecode,
    archive_seal,
    archive_verify,
    demo,
    line_listen,
    line_test,
    log,
    map_check,
    map_draft,
    map_pick,
    map_show,
    map_try,
    mark,
    memory_erase,
    memory_fetch,
    memory_list,
    memory_plan,
    memory_start,
    memory_stop,
    memory_try,
    meter_set,
    meter_show,
    note,
    point_amend,
    point_check,
    point_new,
    point_show,
    service,
    simulate,
    status,
    visit_end,
    visit_start,
)
from readout.cli import export as export_command
from readout.cli import find as find_command
from readout.cli import ports as ports_command
from readout.cli import read as read_command
from readout.cli import report as report_command
from readout.cli import review as review_command
from readout.cli.output import say
from readout.errors import ArchiveError, FellShort, PipeledgerError
from storage.errors import SealingRefused, StorageError

app = typer.Typer(
    name="pipeledger",
    help="Read flow meters over Modbus RTU and keep every raw register in an archive that can be proven.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
map_app = typer.Typer(help="Register maps: what a meter offers and where it lies.", no_args_is_help=True)
line_app = typer.Typer(help="A line and who is on it: test it, listen to it.", no_args_is_help=True)
memory_app = typer.Typer(
    help="The meter's own memory: what it holds, and how it comes into the archive.", no_args_is_help=True
)
meter_app = typer.Typer(help="A meter: who it is, and how it is set.", no_args_is_help=True)
point_app = typer.Typer(
    help="A measuring point: pipe, insertion depth, straight runs, uncertainty.", no_args_is_help=True
)
visit_app = typer.Typer(
    help="The guided run at the pipe, before and after a measurement.", no_args_is_help=True
)
archive_app = typer.Typer(help="The archive: what is kept, and proof of it.", no_args_is_help=True)


def add(to: typer.Typer, name: str, function: Callable[..., int], example: str) -> None:
    """Make `function` the command `name`: its return value is the exit status, `example` ends its help."""

    @wraps(function)
    def command(*args: object, **options: object) -> None:
        try:
            status = function(*args, **options)
        except BrokenPipeError:  # the reader of our output has gone, as with `| head`
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            status = 0
        raise typer.Exit(status)

    to.command(name, epilog=f"Example: pipeledger {example}")(command)


add(app, "ports", ports_command.ports, "ports")
add(app, "read", read_command.read, "read bottling-hall-header.yaml --watch")
add(app, "log", log.log, "log bottling-hall-header.yaml --archive hollow-mere --every 1s --for 1h")
add(app, "service", service.service, "service header.yaml --archive /srv/hollow-mere")
add(app, "status", status.status, "status hollow-mere")
add(app, "simulate", simulate.simulate, "simulate insertion-meter.yaml --link ./meter-port --baud 9600")
add(app, "demo", demo.demo, "demo hollow-mere-demo")
add(app, "find", find_command.find, "find /dev/ttyUSB0 --units 1-32")
add(
    app,
    "note",
    note.note,
    "note bottling-hall-header.yaml 'probe cleaned' --archive hollow-mere --attach photo.jpg",
)
add(
    app,
    "mark",
    mark.mark,
    "mark header.yaml 'leak test' --from 2026-05-03T14:00 --until 2026-05-03T14:30 --archive hollow-mere",
)
add(app, "export", export_command.export, "export hollow-mere --to rows.xlsx --every 1min")
add(app, "review", review_command.review, "review hollow-mere --point header --json")
add(app, "report", report_command.report, "report hollow-mere --to audit.html")
add(line_app, "test", line_test.line_test, "line test bottling-hall-header.yaml")
add(line_app, "listen", line_listen.line_listen, "line listen /dev/ttyUSB0 --for 1min")
add(map_app, "check", map_check.map_check, "map check insertion-meter.yaml")
add(map_app, "draft", map_draft.map_draft, "map draft registers.csv --to map.yaml")
add(map_app, "pick", map_pick.map_pick, "map pick /dev/ttyUSB0 --maps maps")
add(map_app, "show", map_show.map_show, "map show insertion-meter.yaml")
add(map_app, "try", map_try.map_try, "map try insertion-meter.yaml /dev/ttyUSB0")
add(memory_app, "plan", memory_plan.memory_plan, "memory plan insertion-meter.yaml --every 5s --for 9d")
add(memory_app, "start", memory_start.memory_start, "memory start header.yaml --archive hollow-mere")
add(memory_app, "stop", memory_stop.memory_stop, "memory stop header.yaml --archive hollow-mere")
add(memory_app, "erase", memory_erase.memory_erase, "memory erase header.yaml --archive hollow-mere")
add(memory_app, "try", memory_try.memory_try, "memory try insertion-meter.yaml /dev/ttyUSB0")
add(meter_app, "show", meter_show.meter_show, "meter show bottling-hall-header.yaml")
add(meter_app, "set", meter_set.meter_set, "meter set header.yaml damping 2s --archive hollow-mere")
add(
    point_app,
    "new",
    point_new.point_new,
    "point new header.yaml --set meter.map=insertion-meter.yaml --set line.port=/dev/ttyUSB0",
)
add(point_app, "check", point_check.point_check, "point check bottling-hall-header.yaml")
add(point_app, "show", point_show.point_show, "point show bottling-hall-header.yaml")
add(
    point_app,
    "amend",
    point_amend.point_amend,
    "point amend header.yaml --from 2026-05-03 --set pipe.inside_diameter=54.5mm --archive hollow-mere",
)
add(visit_app, "start", visit_start.visit_start, "visit start header.yaml --archive hollow-mere")
add(visit_app, "end", visit_end.visit_end, "visit end header.yaml --archive hollow-mere")
add(archive_app, "list", archive_list.archive_list, "archive list hollow-mere")
add(archive_app, "seal", archive_seal.archive_seal, "archive seal hollow-mere")
add(archive_app, "verify", archive_verify.archive_verify, "archive verify hollow-mere --quick")
add(
    archive_app,
    "redecode",
    archive_redecode.archive_redecode,
    "archive redecode hollow-mere --map corrected.yaml",
)
add(
    archive_app,
    "describe",
    archive_describe.archive_describe,
    "archive describe rows/point=header/source=live/date=2026-05-03/0000000001-0000003600.parquet",
)
add(memory_app, "list", memory_list.memory_list, "memory list header.yaml")
add(
    memory_app,
    "fetch",
    memory_fetch.memory_fetch,
    "memory fetch header.yaml --archive hollow-mere",
)
app.add_typer(line_app, name="line")
app.add_typer(map_app, name="map")
app.add_typer(memory_app, name="memory")
app.add_typer(meter_app, name="meter")
app.add_typer(point_app, name="point")
app.add_typer(visit_app, name="visit")
app.add_typer(archive_app, name="archive")


def main() -> None:
    """Run the command line of this process and end it with the contracted status."""
    try:
        app(prog_name="pipeledger")
    except PipeledgerError as error:
        _end(str(error), error.status)
    except SealingRefused as error:
        _end(str(error), FellShort.status)
    except StorageError as error:
        _end(str(error), ArchiveError.status)
    except OSError as error:  # a disk or a file system that fails in a way no room foresaw
        _end(f"the system refuses: {error}. See the disk and the path.", ArchiveError.status)


def _end(sentence: str, status: int) -> None:
    say(f"pipeledger: {sentence}")
    sys.exit(status)


if __name__ == "__main__":
    main()
