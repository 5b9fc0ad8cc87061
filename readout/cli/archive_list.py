"""`archive list`: the sealed files of an archive, and the rows that wait to be sealed."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import columns, counted, say, tell, tell_json

if TYPE_CHECKING:
    from storage.archive.files import History, SealedFile


def archive_list(
    folder: ArchiveFolder,
    *,
    versions: Annotated[
        bool, typer.Option("--versions", help="Files that were replaced too, and what took their place.")
    ] = False,
    as_json: AsJson = False,
) -> int:
    """List the sealed files with their rows, span and SHA-256.

    Times are UTC. May run beside a recorder.
    """
    from storage.archive import ArchiveReader
    from storage.archive.files import History

    reader = ArchiveReader(folder)
    history = History()
    found = reader.inventory(history if versions else None)
    files = sorted(
        [*found.live.values(), *history.superseded.values()],
        key=lambda f: (f.point, f.source, f.first_sequence, history.came[f.file].n if versions else 0),
    )
    if as_json:
        tell_json([_version(file, history) if versions else file.as_listed() for file in files])
        return 0
    if files:
        head = ("point", "source", "rows", "first", "last", "SHA-256", "file")
        rows = [head + (("came as", "replaced by") if versions else ())]
        for f in files:
            told = (f.point, f.source, str(f.rows), f.first or "-", f.last or "-", f.sha256[:12], f.file)
            rows.append(told + (_came_and_went(f, history) if versions else ()))
        for line in columns(rows, right=frozenset({2})):
            tell(line)
    live = found.live.values()
    say(f"{folder}: {counted(len(live), 'sealed file')}, {counted(sum(file.rows for file in live), 'row')}")
    if versions:
        say(f"{folder}: {counted(len(history.superseded), 'replaced file')}")
    for (point, source), waiting in reader.waiting().items():
        if waiting:
            say(f"{point}: {counted(waiting, f'{source} row')} in the journal, not sealed yet")
    return 0


def _came_and_went(file: "SealedFile", history: "History") -> tuple[str, str]:
    """What it came as, and what replaced it."""
    version = _version(file, history)
    return str(version["came_as"]), ", ".join(version["replaced_by"]) or "-"


def _version(file: "SealedFile", history: "History") -> dict[str, Any]:
    """A file, where it lies, and what became of it."""
    from storage.archive.files import added
    from storage.archive.layout import superseded_name

    came, went = history.came[file.file], history.went.get(file.file)
    by = [] if went is None else [str(entry["file"]) for entry in added(went) if _covers(entry, file)]
    return {
        **file.as_listed(),
        "lies_at": file.file if went is None else superseded_name(file.file),
        "came_as": came.kind,
        "since": came.time,
        "map_sha256": came.map_sha256,
        "replaced_by": by,
        "replaced": None if went is None else went.time,
    }


def _covers(entry: Any, file: "SealedFile") -> bool:
    return bool(
        entry["first_sequence"] <= file.first_sequence and file.last_sequence <= entry["last_sequence"]
    )
