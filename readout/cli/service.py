"""`service`: a systemd unit that records, and a udev rule; printed, installed only when asked.

On macOS a launch daemon, on Windows a task; printed.
"""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.options import AsJson, PointFiles, milliseconds
from readout.cli.output import say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.daemon.service.service_unit import Service

#: The system that the service is for.
SYSTEM = sys.platform
#: Options of `log` that show rows elsewhere.
_OUTLETS = ("page", "page_token", "mqtt", "mqtt_login")


def service(
    points: PointFiles,
    *,
    archive: Annotated[Path, typer.Option(metavar="DIR", help="The archive's folder.")],
    user: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who the recorder runs as; you, if not given.")
    ] = None,
    group: Annotated[
        str, typer.Option(metavar="NAME", help="The group that may use serial ports.")
    ] = "dialout",
    adapter: Annotated[
        str | None, typer.Option(metavar="PORT", help="Give this USB adapter a name that stays.")
    ] = None,
    name: Annotated[str, typer.Option(metavar="NAME", help="The name: /dev/pipeledger-NAME.")] = "line",
    also: Annotated[
        str | None,
        typer.Option("--with", metavar="OPTIONS", help="Further options of log, in quotation marks."),
    ] = None,
    install: Annotated[
        bool, typer.Option("--install", help="Write the files to /etc instead of printing them (as root).")
    ] = False,
    as_json: AsJson = False,
) -> int:
    """Print a systemd unit that records these points for good, and with --adapter a udev rule.

    Nothing is started or changed; with --install the files are written, and what to do next is said.
    On macOS it is a launch daemon, on Windows a task for the Task Scheduler.
    """
    import getpass

    from readout.daemon.points import load_points
    from readout.daemon.service.obstacles import obstacles
    from readout.daemon.service.service_unit import Service, udev_rule, unit, usb_adapter
    from readout.daemon.service.service_unit import install as write

    loaded = load_points(points, None)
    options, outward = _options(also, points, archive)
    made_of = [point.absolute() for point in points]
    made = Service(
        program=Path(sys.executable).with_name("pipeledger.exe" if SYSTEM == "win32" else "pipeledger"),
        points=tuple(made_of),
        archive=archive.absolute(),
        user=user or os.environ.get("SUDO_USER") or getpass.getuser(),
        group=group,
        network=outward or any("://" in point.port for point in loaded),
        options=options,
        ports=tuple(point.port for point in loaded),
    )
    if SYSTEM in ("darwin", "win32"):
        if install or adapter is not None:
            raise WrongUse("--install and --adapter are for Linux: save what is printed, and go on as told")
        return _elsewhere(made, as_json=as_json)
    texts = [(Path("/etc/systemd/system") / made.unit_name, unit(made))]
    if adapter is not None:
        rule = udev_rule(usb_adapter(adapter), name, group)
        texts.append((Path(f"/etc/udev/rules.d/61-pipeledger-{name}.rules"), rule))
    if install:
        write(texts)
    if as_json:
        tell_json({"installed": install, "files": [{"file": str(p), "text": text} for p, text in texts]})
    else:
        for path, text in texts:
            tell(str(path) if install else f"# {path}\n{text}")
    maps = [point.map_file.absolute() for point in loaded]
    for obstacle in obstacles(made, [Path(made.program), Path(sys.executable), *made_of, *maps]):
        say(f"it would not start so: {obstacle}")
    rules = "" if adapter is None else " udevadm control --reload; udevadm trigger;"
    say(f"next: install -d -o {made.user} {made.archive};{rules}")
    say(f"      systemctl daemon-reload; systemctl enable --now {made.unit_name};")
    say("      systemctl mask sleep.target suspend.target (a computer that sleeps records nothing)")
    return 0


def _options(also: str | None, points: list[Path], archive: Path) -> tuple[tuple[str, ...], bool]:
    """The words of --with, and whether any needs the network: a service that cannot start is found now.

    What `log` does not know is told as for itself.

    Raises:
        WrongUse: they are not for a service, or a path is not a whole one.
    """
    import shlex

    from readout.cli.log import sealing_interval
    from readout.cli.log_outlet import Outlets, outlet
    from readout.cli.main import app
    from readout.clock import SystemClock
    from readout.daemon.line_load import overloaded
    from readout.daemon.points import load_points
    from readout.daemon.service.on_change import cannot_run

    try:
        words = shlex.split(also or "")
    except ValueError as error:
        raise WrongUse(f"--with {also}: {error}") from error
    log = typer.main.get_command(app).commands["log"]  # type: ignore[attr-defined]
    ours = [*map(str, points), "--archive", str(archive)]
    given = log.make_context("log", [*ours, *words]).params
    for name in ("run_for", "trace", "as_json"):
        if given[name]:
            raise WrongUse(f"--with {also}: --for, --trace and --json are not for a service")
    if [*given["points"], "--archive", given["archive"]] != ours:
        raise WrongUse(f"--with {also}: points and archive are given to `service` itself")
    command = shlex.split(given["on_change"] or "")[:1]
    for path in (given["page_token"], given["mqtt_login"], *command):
        if path is not None and not Path(path).is_absolute():
            raise WrongUse(f"--with: {path} has to be a whole path: a service has no folder to begin from")
    if command and (reason := cannot_run(command[0])) is not None:
        say(f"--on-change {command[0]}: it cannot be run on this computer so far ({reason})")
    milliseconds(given["outside_for"], "--outside-for")
    sealing_interval(given["seal_every"])
    outlet(archive, SystemClock(), Outlets(*(given[name] for name in _OUTLETS)))
    every_ms = milliseconds(given["every"], "--every") if given["every"] else None
    for sentence in overloaded(load_points(points, every_ms)):
        say(sentence)
    return tuple(words), any(given[name] is not None for name in ("page", "mqtt", "on_change"))


def _elsewhere(made: "Service", *, as_json: bool) -> int:
    """The service of macOS or Windows, to be saved by the user."""
    from readout.daemon.service.other_systems import KINDS

    kind = KINDS[SYSTEM]
    file = kind.file.format(name=made.name)
    if as_json:
        tell_json({"installed": False, "files": [{"file": file, "text": kind.text(made)}]})
    else:
        tell(kind.text(made).rstrip("\n"))
    say(f"save this as {file}")
    for line in kind.next:
        say(line.format(name=made.name, file=file))
    return 0
