"""`map check`: every fault of register maps, by file, line and column."""

from pathlib import Path
from typing import Annotated

import typer

from readout.cli.faults_told import tell_faults
from readout.cli.files import read_bytes
from readout.cli.options import AsJson
from readout.cli.output import say
from readout.errors import WrongUse


def map_check(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="Register maps (YAML).")],
    *,
    as_json: AsJson = False,
) -> int:
    """Check register maps and tell every fault with its line and column.

    Nothing is sent anywhere. Exit status 2 where a map has a fault; warnings alone leave it 0.
    """
    from protocols.register_map.faults import Fault
    from protocols.register_map.parse import parse_map

    faults: list[Fault] = []
    for file in files:
        try:
            data = read_bytes(file)
        except WrongUse as error:  # one file that is missing does not hide the faults of the others
            faults.append(Fault(str(file), 1, 1, "fault", str(error).removeprefix(f"{file}: ")))
            continue
        parsed = parse_map(data, str(file))
        faults += parsed.faults
        if parsed.map is not None and not as_json:
            found = parsed.map
            say(
                f"{file}: {found.meter}: {len(found.readings)} readings, {len(found.settings)} settings, "
                f"{len(found.identity)} identity entries"
                + ("" if found.log_memory is None else f", log memory of {found.log_memory.capacity} records")
            )
    return tell_faults(faults, as_json=as_json)
