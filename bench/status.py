"""`status` on a year of one-second rows beside the same on a month: time and memory, as of the last row.

    .venv/bin/python bench/status.py [DAYS]

The archives are those of bench/year.py; their ledgers get as many further lines as a recorder writes that
seals every hour. Each run is a process of its own, asked at the moment of its last row, as beside a recorder.
"""

import sys
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import year
from audit import Spent, spent
from figures import table

from storage.archive import Archive
from storage.ledger import Kind

MONTH = 30
#: What a recorder tells the ledger of each hour's file, besides the joined one: about as long.
LINES_A_DAY, LINE = 24, {"what": "bench", "text": "x" * 480}
#: As the command does it, at another moment than now.
STATUS = """\
import sys
from pathlib import Path
from readout.cli.status import _document
from readout.daemon.health.health import health
from readout.daemon.health.shortfalls import shortfalls
root, now_ms = Path(sys.argv[1]), int(sys.argv[2])
found = health(root, now_ms)
print(_document(found, now_ms), shortfalls(found, 0.95, now_ms))
"""


def write(root: Path, days: int) -> None:
    """An archive of so many days, with a ledger as long as a recorder's."""
    year.write(root, days)
    with Archive.open(root) as archive:
        for _ in range(days * LINES_A_DAY):
            archive.ledger.append(Kind.EVENT, LINE)


def command(root: Path, days: int) -> Sequence[str]:
    """`status` as of the end of the last row."""
    end = datetime(year.FIRST_DAY.year, year.FIRST_DAY.month, year.FIRST_DAY.day, tzinfo=UTC)
    end += timedelta(days=days)
    return sys.executable, "-c", STATUS, str(root), str(round(end.timestamp() * 1000))


def best(root: Path, days: int, runs: int = 3) -> Spent:
    """The quickest of some runs; the first one finds nothing in the system's cache."""
    return min((spent(command(root, days)) for _ in range(runs)), key=lambda one: one.processor_s)


def main() -> None:
    """Print both, and what the long one takes of the short one."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else year.DAYS
    found = {}
    with TemporaryDirectory() as name:
        for days in (MONTH, count):
            write(Path(name) / str(days), days)
            found[days] = best(Path(name) / str(days), days)
    rows = [
        (f"{days} days, {days * year.DAY_S:,} rows", f"{one.wall_s:.2f}", f"{one.processor_s:.2f}",
         f"{one.memory_mb:.0f}") for days, one in found.items()
    ]  # fmt: skip
    print(table(("status", "wall s", "processor s", "MB"), rows))
    print(f"{found[count].processor_s / found[MONTH].processor_s:.1f} times the processor time of a month")


if __name__ == "__main__":
    main()
