"""`archive redecode`: new values from the same raw registers, by a corrected map."""

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.files import load_map
from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import columns, counted, say, tell, tell_json
from readout.errors import ArchiveError, WrongUse

if TYPE_CHECKING:
    from protocols.register_map.model import RegisterMap
    from storage.archive import Archive, SealedFile

_LIVE = "live"
#: Rows shown of each point before anything is written.
_SAMPLE_ROWS = 3


@dataclass(frozen=True, slots=True)
class _Preview:
    """What would become of one point. `sample`: one entry a row and reading; `types`: name → (old, new)."""

    point: str
    files: int
    rows: int
    sample: list[dict[str, Any]]
    types: dict[str, tuple[str | None, str | None]]
    not_read: list[str]


def archive_redecode(
    folder: ArchiveFolder,
    *,
    map_file: Annotated[Path, typer.Option("--map", metavar="FILE", help="The corrected register map.")],
    point: Annotated[str | None, typer.Option("--point", metavar="NAME", help="Only this point.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
    as_json: AsJson = False,
) -> int:
    """Decode the kept raw registers again with a corrected map.

    Shows old and new values of a few rows and asks before it writes. Raw registers, times and status stay
    as they are; the old files move to superseded/ and the ledger says what was done. Without --point it
    takes every point whose rows came from a map of the same meter. Refused while a recorder runs.
    """
    from storage.archive import ArchiveReader

    new = load_map(map_file)
    found = _points(ArchiveReader(folder).files(), folder, new, point)
    previews = [_preview(folder, files, new) for files in found.values() if files]
    if previews and not as_json:
        _show(previews)
    if previews and not yes and (as_json or not _agreed(sum(preview.files for preview in previews))):
        say("nothing was written; --yes writes")
        if as_json:
            tell_json({"written": False, "points": [_as_json(preview) for preview in previews]})
        return 1
    written = _written(folder, list(found), new)
    if as_json:
        told = {preview.point: _as_json(preview) for preview in previews}
        points = [
            {"point": name, "replaced": [file.as_listed() for file in old],
             "files": [file.as_listed() for file in made], **told.get(name, {})}
            for name, old, made in written
        ]  # fmt: skip
        tell_json({"written": True, "points": points})
    for name, old, made in written:
        rows = sum(file.rows for file in made)
        say(
            f"{name}: {counted(len(old), 'file')}, {counted(rows, 'row')} decoded again"
            if made
            else f"{name}: every file has this map's values already"
        )
    return 0


def _points(
    files: "Iterable[SealedFile]", folder: Path, new: "RegisterMap", only: str | None
) -> "dict[str, list[SealedFile]]":
    """The points meant, and of each the files that have values of another map."""
    from readout.sealing.redecode import map_of_file, to_decode

    live: dict[str, list[SealedFile]] = {}
    for file in files:
        if file.source == _LIVE:
            live.setdefault(file.point, []).append(file)
    if only is not None:
        if only not in live:
            known = ", ".join(sorted(live)) or "none"
            raise WrongUse(f"{folder} has no sealed live rows of a point {only}; it has: {known}")
        wanted = [only]
    else:
        wanted = [name for name in live if map_of_file(folder / live[name][-1].file).meter == new.meter]
        if not wanted:
            meters = ", ".join(
                f"{name} ({map_of_file(folder / mine[-1].file).meter})" for name, mine in sorted(live.items())
            )
            raise WrongUse(
                f"no point of {folder} has a meter called {new.meter!r}; say which with --point."
                f" There are: {meters or 'none'}"
            )
    return {name: to_decode(folder, live[name], new.sha256) for name in wanted}


def _preview(folder: Path, files: "list[SealedFile]", new: "RegisterMap") -> _Preview:
    """Decode the last file that is concerned, and compare a few of its rows."""
    import pyarrow.parquet as pq

    from readout.sealing.redecode import not_read, redecoded, stays
    from storage.archive import column_types

    file = files[-1]
    with pq.ParquetFile(folder / file.file) as opened:
        table = opened.read()
    made, _ = redecoded(table, new, "")
    before, after = column_types(table.schema), column_types(made.schema)
    types = {
        name: (before.get(name), after.get(name))
        for name in (*before, *(name for name in after if name not in before))
        if before.get(name) != after.get(name) and not stays(name)
    }
    answered = [row for row in range(table.num_rows) if table["time"][row].is_valid] or [0]
    picked = sorted(
        {answered[round(i * (len(answered) - 1) / (_SAMPLE_ROWS - 1))] for i in range(_SAMPLE_ROWS)}
    )
    old_rows, new_rows = table.take(picked).to_pylist(), made.take(picked).to_pylist()
    names = [n for n in {**before, **after} if not stays(n) and not n.endswith(("_flag", "_unit"))]
    sample = [
        {"due": _plain(was["due"]), "reading": name, "old": _plain(was.get(name)),
         "new": _plain(now.get(name)),
         "old_flag": was.get(f"{name}_flag"), "new_flag": now.get(f"{name}_flag")}
        for was, now in zip(old_rows, new_rows, strict=True)
        for name in names
    ]  # fmt: skip
    return _Preview(file.point, len(files), sum(f.rows for f in files), sample, types, not_read(table, new))


def _show(previews: "list[_Preview]") -> None:
    for preview in previews:
        tell(f"{preview.point}: {counted(preview.files, 'file')}, {counted(preview.rows, 'row')}")
        rows = [("due", "reading", "old", "", "new")]
        rows += [
            (one["due"] or "time not known", one["reading"], _cell(one["old"], one["old_flag"]), "→",
             _cell(one["new"], one["new_flag"]))
            for one in preview.sample
        ]  # fmt: skip
        for line in columns(rows, right=frozenset({2, 4})):
            tell(f"  {line}")
        for name, (was, now) in preview.types.items():
            tell(f"  column {name}: {was or 'not there'} → {now or 'not there'}")
        for name in preview.not_read:
            tell(f"  {name}: its registers were not read at the time; it has no values")


def _agreed(files: int) -> bool:
    """Ask the person; False where nobody can answer."""
    if not sys.stdin.isatty():
        return False
    return typer.confirm(f"Write {counted(files, 'new file')}?", default=False, err=True)


def _written(
    folder: Path, points: list[str], new: "RegisterMap"
) -> "list[tuple[str, tuple[SealedFile, ...], tuple[SealedFile, ...]]]":
    """Decode again, point by point, what the archive holds now: its journal is sealed first."""
    from importlib.metadata import version

    from readout.clock import SystemClock
    from readout.daemon.computer_clock import clock_now
    from readout.sealing.redecode import redecode, to_decode
    from readout.sealing.seal import seal_journal
    from storage.archive import Archive

    done = []
    with Archive.open(folder) as archive:
        seal_journal(archive, clock_now(SystemClock()))
        if waiting := sum(archive.journal.count().values()):
            raise ArchiveError(
                f"{folder}: {counted(waiting, 'row')} in the journal cannot be sealed before this computer's "
                "clock is set, and would keep the old map's values: set the clock, then decode again."
            )
        for name in points:
            files = to_decode(folder, _live_files(archive, name), new.sha256)
            found = redecode(archive, files, new, version("pipeledger"))
            done.append((name, found.replaced, found.files))
    return done


def _live_files(archive: "Archive", point: str) -> "list[SealedFile]":
    from storage.archive import ArchiveReader

    return ArchiveReader(archive.root).inventory().of(point, _LIVE)


def _as_json(preview: _Preview) -> dict[str, Any]:
    types = {name: {"old": was, "new": now} for name, (was, now) in preview.types.items()}
    return {
        "point": preview.point,
        "rows": preview.rows,
        "sample": preview.sample,
        "types": types,
        "not_read": preview.not_read,
    }


def _iso(moment: Any) -> str:
    from readout.clock import iso

    return iso(moment.timestamp())


def _plain(value: Any) -> Any:
    return value if value is None or isinstance(value, (bool, int, float, str)) else _iso(value)


def _cell(value: Any, flag: str | None) -> str:
    shown = "-" if value is None else f"{value:.7g}" if isinstance(value, float) else str(value)
    return f"{shown} ({flag})" if flag else shown
