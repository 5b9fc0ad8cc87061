"""What happens to a recorder, from any of its threads: told to the person at once, to the ledger in turn.

Only the main thread writes the ledger. What waits for it is kept in memory while the disk refuses.
"""

from collections import deque
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from readout.clock import Clock, iso
from readout.daemon.computer_clock import EARLIEST
from readout.daemon.telling.late_replies import LateReplies
from storage.archive import Archive
from storage.errors import StorageError
from storage.journal import JournalWriter, WriterState
from storage.ledger import Kind
from storage.reserve import Room

#: Steps noticed by several points within this time [s] and this far alike [s] are one step.
SAME_STEP_S, SAME_STEP_BY_S = 120.0, 0.25
#: From here on the journal's log is no longer what a recorder makes of it by itself, 4 MB.
_LARGE_LOG_BYTES = 32 << 20


class Happenings:
    """Of one run. `say` takes lines for the person, from any thread."""

    def __init__(self, clock: Clock, say: Callable[[str], None]) -> None:
        self.late = LateReplies()
        self._clock, self._say = clock, say
        self._pending: deque[tuple[Kind, dict[str, Any]]] = deque()
        self._stepped = (float("-inf"), 0.0)
        self._low = self._large = False

    def note(self, content: dict[str, Any], kind: Kind = Kind.EVENT) -> None:
        """Have something written into the ledger by the main thread; from any thread."""
        self._pending.append((kind, {**content, "at": iso(self._clock.utc())}))

    def write(self, archive: Archive) -> None:
        """Write what waits for the ledger, ours and others'; a disk that refuses is asked again."""
        with suppress(StorageError):
            archive.take_in()
        while self._pending:
            kind, content = self._pending[0]
            try:
                archive.ledger.append(kind, content)
            except StorageError:
                return
            self._pending.popleft()

    def sealing(self) -> None:
        """What has been counted since the last sealing is to be told."""
        for event in self.late.events():
            self.note(event)

    def losses(self, writer: JournalWriter) -> int:
        """Rows that memory could not hold while the disk refused; how many they are."""
        lost = 0
        for loss in writer.take_losses():
            rows = loss.last - loss.first + 1
            lost += rows
            self._say(f"{loss.point}: {rows} rows were lost while the disk took none")
            content = {"what": "rows", "point": loss.point, "source": loss.source}
            self.note({**content, "first_sequence": loss.first, "last_sequence": loss.last}, Kind.LOST)
        return lost

    def port(self, what: str, text: str) -> None:
        """A line's port is lost, or back."""
        waited_for = " It is waited for." if what == "port lost" else ""
        self._say(f"{what}: {text}{waited_for}")
        self.note({"what": what, "text": text})

    def step(self, seconds: float) -> None:
        """The wall clock was stepped. Every point of every line notices the same step; it is told once."""
        now = self._clock.monotonic()
        told_at, told = self._stepped
        if now - told_at < SAME_STEP_S and abs(told - seconds) < SAME_STEP_BY_S:
            return
        self._stepped = (now, seconds)
        utc = self._clock.utc()
        what = "clock set" if utc - seconds < EARLIEST <= utc else "clock step"
        self._say(f"the computer's clock stepped by {seconds:+.3f} s")
        self.note({"what": what, "seconds": round(seconds, 3)})

    def writer(self, state: WriterState) -> None:
        """The disk has begun to refuse rows, or takes them again."""
        if state.fault is None:
            lost = "" if state.dropped else "; nothing was lost"
            self._say(f"the disk takes rows again{lost}")
            self.note({"what": "disk free"})
        else:
            self._say(f"{state.fault} Recording goes on in memory.")
            self.note({"what": "disk full", "text": state.fault})

    def room(self, archive: Archive, room: Room) -> None:
        """Say once that the disk will be full, long before it is, or that the journal's log grows."""
        if room.is_low and not self._low:
            self._say(
                f"{archive.root}: {room.free >> 20} MB are free on its disk, {room.percent} %: make room soon"
            )
        self._low = room.is_low
        log_bytes = archive.journal.log_bytes()
        if log_bytes > _LARGE_LOG_BYTES and not self._large:
            self._say(
                f"{archive.journal.path}-wal has {log_bytes >> 20} MB and grows: some "
                "program has been reading the journal since long ago; end it"
            )
        self._large = log_bytes > _LARGE_LOG_BYTES
