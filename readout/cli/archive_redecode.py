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
    import pyarrow as pa

    from protocols.register_map.model import RegisterMap
    from storage.archive import SealedFile

_LIVE, _MEMORY = "live", "memory"
#: Rows shown of each point before anything is written.
_SAMPLE_ROWS = 3


@dataclass(frozen=True, slots=True)
class _Preview:
    """What would become of one point's rows of one source.

    `sample`: one entry a row and reading; `changed`: readings that are otherwise in any row of the file that
    was looked at, `stay`: the others; `types`: name → (old, new). `named`: the map file that the point file
    named when the rows were measured.
    """

    point: str
    source: str
    files: int
    rows: int
    sample: list[dict[str, Any]]
    changed: list[str]
    stay: list[str]
    types: dict[str, tuple[str | None, str | None]]
    not_read: list[str]
    named: str | None


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
    takes every point whose rows came from a map of the same meter. Refused while a recorder runs. The point
    file is not written: put the map right that it names, before recording goes on.
    """
    from storage.archive import ArchiveReader

    new = load_map(map_file)
    _refuse_recorder(folder)
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
    named = {preview.point: preview.named for preview in previews}
    for name in dict.fromkeys(name for name, _ in found):
        say(f"next: {_next_step(name, named.get(name), map_file)}")
    return 0


def _next_step(point: str, named: str | None, map_file: Path) -> str:
    """The point file is not ours to write, and what is recorded next comes from the map that it names."""
    before = "before the next `log` or `memory fetch`; else new rows are decoded as before"
    if named is None:
        return f"see that the point file of {point} names {map_file} (`meter: map`), {before}"
    if named == map_file.name:
        return (
            f"the point file of {point} named a {named} when these rows were measured: see that it is "
            f"{map_file}, {before}"
        )
    return (
        f"the point file of {point} named {named} when these rows were measured: name {map_file} there "
        f"(`meter: map`), or correct {named}, {before}"
    )


def _refuse_recorder(folder: Path) -> None:
    """ArchiveError where somebody writes the archive: rows wait in its journal with the old map's values."""
    from storage import lock
    from storage.archive.layout import LOCK

    if lock.is_held(folder / LOCK):
        pid = lock.holder(folder / LOCK)
        who = "another process" if pid is None else f"process {pid}"
        raise ArchiveError(
            f"{folder} is being written by {who}, so not all of its rows are sealed yet. Stop the recorder, "
            "decode again, put the map right that the point file names, and start it again."
        )


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
            raise WrongUse(
                f"{folder} has no sealed rows of a point {only}; it has: {known}{_waiting(folder)}"
            )
    else:
        meters = {key: map_of_file(folder / mine[-1].file).meter for key, mine in kept.items()}
        wanted = [key for key, meter in meters.items() if meter == new.meter]
        if not wanted:
            there = ", ".join(sorted({f"{name} ({meter})" for (name, _), meter in meters.items()}))
            raise WrongUse(
                f"no point of {folder} has a meter called {new.meter!r}; say which with --point."
                f" There are: {there or 'none'}{_waiting(folder)}"
            )
    return {key: to_decode(folder, kept[key], new.sha256) for key in wanted}


def _waiting(folder: Path) -> str:
    """What a killed recorder left in the journal, as the end of a sentence."""
    from storage.archive import ArchiveReader

    names = dict.fromkeys(name for name, _ in ArchiveReader(folder).waiting())
    if not names:
        return ""
    seal = f"`pipeledger archive seal {folder}` seals them first"
    return f". Rows of {', '.join(names)} wait in the journal: {seal}"


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
    kept = {n for n in {**before, **after} if stays(n, file.source) or n.endswith(("_flag", "_unit"))}
    names = [n for n in {**before, **after} if n not in kept]
    changed = [name for name in names if _differs(table, made, name)]
    answered = [row for row in range(table.num_rows) if table["time"][row].is_valid] or [0]
    picked = sorted(
        {answered[round(i * (len(answered) - 1) / (_SAMPLE_ROWS - 1))] for i in range(_SAMPLE_ROWS)}
    )
    old_rows, new_rows = table.take(picked).to_pylist(), made.take(picked).to_pylist()
    when = "due" if file.source == _LIVE else "time"
    sample = [
        {when: _plain(was[when]), "reading": name, "old": _plain(was.get(name)),
         "new": _plain(now.get(name)),
         "old_flag": was.get(f"{name}_flag"), "new_flag": now.get(f"{name}_flag")}
        for was, now in zip(old_rows, new_rows, strict=True)
        for name in names
    ]  # fmt: skip
    rows, missing = sum(f.rows for f in files), not_read(table, new)
    stay = [name for name in names if name not in changed]
    return _Preview(
        file.point, file.source, len(files), rows, sample, changed, stay, types, missing, _named_map(table)
    )


def _differs(old: "pa.Table", new: "pa.Table", name: str) -> bool:
    """Whether any row has another value, flag or unit of a reading."""
    for column in (name, f"{name}_flag", f"{name}_unit"):
        there = [column in table.column_names for table in (old, new)]
        if there[0] != there[1] or (all(there) and not old[column].equals(new[column])):
            return True
    return False


def _named_map(table: "pa.Table") -> str | None:
    """The map file that the point file named when these rows were measured, as the file tells it."""
    import json

    metadata = table.schema.metadata or {}
    named = json.loads(metadata.get(b"pipeledger.point", b"{}")).get("map_file")
    return None if named is None else str(named)


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
            if one["reading"] in preview.changed
        ]  # fmt: skip
        for line in columns(rows, right=frozenset({2, 4})) if preview.changed else ():
            tell(f"  {line}")
        if preview.stay:
            tell(f"  stay as they are: {', '.join(preview.stay)}")
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
    from storage.archive import Archive

    done = []
    with Archive.open(folder) as archive:
        seal_journal(archive, clock_now(SystemClock()))
        if waiting := sum(archive.journal.count().values()):
            raise ArchiveError(
                f"{folder}: {counted(waiting, 'row')} in the journal cannot be sealed before this computer's "
                "clock is set, and would keep the old map's values: set the clock, then decode again."
            )
        for key in points:
            mine = [file for file in archive.files() if (file.point, file.source) == key]
            files = to_decode(folder, mine, new.sha256)
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
    shown = "-" if value is None else _number(value) if isinstance(value, float) else str(value)
    return f"{shown} ({flag})" if flag else shown


def _number(value: float) -> str:
    """All the figures a value has: as few as tell a float32 from its neighbours, else twelve."""
    import numpy as np

    with np.errstate(over="ignore"):
        single = np.float32(value)
    if float(single) != value:
        return f"{value:.12g}"
    plain = value == 0 or 1e-4 <= abs(value) < 1e16
    return np.format_float_positional(single, trim="-") if plain else str(single)
