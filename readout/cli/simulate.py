"""`simulate`: simulated meters for any maps, to rehearse on and to test against."""

from pathlib import Path
from typing import Annotated, TypeVar

import typer

from readout.cli.options import milliseconds
from readout.cli.output import counted, say, tell
from readout.errors import WrongUse

T = TypeVar("T")


def simulate(
    map_files: Annotated[
        list[Path],
        typer.Argument(metavar="MAP…", help="Register maps (YAML), one for each meter of the line."),
    ],
    *,
    link: Annotated[
        Path | None, typer.Option(metavar="PATH", help="Make this path lead to the meter's serial port.")
    ] = None,
    tcp: Annotated[
        str | None, typer.Option(metavar="HOST:PORT", help="Serve on TCP (port 0: any free one).")
    ] = None,
    unit_address: Annotated[
        list[int] | None,
        typer.Option(min=1, max=247, help="Unit address, if not the map's own; once for each map, in turn."),
    ] = None,
    baud: Annotated[
        int | None, typer.Option(min=1, help="Answer at the pace of a line at this baud rate; else at once.")
    ] = None,
    values: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE",
            help="Replay values from a CSV table instead of inventing them; once for each map, in turn, - "
            "for one without.",
        ),
    ] = None,
    faults: Annotated[
        str,
        typer.Option(
            metavar="PLAN",
            help="What goes wrong, letter by letter, as in '(....x)*'; a file with such a plan, "
            "random:SEED, or trace:FILE to replay a trace. See docs/fault-plans.md.",
        ),
    ] = "",
    memory: Annotated[
        int | None,
        typer.Option(
            metavar="N", min=0, help="Records already in the meter's log memory; it goes on recording."
        ),
    ] = None,
    memory_every: Annotated[
        str | None,
        typer.Option(metavar="DURATION", help="How often the meter records, as in 5s; else as the map says."),
    ] = None,
    memory_faults: Annotated[
        str,
        typer.Option(
            metavar="PLAN",
            help="What goes wrong in the memory, as in 'window lags 2 at 40; erased at 3000'. "
            "See docs/simulated-meters.md.",
        ),
    ] = "",
) -> int:
    """Serve simulated meters on one line until Ctrl-C.

    The first line on stdout is the port to read it from. The values are invented, within each reading's
    range; nothing here is a measurement.
    """
    import signal
    import threading

    from readout.cli.files import load_map
    from simulators.errors import SimulatorError
    from simulators.log_memory import LogOptions
    from simulators.serve import Offer, Placed, run

    units = _one_each("--unit-address", unit_address, map_files)
    tables = [None if str(file) == "-" else file for file in _one_each("--values", values, map_files)]
    placed = [
        Placed(load_map(file), unit, table)
        for file, unit, table in zip(map_files, units, tables, strict=True)
    ]
    log = None
    if memory is not None or memory_every is not None or memory_faults:
        interval = None if memory_every is None else milliseconds(memory_every, "--memory-every") / 1000
        log = LogOptions.prefilled(memory or 0, interval, faults=memory_faults)
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    signal.signal(signal.SIGINT, lambda *_: stop.set())
    offer = Offer(link=link, tcp=tcp, baud_rate=baud, faults=faults, log=log)
    try:
        stats = run(placed, offer, ready=tell, stop=stop)
    except SimulatorError as error:
        raise WrongUse(str(error)) from error
    say(f"{', '.join(one.register_map.meter for one in placed)}: {stats.replies} requests answered")
    return 0


def _one_each(option: str, given: list[T] | None, maps: list[Path]) -> list[T] | list[None]:
    """What an option says of each map; nothing of any where it was not given."""
    if not given:
        return [None] * len(maps)
    if len(given) != len(maps):
        raise WrongUse(
            f"{option} is given {counted(len(given), 'time')} for {counted(len(maps), 'map')}; give it once "
            "for each, in their order"
        )
    return given
