"""Reading a journal that belongs to someone else, without touching it.

Beside a running recorder SQLite's own read-only mode joins in. Where nobody records (at rest, after a
crash, in a copy, on a read-only medium) SQLite would have to make files beside the journal to read its
write-ahead log, so it is given a private copy instead.
"""

import sqlite3
import tempfile
from contextlib import ExitStack
from pathlib import Path
from shutil import copyfile
from urllib.parse import quote

from storage import lock
from storage.durable import told as readable
from storage.errors import ArchiveDenied, StorageError
from storage.journal.store import BUSY_S, Journal, told, translated

#: Times a copy is made again because a recorder started meanwhile.
_TRIES = 5


def read_only(path: Path) -> Journal | None:
    """Open for reading; None where there is no journal, or one that its recorder is only just making.

    Changes nothing in the folder. Close it soon: beside a recorder it keeps the write-ahead log long.

    Raises:
        StorageError: it changed under every try.
    """
    for _ in range(_TRIES):
        if not path.is_file():
            return None
        if lock.is_held(path.with_name("lock")):
            try:
                return _beside(path)
            except ArchiveDenied:
                return _from_copy(path)  # another user's recorder, whose log may be read but not joined
        before = _state(path)
        journal = _from_copy(path)
        if _state(path) == before and not lock.is_held(path.with_name("lock")):
            return journal
        if journal is not None:
            journal.close()
    raise StorageError(path, f"{path} changed under every try to read it: try again.")


def _log(path: Path) -> Path:
    """SQLite's write-ahead log of a journal."""
    return path.with_name(path.name + "-wal")


def _state(path: Path) -> list[tuple[int, int] | None]:
    """Size and time of change of journal and log."""
    files = [file.stat() if file.exists() else None for file in (path, _log(path))]
    return [stat and (stat.st_size, stat.st_mtime_ns) for stat in files]


def _beside(path: Path) -> Journal | None:
    with told(path):
        connection = sqlite3.connect(
            f"file:{quote(str(path.absolute()))}?mode=ro",
            uri=True,
            timeout=BUSY_S,
            isolation_level=None,
            check_same_thread=False,
        )
    return _opened(path, connection, ExitStack())


def _from_copy(path: Path) -> Journal | None:
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="journal-")))
        with readable(path):
            copyfile(path, folder / path.name)
            if _log(path).exists():
                copyfile(_log(path), folder / _log(path).name)
        with told(path):
            connection = sqlite3.connect(folder / path.name, isolation_level=None, check_same_thread=False)
        return _opened(path, connection, stack.pop_all())


def _opened(path: Path, connection: sqlite3.Connection, clean_up: ExitStack) -> Journal | None:
    """A journal that has proven that it can be read; None where its tables are not made yet."""
    try:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version:
            connection.execute("SELECT count(*) FROM stream").fetchone()
            return Journal(path, connection, clean_up, version)
    except sqlite3.DatabaseError as error:
        Journal(path, connection, clean_up).close()
        raise translated(path, error) from error
    Journal(path, connection, clean_up).close()
    return None
