"""What an archive remembers of a point's last rows."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from readout.sealing.record import Record
from storage.archive import ArchiveReader

LIVE = "live"


def last_identity(root: Path, point: str) -> Mapping[str, Any]:
    """The identity of the meter that the point's latest live rows came from; empty where it is not known.

    Looks at the journal first, then at the last sealed file; a file that cannot be read tells nothing.
    """
    reader = ArchiveReader(root)
    waiting = reader.waiting_rows(point, LIVE)
    if waiting:
        plan, _ = waiting[-1]
        return dict(Record.from_text(plan).meter.get("identity", {}))
    files = reader.inventory().of(point, LIVE)
    return _sealed_identity(root / files[-1].file) if files else {}


def _sealed_identity(file: Path) -> Mapping[str, Any]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        metadata = pq.read_metadata(file).metadata or {}
        meter = json.loads(metadata[b"pipeledger.meter"])
    except (pa.ArrowException, OSError, KeyError, ValueError):
        return {}
    return dict(meter.get("identity", {}))
