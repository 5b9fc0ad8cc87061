"""Where things lie in an archive.

ARCHIVE/
  ledger.jsonl
  journal/      journal.sqlite, tail.json, lock, reserve, inbox/
  temporary/    being written
  superseded/   replaced files, same sub-path as below
  attachments/  what belongs to notes
  rows/point=NAME/source=live|memory/date=YYYY-MM-DD/FIRST-LAST.parquet
"""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

from storage.ledger import LEDGER

ROWS = "rows"
SUPERSEDED = "superseded"
TEMPORARY = "temporary"
JOURNAL = "journal"
JOURNAL_FILE = "journal/journal.sqlite"
LOCK = "journal/lock"
RESERVE = "journal/reserve"

#: A name that is a folder on every file system and needs no quoting in a path of key=value parts.
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
_FILE = re.compile(
    r"rows/point=(?P<point>[^/=]+)/source=(?P<source>[^/=]+)/date=(?P<date>\d{4}-\d{2}-\d{2})"
    r"/(?P<first>\d{10,})-(?P<last>\d{10,})(?:-v(?P<version>\d+))?\.parquet"
)


def file_name(point: str, source: str, day: date, first: int, last: int, version: int = 1) -> str:
    """Path of a sealed file relative to the archive, with /.

    Named by its first and last sequence, so that names sort as rows do. A version above 1 is for a file
    that replaces another with the same rows. ValueError for a name that is no folder everywhere.
    """
    for name in (point, source):
        if not _NAME.fullmatch(name):
            raise ValueError(f"{name!r} cannot name a folder of the archive")
    folder = f"{ROWS}/point={point}/source={source}/date={day.isoformat()}"
    suffix = f"-v{version}" if version > 1 else ""
    return f"{folder}/{first:010d}-{last:010d}{suffix}.parquet"


def superseded_name(name: str) -> str:
    """Where a replaced file lies: `rows/…` under the same sub-path below `superseded/`."""
    return f"{SUPERSEDED}/{name.removeprefix(f'{ROWS}/')}"


def live_name(name: str) -> str:
    """The inverse: how a file below `superseded/` was called while it was live."""
    return f"{ROWS}/{name.removeprefix(f'{SUPERSEDED}/')}"


def next_version(names: list[str]) -> int:
    """The version of a file that replaces these: one above the highest of them."""
    found = [_FILE.fullmatch(name) for name in names]
    return 1 + max(int(match["version"] or 1) for match in found if match)


def date_of(name: str) -> date:
    """The day that a file's folder names; ValueError where the name is none of a sealed file."""
    if not (found := _FILE.fullmatch(name)):
        raise ValueError(f"{name!r} is no name of a sealed file")
    return date.fromisoformat(found["date"])


def is_file_name(name: str) -> bool:
    """Whether a path relative to an archive is one that a sealed file can have; nothing outside it is."""
    return _FILE.fullmatch(name) is not None


def sequences_by_name(root: Path) -> dict[tuple[str, str], int]:
    """The highest sequence that a file's name tells, per point and source: for a lost journal and ledger."""
    highest: dict[tuple[str, str], int] = {}
    for path in files_below(root / ROWS):
        found = _FILE.fullmatch(path.relative_to(root).as_posix())
        if found:
            key = (found["point"], found["source"])
            highest[key] = max(highest.get(key, 0), int(found["last"]))
    return highest


def files_below(folder: Path) -> list[Path]:
    """Every file below a folder, sorted by path; none where there is no folder."""
    return sorted(each_below(folder))


def each_below(folder: Path) -> Iterator[Path]:
    """Every file below a folder, one at a time."""
    return (path for path in folder.rglob("*") if not path.is_dir())


def is_archive(folder: Path) -> bool:
    """Whether a folder holds an archive: its ledger or its journal."""
    return (folder / LEDGER).is_file() or (folder / JOURNAL_FILE).is_file()
