"""The journal: rows as they were read, durable within a second, until they are sealed.

`Journal` is one connection to it, `JournalWriter` the thread that keeps a slow disk away from polling.
"""

from storage.journal.clock import ClockNow
from storage.journal.reading import read_only
from storage.journal.rows import UNSET, Intent, Row, Stretch
from storage.journal.store import Journal
from storage.journal.writer import JournalWriter, WriterState

__all__ = [
    "UNSET",
    "ClockNow",
    "Intent",
    "Journal",
    "JournalWriter",
    "Row",
    "Stretch",
    "WriterState",
    "read_only",
]
