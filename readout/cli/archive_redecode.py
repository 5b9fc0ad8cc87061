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
    from storage.archive import SealedFile

_LIVE, _MEMORY = "live", "memory"
#: Rows shown of each point before anything is written.
_SAMPLE_ROWS = 3


@dataclass(frozen=True, slots=True)
class _Preview:
    """What would become of one point's rows of one source.

    `sample`: one entry a row and reading; `types`: name → (old, new).
    """

    point: str
    source: str
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
        told = {(preview.point, preview.source): _as_json(preview) for preview in previews}
        points = [
            {"point": name, "source": source, "replaced": [file.as_listed() for file in old],
             "files": [file.as_listed() for file in made], **told.get((name, source), {})}
            for (name, source), old, made in written
        ]  # fmt: skip
        tell_json({"written": True, "points": points})
    for (name, source), old, made in written:
        rows, whose = sum(file.rows for file in made), _named(name, source)
        say(
            f"{whose}: {counted(len(old), 'file')}, {counted(rows, 'row')} decoded again"
            if made
            else f"{whose}: every file has this map's values already"
        )
    return 0


def _named(point: str, source: str) -> str:
    return f"{point}, the meter's memory" if source == _MEMORY else point


def _points(
    files: "Iterable[SealedFile]", folder: Path, new: "RegisterMap", only: str | None
) -> "dict[tuple[str, str], list[SealedFile]]":
    """The points meant, by source, and of each the files that have values of another map."""
    from readout.sealing.redecode import map_of_file, to_decode

    sources = (_LIVE,) if new.log_memory is None else (_LIVE, _MEMORY)
    kept: dict[tuple[str, str], list[SealedFile]] = {}
    for file in files:
        if file.source in sources:
            kept.setdefault((file.point, file.source), []).append(file)
    if only is not None:
        wanted = [key for key in kept if key[0] == only]
        if not wanted:
            known = ", ".join(sorted({name for name, _ in kept})) or "none"
            raise WrongUse(f"{folder} has no sealed rows of a point {only}; it has: {known}")
    else:
        meters = {key: map_of_file(folder / mine[-1].file).meter for key, mine in kept.items()}
        wanted = [key for key, meter in meters.items() if meter == new.meter]
        if not wanted:
            there = ", ".join(sorted({f"{name} ({meter})" for (name, _), meter in meters.items()}))
            raise WrongUse(
                f"no point of {folder} has a meter called {new.meter!r}; say which with --point."
                f" There are: {there or 'none'}"
            )
    return {key: to_decode(folder, kept[key], new.sha256) for key in wanted}


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
        if before.get(name) != after.get(name) and not stays(name, file.source)
    }
    answered = [row for row in range(table.num_rows) if table["time"][row].is_valid] or [0]
    picked = sorted(
        {answered[round(i * (len(answered) - 1) / (_SAMPLE_ROWS - 1))] for i in range(_SAMPLE_ROWS)}
    )
    old_rows, new_rows = table.take(picked).to_pylist(), made.take(picked).to_pylist()
    kept = {n for n in {**before, **after} if stays(n, file.source) or n.endswith(("_flag", "_unit"))}
    names = [n for n in {**before, **after} if n not in kept]
    when = "due" if file.source == _LIVE else "time"
    sample = [
        {when: _plain(was[when]), "reading": name, "old": _plain(was.get(name)),
         "new": _plain(now.get(name)),
         "old_flag": was.get(f"{name}_flag"), "new_flag": now.get(f"{name}_flag")}
        for was, now in zip(old_rows, new_rows, strict=True)
        for name in names
    ]  # fmt: skip
    rows, missing = sum(f.rows for f in files), not_read(table, new)
    return _Preview(file.point, file.source, len(files), rows, sample, types, missing)


def _show(previews: "list[_Preview]") -> None:
    for preview in previews:
        whose = _named(preview.point, preview.source)
        tell(f"{whose}: {counted(preview.files, 'file')}, {counted(preview.rows, 'row')}")
        when = "due" if preview.source == _LIVE else "time"
        rows = [(when, "reading", "old", "", "new")]
        rows += [
            (one[when] or "time not known", one["reading"], _cell(one["old"], one["old_flag"]), "→",
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
    folder: Path, points: list[tuple[str, str]], new: "RegisterMap"
) -> "list[tuple[tuple[str, str], tuple[SealedFile, ...], tuple[SealedFile, ...]]]":
    """Decode again, point by point, what the archive holds now: its journal is sealed first."""
    from importlib.metadata import version

    from readout.clock import SystemClock
    from readout.daemon.computer_clock import clock_now
    from readout.sealing.redecode import redecode, to_decode
    from readout.sealing.seal import seal_journal
    from storage.archive import Archive, ArchiveReader

    done = []
    with Archive.open(folder) as archive:
        seal_journal(archive, clock_now(SystemClock()))
        if waiting := sum(archive.journal.count().values()):
            raise ArchiveError(
                f"{folder}: {counted(waiting, 'row')} in the journal cannot be sealed before this computer's "
                "clock is set, and would keep the old map's values: set the clock, then decode again."
            )
        for key in points:
            files = to_decode(folder, ArchiveReader(folder).inventory().of(*key), new.sha256)
            found = redecode(archive, files, new, version("pipeledger"))
            done.append((key, found.replaced, found.files))
    return done


def _as_json(preview: _Preview) -> dict[str, Any]:
    types = {name: {"old": was, "new": now} for name, (was, now) in preview.types.items()}
    return {
        "point": preview.point,
        "source": preview.source,
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
