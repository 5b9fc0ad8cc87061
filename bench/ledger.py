"""A recorder's start on the ledger of a year: time and memory beside a plain loop over the same lines.

    .venv/bin/python bench/ledger.py [DAYS]

The ledger is that of points sealed every hour and joined every day, 25 lines a point and day; the files that
it tells of are not there, and a start needs none of them. The plain loop reads each line's JSON and its
SHA-256, and keeps nothing. Each run is a process of its own.
"""

import hashlib
import sys
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from audit import Spent, spent
from figures import table

from storage.archive import Archive
from storage.archive.layout import file_name
from storage.ledger import LEDGER, NO_LINE, TAIL, Kind, canonical

FIRST_DAY, DAYS, POINTS = date(2026, 1, 1), 365, (2, 32)
#: Rows an hour: a round a minute.
ROWS = 60
PLAIN = """\
import hashlib, json, sys
with open(sys.argv[1] + "/ledger.jsonl", "rb") as ledger:
    for line in ledger:
        json.loads(line)
        hashlib.sha256(line).hexdigest()
"""
#: As `log` does it before the first round: who was at the points, which maps they had, and the opening.
START = """\
import sys
from pathlib import Path
from readout.sealing.history import last_identities
from readout.sealing.otherwise import by_another_map
from storage.archive import Archive
root = Path(sys.argv[1])
by_another_map(root, "live", {})
with Archive.open(root) as archive:
    last_identities(archive, sorted({file.point for file in archive.files()}))
"""


def told(points: int, days: int) -> Iterator[tuple[Kind, Mapping[str, Any]]]:
    """What the lines say, in order."""
    for number in range(days):
        day = FIRST_DAY + timedelta(days=number)
        names = [f"hall-meter-{point:02d}" for point in range(points)]
        firsts = [number * 24 * ROWS + hour * ROWS + 1 for hour in range(24)]
        for hour, first in enumerate(firsts):
            for name in names:
                span = f"{day}T{hour:02d}:00:00.000Z", f"{day}T{hour:02d}:59:00.000Z"
                yield Kind.SEALED, _file(name, day, first, first + ROWS - 1, *span)
        for name in names:
            span = f"{day}T00:00:00.000Z", f"{day}T23:59:00.000Z"
            replaces = [file_name(name, "live", day, first, first + ROWS - 1) for first in firsts]
            whole = _file(name, day, firsts[0], firsts[-1] + ROWS - 1, *span)
            yield Kind.MERGED, {**whole, "replaces": replaces}


def _file(point: str, day: date, first: int, last: int, begin: str, end: str) -> dict[str, Any]:
    return {
        "file": file_name(point, "live", day, first, last), "point": point, "source": "live",
        "rows": last - first + 1, "bytes": 5123, "sha256": "a" * 64, "schema": "b" * 16,
        "first_sequence": first, "last_sequence": last, "first": begin, "last": end,
    }  # fmt: skip


def write(root: Path, points: int, days: int) -> int:
    """An archive that has nothing but this ledger; returns its lines."""
    Archive.open(root).close()
    number, previous = 0, NO_LINE
    with (root / LEDGER).open("wb") as ledger:
        for number, (kind, content) in enumerate(told(points, days), 1):
            fields = {
                **content, "n": number, "time": content["last"], "kind": str(kind), "previous": previous,
            }  # fmt: skip
            fields["hash"] = previous = hashlib.sha256(canonical(fields)).hexdigest()
            ledger.write(canonical(fields) + b"\n")
    (root / TAIL).write_bytes(canonical({"n": number, "hash": previous}) + b"\n")
    return number


def best(command: Sequence[str], runs: int = 3) -> Spent:
    """The quickest of some runs."""
    return min((spent(command) for _ in range(runs)), key=lambda one: one.processor_s)


def main() -> None:
    """Print each start beside the plain loop."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else DAYS
    rows = []
    with TemporaryDirectory() as name:
        for points in POINTS:
            root = Path(name) / str(points)
            lines = write(root, points, days)
            plain, start = (best((sys.executable, "-c", text, str(root))) for text in (PLAIN, START))
            rows.append(
                (f"{points} points, {lines:,} lines", f"{plain.processor_s:.2f}", f"{start.processor_s:.2f}",
                 f"{start.processor_s / plain.processor_s:.2f}", f"{start.memory_mb:.0f}")
            )  # fmt: skip
    print(table((f"start after {days} days", "plain loop s", "start s", "ratio", "start MB"), rows))


if __name__ == "__main__":
    main()
