"""What an archive remembers of a point's last rows."""

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from readout.sealing.record import Record
from storage.archive import Archive

LIVE = "live"


def last_identities(archive: Archive, points: Iterable[str]) -> dict[str, Mapping[str, Any]]:
    """By point, the identity of the meter that its latest live rows came from; empty where it is not known.

    Looks at the journal first, then at the last sealed file; a file that cannot be read tells nothing.
    """
    sealed = {file.point: file.file for file in archive.files() if file.source == LIVE}  # by sequence
    found: dict[str, Mapping[str, Any]] = {}
    for point in points:
        plan = archive.journal.last_plan(point, LIVE)
        if plan is not None:
            found[point] = dict(Record.from_text(plan).meter.get("identity", {}))
        else:
            found[point] = _sealed_identity(archive.root / sealed[point]) if point in sealed else {}
    return found


def _sealed_identity(file: Path) -> Mapping[str, Any]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        metadata = pq.read_metadata(file).metadata or {}
        meter = json.loads(metadata[b"pipeledger.meter"])
    except (pa.ArrowException, OSError, KeyError, ValueError):
        return {}
    return dict(meter.get("identity", {}))
