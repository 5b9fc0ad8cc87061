"""What is known, without asking the meter, of the memory it logs into: what was fetched, how long it lasts.

A ring overwrites its oldest record once `capacity` more have been written: record n + capacity takes the
place of record n. So the first record that was not fetched, one interval behind the newest that was, is lost
`capacity` intervals later. A memory that stops when full takes as many records as it had room for when it
was last fetched or erased. Both suppose that the meter has gone on recording at that interval; if it paused,
there is more time.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from protocols.log_memory.state import UNIT_MS
from protocols.register_map.memory_model import LogMemory
from readout.clock import ms_of
from readout.plan.endurance import MARGIN, Endurance
from readout.plan.recording import LOG_INTERVAL
from readout.review.about.installation import Installation
from readout.sealing.table import map_of
from storage.archive import SealedFile
from storage.archive.parquet import read_metadata
from storage.ledger import Kind, Line

#: The ledger's name of the command that empties a memory.
_ERASE = "erase"


@dataclass(frozen=True, slots=True)
class MeterMemory:
    """A meter's own memory. Moments in ms since 1970 UTC; None where it is not known.

    `fetched_ms`: when it was last fetched, `newest_ms` the time of the newest record that the archive has.
    `lasts_s`: from empty to full at the interval. `until_ms`: from when on something is lost that was not
    fetched: a ring's oldest records, or what comes after a memory that stops is full.
    """

    capacity: int
    is_ring: bool
    interval_ms: int | None
    fetched_ms: int | None = None
    newest_ms: int | None = None
    until_ms: int | None = None

    @property
    def lasts_s(self) -> float | None:
        """As `memory plan` works it out: capacity × interval."""
        if self.interval_ms is None:
            return None
        return float(Endurance(self.capacity, Fraction(self.interval_ms, 1000), Fraction(0)).lasts_s)

    def left_s(self, now_ms: int) -> float | None:
        """Seconds until something is lost, negative once it may have been; None where that is not known."""
        return None if self.until_ms is None else (self.until_ms - now_ms) / 1000

    def is_near(self, now_ms: int) -> bool:
        """Whether less than a tenth of the time it lasts is left, as `memory plan` warns."""
        left, lasts = self.left_s(now_ms), self.lasts_s
        return left is not None and lasts is not None and left < lasts * float(MARGIN)


def meter_memory(
    root: Path, installation: Installation | None, files: Sequence[SealedFile], lines: Sequence[Line]
) -> MeterMemory | None:
    """Of the point that `installation` tells of; None where its map has no memory.

    `files` are its sealed records, `lines` the ledger's. Raises ArchiveDamaged.
    """
    memory = None if installation is None else map_of(installation.map_text).log_memory
    if installation is None or memory is None:
        return None
    mine = [line for line in lines if line.content.get("point") == installation.point]
    fetches = [line for line in mine if line.kind == Kind.RETRIEVED]
    erased = [line for line in mine if line.kind == Kind.SETTING and line.content.get("name") == _ERASE]
    timed = [file for file in files if file.last is not None]
    newest = max((ms_of(str(file.last)) for file in timed), default=None)
    interval = (_told(root, timed) if timed else None) or _set(installation.settings)
    return MeterMemory(
        capacity=memory.capacity,
        is_ring=memory.is_ring,
        interval_ms=interval,
        fetched_ms=ms_of(fetches[-1].time) if fetches else None,
        newest_ms=newest,
        until_ms=None if interval is None else _until(memory, interval, newest, fetches, erased),
    )


def _until(
    memory: LogMemory, interval_ms: int, newest: int | None, fetches: Sequence[Line], erased: Sequence[Line]
) -> int | None:
    emptied = ms_of(erased[-1].time) if erased else None
    whole = memory.capacity * interval_ms
    if emptied is not None and (newest is None or emptied >= newest):
        return emptied + whole  # nothing older is in it any more
    if newest is None:
        return None
    if memory.is_ring:
        return newest + interval_ms + whole
    held = fetches[-1].content.get("expected") if fetches else None
    return newest + (memory.capacity - held) * interval_ms if isinstance(held, int) else None


def _told(root: Path, files: Sequence[SealedFile]) -> int | None:
    """The interval [ms] of the latest session that the archive has records of."""
    latest = max(files, key=lambda file: str(file.last))
    about = json.loads(read_metadata(root / latest.file).get("pipeledger.memory", "{}"))
    sessions = about.get("sessions") or {}
    number = max(sessions, key=int, default=None)
    told = None if number is None else sessions[number].get("interval_ms")
    return int(told) if told else None


def _set(settings: Mapping[str, Any]) -> int | None:
    """The interval [ms] that the meter's settings told last."""
    found = settings.get(LOG_INTERVAL) or {}
    value, unit = found.get("value"), found.get("unit") or "s"
    if not isinstance(value, int | float) or unit not in UNIT_MS or value <= 0:
        return None
    return round(value * UNIT_MS[unit])
