"""`map draft`: a register map from the table of a manual, with a question for every doubt."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.files import read_bytes
from readout.cli.options import AsJson
from readout.cli.output import say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.diagnose.drafting.table import Column

SCHEMA = "register-map.schema.json"


def map_draft(
    table_file: Annotated[
        Path, typer.Argument(metavar="TABLE", help="The manual's table, as copied (CSV, TSV).")
    ],
    *,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="The map to write; must not exist yet.")],
    meter: Annotated[str, typer.Option(help="The meter's name; else the name of the table's file.")] = "",
    table: Annotated[
        str, typer.Option(help="Table of rows that name none: holding, input, coil or discrete.")
    ] = "",
    column: Annotated[
        list[str] | None,
        typer.Option(metavar="WHAT=HEADING", help="Name a column's heading, as in address='Reg. No.'"),
    ] = None,
    schema: Annotated[str, typer.Option(help="Where editors find the JSON Schema.")] = SCHEMA,
    as_json: AsJson = False,
) -> int:
    """Draft a register map from a table, and list what only the meter or its maker can answer.

    Sends nothing and settles nothing silently. Exit status 1 where rows were left out as comments, 2 where
    no map came of it.
    """
    from protocols.modbus.tables import Table as Kind
    from readout.diagnose.drafting.draft import draft
    from readout.diagnose.drafting.table import read_table

    if table and table not in {one.value for one in Kind}:
        raise WrongUse(f"--table {table}: write holding, input, coil or discrete")
    try:
        rows = read_table(read_bytes(table_file), _named(column or []))
    except ValueError as error:
        raise WrongUse(f"{table_file}: {error}") from error
    made = draft(
        rows, meter or table_file.stem, " ".join(schema.split()), kind=Kind(table) if table else None
    )
    questions = [
        {"number": n, "line": one.line, "question": one.question} for n, one in enumerate(made.questions, 1)
    ]
    if not made.passes:
        reason = "no row became a reading" if not made.entries else "it would not pass `map check`"
        asked = "".join(f"\n  {one['number']}. line {one['line']}: {one['question']}" for one in questions)
        raise WrongUse(f"{table_file}: no map was written, for {reason}{asked}")
    try:
        with to.open("x", encoding="utf-8", newline="\n") as file:
            file.write(made.text)
    except FileExistsError as error:
        raise WrongUse(f"--to {to}: is there already; name another file") from error
    except OSError as error:
        raise WrongUse(f"--to {to}: cannot be written ({error.strerror}); is the path right?") from error
    if as_json:
        tell_json(
            {"map": str(to), "entries": made.entries, "left_out": made.left_out, "questions": questions}
        )
    else:
        for one in questions:
            where = f"{table_file}:{one['line']}: " if one["line"] else ""
            tell(f"{one['number']}. {where}{one['question']}")
        say(f"{to}: {made.entries} entries, {made.left_out} left out as comments, {len(questions)} questions")
    return 1 if made.left_out else 0


def _named(words: list[str]) -> "dict[Column, str]":
    from readout.diagnose.drafting.table import Column

    named = {}
    for word in words:
        what, sign, heading = word.partition("=")
        if not sign or what not in {one.value for one in Column} or not heading.strip():
            kinds = ", ".join(one.value for one in Column)
            raise WrongUse(f"--column {word}: write WHAT=HEADING; WHAT is one of {kinds}")
        named[Column(what)] = heading
    return named
