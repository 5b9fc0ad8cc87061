"""`map draft`: a register map from the table of a manual, with a question for every doubt."""

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.files import read_bytes
from readout.cli.options import AsJson
from readout.cli.output import counted, say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterator

    from readout.diagnose.drafting.draft import Draft
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
    answer: Annotated[
        list[str] | None,
        typer.Option(
            metavar="ANSWER", help="Answer a question, as printed below it: 4:type=int16, numbering='from 1'."
        ),
    ] = None,
    answers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Answers from a file, one a line; # begins a remark.")
    ] = None,
    schema: Annotated[
        str, typer.Option(help="Where editors find the JSON Schema; else it is written beside the map.")
    ] = "",
    as_json: AsJson = False,
) -> int:
    """Draft a register map from a table, and list what only the meter or its maker can answer.

    Sends nothing and settles nothing silently. Exit status 1 where rows were left out as comments, 2 where
    no map came of it.
    """
    from protocols.modbus.tables import Table as Kind
    from readout.diagnose.drafting.asking import read_answers
    from readout.diagnose.drafting.draft import READ_IN, draft
    from readout.diagnose.drafting.table import read_table

    if table and table not in {one.value for one in Kind}:
        raise WrongUse(f"--table {table}: write holding, input, coil or discrete")
    try:
        answered = read_answers([*_lines_of(answers), *(answer or [])])
    except ValueError as error:
        raise WrongUse(str(error)) from error
    try:
        rows = read_table(read_bytes(table_file), _named(column or []))
        made = draft(
            rows,
            meter or table_file.stem,
            " ".join(schema.split()) or SCHEMA,
            kind=Kind(table) if table else None,
            answers=answered,
        )
    except ValueError as error:
        raise WrongUse(f"{table_file}: {error}") from error
    if not made.passes:
        reason = "no row became a reading" if not made.entries else "it would not pass `map check`"
        asked = "".join(f"\n  {line}" for line in _told(made, table_file))
        raise WrongUse(f"{table_file}: no map was written, for {reason}{asked}")
    _write(to, made.text)
    if rows.code_page:
        say(f"{table_file}: {READ_IN.format(page=rows.code_page)}")
    if not schema:
        _write_schema(to.parent / SCHEMA)
    if as_json:
        tell_json(_document(to, made))
    else:
        for line in _told(made, table_file):
            tell(line)
        say(
            f"{to}: {counted(made.entries, 'value')}, {made.left_out} left out as comments, "
            f"{counted(len(made.questions), 'question')}"
        )
    return 1 if made.left_out else 0


def _told(made: "Draft", table_file: Path) -> "Iterator[str]":
    """Each question with its number and lines, below it what answers it."""
    for number, one in enumerate(made.questions, 1):
        where = f"{table_file}:{one.line}: " if one.lines else ""
        if len(one.lines) > 1:
            where = f"{table_file}:{', '.join(map(str, one.lines))}: "
        yield f"{number}. {where}{one.question}"
        if one.answers:
            yield f"   answer: {'  or  '.join(map(_quoted, one.answers))}"


def _quoted(answer: str) -> str:
    """An answer as every shell takes it, that of Windows too: in double quotes where it needs any."""
    return answer if re.fullmatch(r"[\w=:.,/-]+", answer) else f'"{answer}"'


def _document(to: Path, made: "Draft") -> dict[str, object]:
    questions = [
        {"number": n, "lines": list(one.lines), "question": one.question, "answers": list(one.answers)}
        for n, one in enumerate(made.questions, 1)
    ]
    return {"map": str(to), "entries": made.entries, "left_out": made.left_out, "questions": questions}


def _write(to: Path, text: str) -> None:
    try:
        with to.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise WrongUse(f"--to {to}: is there already; name another file") from error
    except OSError as error:
        raise WrongUse(f"--to {to}: cannot be written ({error.strerror}); is the path right?") from error


def _write_schema(beside: Path) -> None:
    """The schema that the map's first line names, for editors; one that is there stays."""
    from protocols.register_map.grammar import map_schema

    if beside.exists():
        return
    try:
        with beside.open("x", encoding="utf-8", newline="\n") as file:
            file.write(json.dumps(map_schema(), indent=2) + "\n")
    except OSError as error:
        say(
            f"{beside}: the schema for editors could not be written ({error.strerror}); the map does not "
            "need it"
        )
        return
    say(f"{beside}: the schema by which an editor completes and checks the map, named in its first line")


def _lines_of(answers: Path | None) -> list[str]:
    """The answers of a file, without its remarks."""
    if answers is None:
        return []
    try:
        text = read_bytes(answers).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise WrongUse(f"{answers}: is not UTF-8; save it as text in UTF-8") from error
    lines = (re.sub(r"(?:^|\s)#.*", "", line).strip() for line in text.splitlines())
    return [line for line in lines if line]


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
