"""What happens to a recorder, from any of its threads: told to the person at once, to the ledger in turn.

Only the main thread writes the ledger. What waits for it is kept in memory while the disk refuses.
"""

from collections import deque
from collections.abc import Callable
from contextlib import suppress
from threading import Lock
from typing import Any

from readout.clock import Clock, iso
from readout.daemon import computer_clock
from readout.daemon.computer_clock import EARLIEST
from readout.daemon.telling.failed_requests import FailedRequests
from readout.daemon.telling.late_replies import LateReplies
from readout.daemon.telling.sparing import Sparing
from storage.archive import Archive
from storage.errors import StorageError
from storage.journal import JournalWriter, WriterState
from storage.ledger import Kind
from storage.reserve import Room

#: Steps noticed by several points within this time [s] and this far alike [s] are one step.
SAME_STEP_S, SAME_STEP_BY_S = 120.0, 0.25
#: A step that is as long as the computer slept [s], to within this, is none: waking sets the clock a little.
_SLEPT_ALIKE_S = 2.0
#: Losses and returns of one port that are told in an hour.
MOST_PORT_CHANGES = 20
#: From here on the journal's log is no longer what a recorder makes of it by itself, 4 MB.
LARGE_LOG_BYTES = 32 << 20


class Happenings:
    """Of one run. `say` takes lines for the person, from any thread."""

    def __init__(self, clock: Clock, say: Callable[[str], None]) -> None:
        self.late = LateReplies()
        self.failed = FailedRequests(clock.monotonic)
        self._clock, self._say = clock, say
        self._pending: deque[tuple[Kind, dict[str, Any]]] = deque()
        self._stepped = (float("-inf"), 0.0)
        self._slept = computer_clock.slept_s()
        self._ports = Sparing(MOST_PORT_CHANGES)
        self._lock, self._refused = Lock(), frozenset[str]()
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
        if (failed := self.failed.event()) is not None:
            self.note(failed)

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

    def port(self, name: str) -> Callable[[str, str], None]:
        """Who is to be told that the line's port is lost, or back: what happened, and a sentence."""

        def tell(what: str, text: str) -> None:
            left = self._ports.left(name, self._clock.monotonic())
            if not left:
                return
            often = " It comes and goes: no more of it is told within this hour." if left == 1 else ""
            self._say(f"{what}: {text}{' It is waited for.' if what == 'port lost' else ''}{often}")
            self.note({"what": what, "text": f"{text}{often}"})

        return tell

    def step(self, seconds: float) -> None:
        """The wall clock was stepped. Every point of every line notices the same step; it is told once.

        A computer that was suspended finds its wall clock ahead of the monotonic one, which stood: that is
        no step, the clock is right, and the rounds due meanwhile were missed.
        """
        now = self._clock.monotonic()
        told_at, told = self._stepped
        if now - told_at < SAME_STEP_S and abs(told - seconds) < SAME_STEP_BY_S:
            return
        self._stepped = (now, seconds)
        slept = computer_clock.slept_s() - self._slept
        self._slept += slept
        if slept > 0 and abs(seconds - slept) < _SLEPT_ALIKE_S:
            self._say(f"the computer slept for {slept:.0f} s; the rounds due meanwhile were missed")
            self.note({"what": "suspended", "seconds": round(slept, 3)})
            return
        utc = self._clock.utc()
        what = "clock set" if utc - seconds < EARLIEST <= utc else "clock step"
        self._say(f"the computer's clock stepped by {seconds:+.3f} s")
        self.note({"what": what, "seconds": round(seconds, 3)})

    def writer(self, state: WriterState) -> None:
        """The disk has begun to refuse rows, or takes them again; from the journal's thread."""
        if state.fault is None:
            lost = "" if state.dropped else "; nothing was lost"
            self._say(f"the disk takes rows again{lost}")
        else:
            self._say(f"{state.fault} Recording goes on in memory.")
        self._disk("journal", state.fault)

    def sealed(self, fault: StorageError | None) -> None:
        """A sealing succeeded, or the disk refused it: told once, its rows stay in the journal."""
        if fault is not None and "sealing" not in self._refused:
            self._say(f"{fault} The rows stay in the journal until the next sealing.")
        self._disk("sealing", None if fault is None else str(fault))

    def _disk(self, what: str, fault: str | None) -> None:
        """Note when the first of the two is refused, and when neither is any more."""
        with self._lock:
            before = bool(self._refused)
            self._refused = self._refused | {what} if fault else self._refused - {what}
            after = bool(self._refused)
        if after and not before:
            self.note({"what": "disk full", "text": fault})
        elif before and not after:
            self.note({"what": "disk free"})

    def room(self, archive: Archive, room: Room) -> None:
        """Say once that the disk will be full, long before it is, or that the journal's log grows."""
        if room.is_low and not self._low:
            self._say(
                f"{archive.root}: {room.free >> 20} MB are free on its disk, {room.percent} %: make room soon"
            )
        self._low = room.is_low
        log_bytes = archive.journal.log_bytes()
        if log_bytes > LARGE_LOG_BYTES and not self._large:
            self._say(
                f"{archive.journal.path}-wal has {log_bytes >> 20} MB and grows: some "
                "program has been reading the journal since long ago; end it"
            )
        self._large = log_bytes > LARGE_LOG_BYTES
