"""The thread between polling and the disk: `put` costs microseconds, however slow the disk is.

Rows wait in bounded memory and are committed once an interval, in one transaction with one flush. A disk
that refuses (full, read-only, torn out) loses nothing at first: rows stay in memory, the state is told
once, and it is tried again every interval. Only when memory is full are new rows dropped; they keep their
sequence numbers, so that the hole shows, and `take_losses` says where it is.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from storage.errors import StorageError
from storage.journal.rows import Row
from storage.journal.store import Journal, plan_id

#: Rows kept in memory while the disk refuses: an hour of ten points once a second, about 20 MB.
MOST_ROWS = 36_000
#: Seconds between commits: what a power cut can cost.
COMMIT_INTERVAL = 1.0


@dataclass(frozen=True)
class WriterState:
    """What the writer can tell of itself; counts are of rows since it started."""

    committed: int = 0
    waiting: int = 0  # in memory, not yet durable
    dropped: int = 0  # memory was full
    fault: str | None = None  # why the disk refuses, as a sentence; None while it does not


@dataclass(frozen=True)
class Loss:
    """A run of rows that never became durable: `first` to `last` by sequence."""

    point: str
    source: str
    first: int
    last: int


class JournalWriter:
    """Gives sequence numbers and makes rows durable. One per archive, made by the one who holds its lock.

    `on_change` is called from the writer's thread when the disk begins to refuse and when it takes rows
    again, once each; `on_commit` with the rows that have just become durable, in their order. Both must not
    raise, and rows wait for the disk while they run.
    """

    def __init__(
        self,
        path: Path,
        *,
        interval: float = COMMIT_INTERVAL,
        most_rows: int = MOST_ROWS,
        on_change: Callable[[WriterState], None] | None = None,
        on_commit: Callable[[Sequence[Row]], None] | None = None,
    ) -> None:
        self._journal = Journal.open(path)
        self._interval = interval
        self._most_rows = most_rows
        self._on_change = on_change
        self._on_commit = on_commit
        self._plans = set(self._journal.plans())
        self._new_plans: dict[str, str] = {}  # id → text, not yet durable
        self._last = self._journal.last_sequences()
        self._condition = threading.Condition()
        self._queue: deque[Row] = deque()
        self._state = WriterState()
        self._losses: list[Loss] = []
        self._hurry = False
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def add_plan(self, text: str) -> str:
        """Have a plan kept, durable before its first row or with it. Never waits for the disk.

        Returns the plan's id.
        """
        identity = plan_id(text)
        with self._condition:
            if identity not in self._plans:
                self._plans.add(identity)
                self._new_plans[identity] = text
        return identity

    def put(self, row: Row) -> Row:
        """Hand over a row; returns it with its sequence number. Never waits for the disk.

        KeyError where the row's plan was not added, ValueError once the writer is closed.
        """
        with self._condition:
            if row.plan not in self._plans:
                raise KeyError(row.plan)
            if self._closing:
                raise ValueError("the journal's writer is closed")
            key = (row.point, row.source)
            row = replace(row, sequence=self._last.get(key, 0) + 1)
            self._last[key] = row.sequence
            if self._state.waiting >= self._most_rows:
                self._lose(row)
            else:
                self._queue.append(row)
                self._state = replace(self._state, waiting=self._state.waiting + 1)
        return row

    def _lose(self, row: Row) -> None:
        self._state = replace(self._state, dropped=self._state.dropped + 1)
        self._note_loss(row)

    def _note_loss(self, row: Row) -> None:
        for index, loss in enumerate(self._losses):
            if (loss.point, loss.source, loss.last + 1) == (row.point, row.source, row.sequence):
                self._losses[index] = replace(loss, last=row.sequence)
                return
        self._losses.append(Loss(row.point, row.source, row.sequence, row.sequence))

    @property
    def state(self) -> WriterState:
        """As of now."""
        with self._condition:
            return self._state

    def take_losses(self) -> list[Loss]:
        """What was lost since the last call, for the ledger."""
        with self._condition:
            taken, self._losses = self._losses, []
        return taken

    def flush(self, timeout: float) -> bool:
        """Commit now and wait until everything put so far is durable; False after `timeout` seconds."""
        deadline = time.monotonic() + timeout
        with self._condition:
            goal = self._state.committed + self._state.waiting
            self._hurry = True
            self._condition.notify_all()
            return self._condition.wait_for(
                lambda: self._state.committed >= goal, max(0.0, deadline - time.monotonic())
            )

    def close(self, timeout: float = 30.0) -> bool:
        """Commit what waits within `timeout` [s], and end; False where the disk still refuses.

        `state.waiting` rows are lost then, and `take_losses` says which; not of a disk that
        hangs, which may still take them.
        """
        done = self.flush(timeout)
        with self._condition:
            self._closing = True
            self._condition.notify_all()
        self._thread.join(timeout)
        if self._thread.is_alive():
            return False  # the disk hangs: closing would hang with it
        self._journal.close()
        return done

    def _run(self) -> None:
        """The thread: wait out the interval or a flush, commit what is there, keep it if refused."""
        kept: list[Row] = []
        next_commit = time.monotonic() + self._interval
        while True:
            with self._condition:
                self._condition.wait_for(
                    lambda: self._hurry or self._closing, max(0.0, next_commit - time.monotonic())
                )
                self._hurry = False
                closing = self._closing
                kept.extend(self._queue)
                self._queue.clear()
                plans = dict(self._new_plans)
            next_commit = time.monotonic() + self._interval
            if kept:
                fault = self._commit(kept, plans)
                self._tell(fault, 0 if fault else len(kept))
                if fault is None:
                    if self._on_commit:
                        self._on_commit(kept)
                    kept = []
            if closing:
                with self._condition:
                    for row in kept:
                        self._note_loss(row)
                return

    def _commit(self, rows: list[Row], plans: dict[str, str]) -> str | None:
        """Write rows and the plans they may be the first of; returns why not."""
        try:
            self._journal.append(rows, plans.values())
        except StorageError as error:
            return str(error)
        with self._condition:
            for identity in plans:
                del self._new_plans[identity]
        return None

    def _tell(self, fault: str | None, committed: int) -> None:
        with self._condition:
            before = self._state
            self._state = replace(
                before,
                committed=before.committed + committed,
                waiting=before.waiting - committed,
                fault=fault,
            )
            after = self._state
            self._condition.notify_all()
        if self._on_change and (before.fault is None) != (after.fault is None):
            self._on_change(after)
