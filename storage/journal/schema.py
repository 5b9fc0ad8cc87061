"""The journal's tables, and how an older journal gets what it lacks.

Format 1 had no table `boot`, and its rows ended with `present`. Format 2 adds columns at the end, so that
whoever reads by name reads both.
"""

import sqlite3
from pathlib import Path

from storage.errors import ArchiveTooNew
from storage.journal.rows import UNSET

FORMAT = 2

_TABLES = """
CREATE TABLE plan (number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, text TEXT NOT NULL);
CREATE TABLE stream (number INTEGER PRIMARY KEY, point TEXT NOT NULL, source TEXT NOT NULL,
    last INTEGER NOT NULL, UNIQUE (point, source));
CREATE TABLE row (stream INTEGER NOT NULL REFERENCES stream, sequence INTEGER NOT NULL,
    plan INTEGER NOT NULL REFERENCES plan, due INTEGER NOT NULL, time INTEGER, clock TEXT NOT NULL,
    status TEXT NOT NULL, cause TEXT NOT NULL, words BLOB NOT NULL, present BLOB NOT NULL,
    PRIMARY KEY (stream, sequence)) WITHOUT ROWID;
CREATE TABLE intent (file TEXT PRIMARY KEY, aside TEXT NOT NULL, sha256 TEXT NOT NULL, point TEXT NOT NULL,
    source TEXT NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, line TEXT NOT NULL) WITHOUT ROWID;
"""
#: From format 1 to 2.
_BOOTS = """
CREATE TABLE boot (number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE);
ALTER TABLE row ADD COLUMN boot INTEGER REFERENCES boot;
ALTER TABLE row ADD COLUMN since_boot INTEGER;
ALTER TABLE row ADD COLUMN shifted INTEGER;
"""

INSERT_ROW = (
    "INSERT INTO row (stream, sequence, plan, due, time, clock, status, cause, words, present, boot,"
    " since_boot, shifted) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_OLD_COLUMNS = (
    "stream.point, stream.source, plan.id, row.due, row.time, row.clock, row.status, row.cause,"
    " row.words, row.present, row.sequence"
)
_BOOT_ID = "coalesce((SELECT id FROM boot WHERE boot.number = row.boot), '')"


def prepare(path: Path, connection: sqlite3.Connection) -> None:
    """Make the tables, or bring an older journal's up to date; within the caller's transaction.

    Raises:
        ArchiveTooNew: a later version of this program made it.
    """
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > FORMAT:
        raise ArchiveTooNew(
            path, f"{path} has format {version}, this version knows {FORMAT}: use a newer one."
        )
    for since, statements in ((0, _TABLES), (1, _BOOTS)):
        if version <= since:
            for statement in statements.strip().split(";\n"):
                connection.execute(statement)
    if version < FORMAT:
        connection.execute(f"PRAGMA user_version = {FORMAT}")


def row_columns(version: int) -> str:
    """What a question asks for, in the order of `Row`'s fields; format 1 lacks the last three."""
    further = f"{_BOOT_ID}, row.since_boot, row.shifted" if version > 1 else "'', NULL, NULL"
    return f"{_OLD_COLUMNS}, {further}"


def untimed_of(version: int) -> str:
    """The boot's id of a row whose times cannot be believed, NULL for the others; see `Row.is_timed`."""
    if version < 2:
        return f"CASE WHEN clock = '{UNSET}' THEN '' END"
    return f"CASE WHEN clock = '{UNSET}' AND shifted IS NULL THEN {_BOOT_ID} END"
