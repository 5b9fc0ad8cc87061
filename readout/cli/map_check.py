"""`map check`: every fault of register maps, by file, line and column, and why it matters."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.faults_told import tell_faults, tell_finding
from readout.cli.files import read_bytes
from readout.cli.options import AsJson
from readout.cli.output import say
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterator

    from protocols.register_map.findings import Finding
    from protocols.register_map.model import RegisterMap


def map_check(
    files: Annotated[list[Path] | None, typer.Argument(metavar="FILE…", help="Register maps (YAML).")] = None,
    *,
    why: Annotated[
        bool | None,
        typer.Option(
            "--why/--no-why",
            help="Say why each finding matters, with an example. Default: yes in text, no in JSON.",
        ),
    ] = None,
    explain: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Explain one kind of finding by its name, and check nothing."),
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Check register maps and tell every fault with its line and column.

    Below each kind of finding stands why it matters and what would be right; `--no-why` leaves one line a
    finding, FILE:LINE:COLUMN: TEXT, which editors take up. What a meter was found to refuse is
    remarked. Nothing is sent anywhere. Exit status 2 where a map has a fault; warnings alone leave it 0.
    """
    if explain is not None:
        tell_finding(_finding(explain), as_json=as_json)
        return 0
    if not files:
        raise WrongUse("map check: name a FILE, or several")
    from protocols.register_map.faults import Fault
    from protocols.register_map.parse import parse_map

    faults: list[Fault] = []
    for file in files:
        try:
            data = read_bytes(file)
        except WrongUse as error:  # one file that is missing does not hide the faults of the others
            text = str(error).removeprefix(f"{file}: ")
            faults.append(Fault(str(file), 1, 1, "fault", text, "file not readable"))
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
            for text in _refused(file, found):
                say(text)
    return tell_faults(faults, as_json=as_json, why=not as_json if why is None else why)


def _refused(file: Path, found: "RegisterMap") -> "Iterator[str]":
    """What meters that were read with this map are remembered to refuse: a remark, for a meter may be odd."""
    from readout.poll.remembered import load

    values = {value.name: value for value in found.values()}
    for known in load(file, found.sha256)[0]:
        for refusal in known.refusals.of_values:
            for name in refusal.values:
                if name in values:
                    yield (
                        f"{file}: line {values[name].line}: the meter of {known.point} refuses '{name}' "
                        f"({refusal.answer}), seen on {refusal.learned_on}; are table and address right?"
                    )


def _finding(name: str) -> "Finding":
    """The kind of finding that a person names, with blanks or with hyphens between the words."""
    from difflib import get_close_matches

    from protocols.register_map.findings import FINDINGS

    wanted = " ".join(name.replace("-", " ").split()).casefold()
    by_name = {known.replace("-", " ").casefold(): finding for known, finding in FINDINGS.items()}
    if wanted not in by_name:
        near = get_close_matches(wanted, by_name, n=1)
        hint = f"; did you mean '{by_name[near[0]].name}'" if near else ""
        raise WrongUse(f"--explain {name}: no finding has that name{hint}; all: {', '.join(FINDINGS)}")
    return by_name[wanted]
