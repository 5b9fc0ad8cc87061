"""A day's hourly files become one, so that a year is some 365 files for each point and source.

Only neighbours by sequence of one UTC date are joined, only when their values come from one map and their
columns mean the same; where they come from two maps the day keeps two files. What else differs between
them, the meter's settings after a restart say, is kept run by run under `pipeledger.parts`.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import date
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from readout.clock import iso
from storage.archive import Archive, Replacement, SealedFile
from storage.archive.layout import date_of
from storage.archive.parquet import read_metadata
from storage.errors import ArchiveDamaged
from storage.ledger import Kind

if TYPE_CHECKING:
    from pathlib import Path

#: A merge is done in memory: this many rows at most, a day at ten rows a second and some.
MOST_ROWS = 1_000_000
#: Entries of the metadata that must be equal, or the files stay apart.
_SAME = ("format", "point", "map_sha256", "redecoded")
_ROWS, _PARTS, _UNSET = "rows", "parts", "clock_unset"
_PREFIX = "pipeledger."

Entries = dict[str, Any]


def merge_days(archive: Archive, before: date) -> list[SealedFile]:
    """Join the files of every UTC date before `before`; returns the new ones. Nothing to do: none.

    Raises `StorageError` where the disk refuses; every date is then as it was, or merged whole.
    """
    merged = []
    for files in list(_to_merge(archive, before)):
        with suppress(ArchiveDamaged):  # verify names the file; the others of its date stay as they are
            merged.append(merge(archive, files))
    return merged


def merge(archive: Archive, files: Sequence[SealedFile]) -> SealedFile:
    """Join these files, neighbours of one date that `_alike` found to fit."""
    tables = [archive.read(file) for file in files]
    parts = [part for file in files for part in runs_of(entries_of(read_metadata(archive.root / file.file)))]
    whole = pa.concat_tables(tables, promote_options="default").replace_schema_metadata(None)
    new = Replacement(tuple(files), whole, whole, _metadata(parts, whole))
    (merged,) = archive.replace(Kind.MERGED, [new], unchanged=lambda _: True, content={})
    return merged


#: What the entries of `_SAME` say, and the columns; None of a damaged file: verify names it, and nothing is
#: built on it.
_Meaning = tuple[Entries, pa.Schema] | None


def _to_merge(archive: Archive, before: date) -> Iterator[list[SealedFile]]:
    @lru_cache(maxsize=4)  # each file is held against the first and the last of its run
    def meaning(file: str) -> _Meaning:
        return _meaning(archive.root / file)

    for _, files in groupby(archive.files(), key=lambda file: (file.point, file.source)):
        run: list[SealedFile] = []
        for file in files:
            if run and not _fits(meaning, run, file):
                if len(run) > 1:
                    yield run
                run = []
            if date_of(file.file) < before:
                run.append(file)
        if len(run) > 1:
            yield run


def _fits(meaning: Callable[[str], _Meaning], run: list[SealedFile], file: SealedFile) -> bool:
    if date_of(file.file) != date_of(run[0].file):
        return False
    if sum(one.rows for one in run) + file.rows > MOST_ROWS:
        return False
    return all(_alike(meaning(one.file), meaning(file.file)) for one in (run[0], run[-1]))


def _meaning(path: "Path") -> _Meaning:
    import pyarrow.parquet as pq

    try:
        told, columns = read_metadata(path), pq.read_schema(path)
    except (ArchiveDamaged, pa.ArrowException, OSError):
        return None
    return entries_of(
        {key: text for key, text in told.items() if key.removeprefix(_PREFIX) in _SAME}
    ), columns


def _alike(one: _Meaning, other: _Meaning) -> bool:
    """Whether the rows of two files mean the same."""
    if one is None or other is None or one[0] != other[0]:
        return False
    columns, others = one[1], other[1]
    common = set(columns.names) & set(others.names)
    return all(columns.field(name).equals(others.field(name), check_metadata=True) for name in common)


def entries_of(metadata: Mapping[str, str]) -> Entries:
    """A file's metadata by name without its prefix."""
    return {key.removeprefix(_PREFIX): json.loads(text) for key, text in metadata.items()}


def runs_of(entries: Entries) -> list[Entries]:
    """The runs of rows in a file that share everything: each with its whole metadata; one as a rule."""
    shared = {name: entry for name, entry in entries.items() if name != _PARTS}
    if _PARTS not in entries:
        return [shared]
    return [
        {**shared, **{n: e for n, e in part.items() if n != _ROWS}, _ROWS: part[_ROWS]}
        for part in entries[_PARTS]
    ]


def _joined(parts: Sequence[Entries]) -> list[Entries]:
    """Neighbours that differ in nothing but their rows made one."""
    found: list[Entries] = []
    for part in parts:
        if not found or {**found[-1], _ROWS: None} != {**part, _ROWS: None}:
            found.append(part)
            continue
        first, last = found[-1][_ROWS], part[_ROWS]
        began = {name: entry for name, entry in first.items() if name.startswith("first_")}
        joined = {**last, **began, "count": first["count"] + last["count"]}
        found[-1] = {**part, _ROWS: {**joined, **_unset_of([first, last])}}
    return found


def _metadata(parts: Sequence[Entries], table: pa.Table) -> dict[str, str]:
    """The merged file's: that of its last run, and under `parts` what each run has of its own."""
    runs = _joined(parts)
    last = runs[-1]
    entries = {**last, _ROWS: {**rows_entry(table), **_unset_of([run[_ROWS] for run in runs])}}
    if len(runs) > 1:
        names = {name for run in runs for name in run if run.get(name) != last.get(name)} - {_ROWS}
        entries[_PARTS] = [
            {_ROWS: run[_ROWS], **{name: run.get(name) for name in sorted(names)}} for run in runs
        ]
    return {
        f"{_PREFIX}{name}": json.dumps(entry, ensure_ascii=False, sort_keys=True)
        for name, entry in entries.items()
    }


def _unset_of(rows: Sequence[Entries]) -> Entries:
    """What the entries tell of rows from before the clock was set, together; empty where there are none."""
    told = [run for entry in rows for run in entry.get(_UNSET, [])]
    return {_UNSET: told} if told else {}


def rows_entry(table: pa.Table) -> dict[str, Any]:
    """What `pipeledger.rows` says of these rows (at least one)."""
    entry: dict[str, Any] = {"count": table.num_rows}
    for end, row in (("first", 0), ("last", table.num_rows - 1)):
        entry[f"{end}_sequence"] = table["sequence"][row].as_py()
        for moment in ("due", "time"):
            if moment in table.column_names and f"{end}_due" not in entry:
                found = table[moment][row].cast(pa.int64()).as_py()
                entry[f"{end}_{moment}"] = None if found is None else iso(found / 1000)
    return entry
