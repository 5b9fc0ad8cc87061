"""Point files as an archive keeps them: the texts with which its newest rows were measured."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from protocols.register_map.document import compose
from protocols.register_map.faults import Report
from readout.errors import WrongUse
from readout.measuring_point import grammar as k
from readout.measuring_point.amendment.amend import Change, any_change, with_change
from readout.measuring_point.making.questions import key_at
from readout.measuring_point.making.yaml_text import yaml_of
from storage.archive import ArchiveReader
from storage.ledger import LEDGER, Kind, lines_of


@dataclass(frozen=True, slots=True)
class Kept:
    """The texts of a point, its job and its map, and the corrections the ledger has of it, oldest first."""

    point: str
    text: str
    job_text: str | None
    map_text: str
    corrections: tuple[Change, ...]


def kept_point(archive: Path, name: str | None) -> Kept:
    """The newest that an archive keeps of a point; `name` may be left out where it has one point only.

    Raises:
        WrongUse: no sealed file, no such point, or several and none named.
        StorageError: no archive is there, or it cannot be read.
    """
    files = ArchiveReader(archive).files()
    names = sorted({file.point for file in files})
    if name is None and len(names) > 1:
        raise WrongUse(f"{archive} has several points; say which with --point: {', '.join(names)}")
    chosen = name or (names[0] if names else "")
    mine = [file for file in files if file.point == chosen]
    if not mine:
        there = ", ".join(names) or "none that is sealed; see pipeledger archive seal"
        raise WrongUse(f"{archive} keeps no file of the point {chosen or '–'}; it has {there}")
    newest = max(mine, key=lambda file: (file.last or "", file.last_sequence))
    told = _metadata(archive / newest.file)
    about = told["point"]
    return Kept(
        chosen,
        str(about["point_file"]),
        about.get("job_file"),
        str(told["map"]),
        _corrections(archive, chosen),
    )


def _metadata(path: Path) -> Mapping[str, Any]:
    import pyarrow.parquet as pq

    found = pq.read_schema(path).metadata or {}
    entries = {key.decode().removeprefix("pipeledger."): text for key, text in found.items()}
    if "point" not in entries or "map" not in entries:
        raise WrongUse(f"{path} does not tell its point; see pipeledger archive verify")
    return {"point": json.loads(entries["point"]), "map": json.loads(entries["map"])}


def _corrections(archive: Path, point: str) -> tuple[Change, ...]:
    lines = lines_of(archive / LEDGER, Kind.POINT)
    mine: Sequence[Any] = [line.content.get("set") for line in lines if line.content.get("point") == point]
    return tuple(
        any_change(f"{key}={value}") for told in mine if isinstance(told, dict) for key, value in told.items()
    )


@dataclass(frozen=True, slots=True)
class Repeated:
    """The text of a new point file, and what belongs beside it: path as written in it → text."""

    text: str
    beside: Mapping[str, str]


def repeated(kept: Kept, changes: Sequence[Change]) -> Repeated:
    """The point again, with the ledger's corrections and then `changes`; as it was written where none is.

    Raises:
        WrongUse: the kept text is not understood, or a change is none that it can take.
    """
    report = Report("kept point file")
    root = compose(kept.text.encode(), report)
    entries = None if root is None else k.POINT.read(root, report)
    meter = None if entries is None else entries.get(k.METER)
    if root is None or entries is None or meter is None:
        raise WrongUse(f"what the archive keeps of {kept.point} is no point file; see archive describe")
    job_report = Report("kept job file")
    job_root = None if kept.job_text is None else compose(kept.job_text.encode(), job_report)
    text, all_changes = kept.text, [*kept.corrections, *changes]
    for change in all_changes:
        key_at(change.path)
        root = with_change(root, job_root, change)
    if all_changes:
        text = yaml_of(root)
    beside = {str(meter.get(k.MAP)): kept.map_text}
    job = entries.get(k.JOB)
    if job is not None and kept.job_text is not None:
        beside[job] = kept.job_text
    outside = [name for name in beside if Path(name).is_absolute() or ".." in Path(name).parts]
    return Repeated(text, {name: one for name, one in beside.items() if name not in outside})
