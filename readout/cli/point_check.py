"""`point check`: every fault of point files, their jobs, maps and lists of pipes, by line and column."""

from pathlib import Path
from typing import Annotated

import typer

from readout.cli.faults_told import tell_faults
from readout.cli.options import AsJson
from readout.cli.output import say


def point_check(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="Point files (YAML).")],
    *,
    as_json: AsJson = False,
) -> int:
    """Check measuring points: tell every fault with its line and column, and what is allowed there.

    Their job, register map and list of pipes are checked too. What is allowed but doubtful is a warning: a
    straight run too short, a meter set to another diameter. Sends nothing. Exit status 2 where a file has a
    fault; warnings alone leave it 0.
    """
    from protocols.register_map.faults import Fault
    from readout.measuring_point.figures.place import find_place

    faults: list[Fault] = []
    for file in files:
        found = find_place(file)
        faults += found.faults
        if found.place is not None and not as_json:
            point, bore = found.place.point, found.place.bore
            size = "no pipe given" if bore is None else f"inside diameter {bore.inside_mm:.2f} mm"
            say(f"{file}: {point.name}, {point.site.name}: {size}")
    return tell_faults(faults, as_json=as_json)
