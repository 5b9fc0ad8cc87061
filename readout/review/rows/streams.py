"""What is held of a point, in parts whose rows share interval, meaning of their time, and columns."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readout.review.about.installation import LIVE, Installation, from_file, from_record
from readout.sealing.record import Record
from storage.archive import ArchiveReader, Held, SealedFile
from storage.errors import ArchiveDamaged

if TYPE_CHECKING:
    import pyarrow as pa

_MINUTE = 60_000


@dataclass(frozen=True)
class Part:
    """Rows of some files, or of the journal: `table` then, else `paths`.

    `sessions` gives the interval [ms] of each session of a meter's memory; `interval_ms` is the common one.
    """

    paths: tuple[str, ...]
    table: "pa.Table | None"
    columns: frozenset[str]
    moment: str  # due | time
    interval_ms: int
    sessions: tuple[tuple[int, int], ...]
    holds: str
    marked_at: str
    from_ms: int
    installation: Installation

    @property
    def ends(self) -> bool:
        """Whether a row's time is the end of its interval; a sample's is its own moment."""
        return self.marked_at == "end" and self.holds != "sample"

    @property
    def on_minutes(self) -> bool:
        """Whether no interval reaches over the end of a minute: rounds come at multiples of theirs."""
        return self.moment == "due" and _MINUTE % self.interval_ms == 0

    def span_sql(self) -> str:
        """A row's interval [ms], as an expression."""
        if len({ms for _, ms in self.sessions}) < 2:
            return str(self.interval_ms)
        cases = " ".join(f"WHEN {number} THEN {ms}" for number, ms in self.sessions)
        return f"CASE session {cases} ELSE {self.interval_ms} END"


def parts_of(
    root: Path, held: Held, point: str, source: str, since: int | None, until: int | None
) -> list[Part]:
    """The parts that may hold rows of the span, by their first moment."""
    grouped: dict[Any, list[tuple[SealedFile, Part]]] = {}
    for file in held.files:
        # An interval that ends in the span may have begun before it, and the other way round.
        if file.rows and file.first is not None and file.may_hold(_less(since), _more(until)):
            part = _sealed(root, file, point, source)
            key = (part.columns, part.interval_ms, part.sessions, part.holds, part.marked_at,
                   _key(part.installation))  # fmt: skip
            grouped.setdefault(key, []).append((file, part))
    parts = []
    for files in grouped.values():
        first = files[0][1]
        paths = tuple(str(root / file.file) for file, _ in files)
        parts.append(Part(paths, None, *_rest(first)))
    parts += [_waiting(plan, rows) for plan, rows in held.waiting]
    return sorted(parts, key=lambda part: part.from_ms)


def _less(since: int | None) -> int | None:
    return None if since is None else since - 86_400_000


def _more(until: int | None) -> int | None:
    return None if until is None else until + 86_400_000


def _key(installation: Installation) -> str:
    """Files with the same are one part; identity and settings decide, not the file they stand in."""
    settings = {name: value for name, value in installation.settings.items() if name != "clock"}
    told = (installation.map_sha256, installation.serial_number, settings)
    return json.dumps(told, sort_keys=True, default=str) + repr(installation.pipe)


def _rest(part: Part) -> tuple[Any, ...]:
    return (
        part.columns, part.moment, part.interval_ms, part.sessions, part.holds, part.marked_at, part.from_ms,
        part.installation,
    )  # fmt: skip


def _sealed(root: Path, file: SealedFile, point: str, source: str) -> Part:
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = root / file.file
    try:
        installation = from_file(path, point, source)
        schema = pq.read_schema(path)
    except FileNotFoundError:
        raise
    except (pa.ArrowException, OSError) as error:
        raise ArchiveDamaged(path, f"{path} cannot be read ({error}): verify the archive.") from error
    if installation is None:
        raise ArchiveDamaged(path, f"{path} tells no register map: verify the archive.")
    metadata = {key.decode(): json.loads(text) for key, text in (schema.metadata or {}).items()
                if key in (b"pipeledger.plan", b"pipeledger.memory")}  # fmt: skip
    assert file.first is not None
    from_ms = round(datetime.fromisoformat(file.first).timestamp() * 1000)
    return _part(frozenset(schema.names), source, metadata, from_ms, installation)


def _part(
    names: frozenset[str], source: str, metadata: Mapping[str, Any], from_ms: int, installation: Installation
) -> Part:
    if source == LIVE:
        every = int(metadata.get("pipeledger.plan", {}).get("every_ms") or 1000)
        return Part((), None, names, "due", every, (), "sample", "start", from_ms, installation)
    memory = metadata.get("pipeledger.memory", {})
    sessions = {
        int(number): int(told["interval_ms"])
        for number, told in memory.get("sessions", {}).items()
        if told.get("interval_ms")
    }
    common = max(sessions.values(), default=1000)
    holds, marked = memory.get("holds") or "sample", memory.get("marked_at") or "start"
    return Part(
        (), None, names, "time", common, tuple(sorted(sessions.items())), holds, marked, from_ms, installation
    )


def _waiting(plan: str, rows: Sequence[Any]) -> Part:
    from readout.sealing.table import table_of

    record = Record.from_text(plan)
    table = table_of(record, rows)
    every = int(record.plan.get("every_ms") or 1000)
    return Part(
        (), table, frozenset(table.column_names), "due", every, (), "sample", "start", rows[0].due,
        from_record(record),
    )  # fmt: skip


def installation_of(root: Path, point: str, source: str) -> Installation | None:
    """What is known of a point by its latest rows; None where it has none."""

    def answer(held: Held) -> Installation | None:
        if held.waiting:
            return from_record(Record.from_text(held.waiting[-1][0]))
        return from_file(root / held.files[-1].file, point, source) if held.files else None

    return ArchiveReader(root).ask(point, source, answer, waiting=True)
