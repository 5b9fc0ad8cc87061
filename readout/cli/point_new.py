"""`point new`: a point file from answers, from options, or from what an archive keeps."""

import sys
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.options import AsJson
from readout.cli.output import say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from readout.measuring_point.amendment.amend import Change
    from readout.measuring_point.figures.place import Found
    from readout.measuring_point.making.asking import Asking


def point_new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The point file to write (YAML).")],
    *,
    changes: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Such as pipe.wall_thickness=3.6mm; repeatable."),
    ] = None,
    archive: Annotated[
        Path | None,
        typer.Option("--from", metavar="ARCHIVE", help="Begin with what an archive keeps of a point."),
    ] = None,
    point: Annotated[
        str | None, typer.Option("--point", metavar="NAME", help="Which point of the archive.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Write a new point file: ask for what --set does not say, or begin with last year's.

    Each answer is checked at once; Enter leaves out what is not known, back returns to the question before.
    Where the answers end too early, nothing is written and they are told as --set options. With --from the
    point, its job and its map are written as the archive keeps them, with the corrections of its ledger. No
    file is ever overwritten. Exit status 1 where what was written has faults: they are told as point check
    tells them.
    """
    from readout.measuring_point.amendment.amend import any_change
    from readout.measuring_point.figures.place import find_place

    if file.exists():
        raise WrongUse(f"{file} is there already; choose another name, or mend that file")
    wanted = [any_change(text) for text in changes or []]
    texts = _asked(file, wanted) if archive is None else _kept(file, archive, point, wanted)
    for path, text in texts.items():
        try:
            path.write_text(text, encoding="utf-8")
        except OSError as error:
            raise WrongUse(f"{path}: cannot be written ({error.strerror}); is the path right?") from error
        say(f"{path}: written")
    found = find_place(file)
    _tell(file, found, as_json=as_json)
    return 1 if any(fault.severity == "fault" for fault in found.faults) else 0


def _asked(file: Path, wanted: "Sequence[Change]") -> "Mapping[Path, str]":
    """The file's text from options and answers."""
    from readout.measuring_point.making.asking import Asking
    from readout.measuring_point.making.questions import key_at, new_point
    from readout.measuring_point.making.yaml_text import yaml_of

    for change in wanted:
        key_at(change.path)
    asking = Asking(wanted)
    if asking.needed or sys.stdin.isatty():
        say("Enter leaves out what is not known; back returns to the question before.")
        say("Quantities need their unit: 60.3 mm, 7 bar(g), 25 degC.")
        while (question := asking.question) is not None:
            wrong = asking.take(question, _answer(question.text, file, asking))
            if wrong:
                say(f"  {wrong}")
    return {file: yaml_of(new_point(asking.answers))}


def _answer(question: str, file: Path, asking: "Asking") -> str:
    """What the person types; WrongUse, with what was answered so far, where nobody is there any more."""
    sys.stderr.write(f"{question}: ")
    sys.stderr.flush()
    line = ""
    try:
        line = sys.stdin.readline()
    except KeyboardInterrupt:
        _tell_so_far(file, asking)
        raise
    if not line:
        _tell_so_far(file, asking)
        needed = " ".join(f"--set {key}=…" for key in asking.needed)
        raise WrongUse(
            "the answers ended before the questions did, so nothing was written"
            + (f"; still needed, in a script: {needed}" if needed else "")
        )
    return line.strip()


def _tell_so_far(file: Path, asking: "Asking") -> None:
    """How to go on with what was answered so far."""
    if asking.answers:
        say("\nTo go on with what was answered so far:")
        say(f"  pipeledger point new {quote(str(file))} {asking.options}")


def _kept(file: Path, archive: Path, point: str | None, wanted: "Sequence[Change]") -> "Mapping[Path, str]":
    """The files that an archive keeps, by where they are written: maps and jobs only where none is there."""
    from readout.measuring_point.making.kept import kept_point, repeated

    kept = kept_point(archive, point)
    again = repeated(kept, wanted)
    texts = {file: again.text}
    for name, text in again.beside.items():
        beside = file.parent / name
        if not beside.exists():
            texts[beside] = text
        elif beside.read_text(encoding="utf-8") != text:
            say(f"{beside}: is there already, and is not what the archive keeps; it is left as it is")
    for change in kept.corrections:
        say(f"{archive}: corrected in its ledger, so taken over: {change.name} = {change.value}")
    return texts


def _tell(file: Path, found: "Found", *, as_json: bool) -> None:
    from readout.measuring_point.installation.cautions import cautions_for

    if as_json:
        name = None if found.place is None else found.place.point.name
        faults = [
            {"file": f.file, "line": f.line, "column": f.column, "severity": f.severity, "fault": f.fault}
            for f in found.faults
        ]
        tell_json({"file": str(file), "point": name, "faults": faults})
    else:
        for fault in found.faults:
            tell(str(fault))
    say("\nBefore anyone goes to the pipe:")
    for caution in cautions_for(None if found.place is None else found.place.fluid):
        say(f"  {caution.when}: {caution.text}")
