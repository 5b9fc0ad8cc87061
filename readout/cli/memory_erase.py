"""`memory erase`: empty the meter's memory, once a verified archive holds every record of it."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.at_meter import IntoArchive, PointFile, Yes, agreed, asked
from readout.cli.options import AsJson, TraceFile
from readout.cli.output import counted, tell, tell_json
from readout.errors import FellShort, PortError, WrongUse

if TYPE_CHECKING:
    from protocols.log_memory.state import MemoryState
    from readout.cli.memory_meter import MemoryMeter
    from readout.clock import Clock
    from storage.archive import Archive

#: Seconds a meter has to erase, and how often it is looked at.
PATIENCE_S, PAUSE_S = 60.0, 0.5


def memory_erase(
    point: PointFile,
    *,
    archive: IntoArchive,
    serial: Annotated[
        str | None,
        typer.Option(
            "--serial-number", metavar="TEXT", help="The meter's serial number, instead of typing it."
        ),
    ] = None,
    yes: Yes = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Empty the meter's memory. Refused until a verified archive holds every record that is in it.

    The last record of each session is read again and compared, the archive is verified in full, and the
    meter's serial number must be typed: --yes does not replace it, --serial-number does. Exit status 1 where
    it is refused, or the memory is not empty after.
    """
    from readout.cli.memory_meter import met, point_with_memory
    from readout.clock import SystemClock
    from readout.meter.commands import ERASE, command_register
    from readout.meter.wanted import ours
    from storage.archive import Archive, is_archive
    from storage.errors import ArchiveAbsent

    clock = SystemClock()
    loaded = point_with_memory(point)
    ours(loaded.point.point)
    command_register(loaded.memory, ERASE)
    if not is_archive(archive):
        raise ArchiveAbsent(archive, f"{archive} holds no archive, so the meter's records are not in it.")
    with Archive.open(archive, utc=clock.utc) as kept, met(loaded, clock, trace) as at:
        done = _Erasing(at, kept, clock).erase(serial, yes=yes)
    if done is None:
        return 1
    if as_json:
        tell_json(done)
    elif done["changed"]:
        tell(
            f"{at.point.name}: the meter's memory is empty; the {done['old']} records of it are in {archive}"
        )
        tell(f"{archive}: line {done['ledger']['n']} of the ledger")
    else:
        tell(f"{at.point.name}: the meter's memory is empty already; nothing was written")
    return 0


#: Causes of records that the meter itself does not have any more, so that erasing loses nothing of them.
_GONE = ("overwritten before it was read", "numbers start again", "a reply of a queue that moves on was lost")


class _Erasing:
    """One erasing, step by step; nothing is written before every step before it has passed."""

    def __init__(self, at: "MemoryMeter", archive: "Archive", clock: "Clock") -> None:
        self.at = at
        self.archive = archive
        self.clock = clock
        self._lines: list[Any] = []

    def erase(self, typed: str | None, *, yes: bool) -> dict[str, Any] | None:
        """The ledger's line of it, with where it is; None where the person said no."""
        from readout.cli.memory_command import Command, refuse_another_meter
        from readout.meter.commands import ERASE, command_register

        refuse_another_meter(self.at)
        if self.at.serial is None:
            raise WrongUse(
                f"{self._name}: neither the meter nor the point file tells a serial number, so what is "
                "erased could not be told from another meter's. Write serial_number into the point file and "
                "fetch again."
            )
        if typed is not None:
            self._refuse_wrong(typed)
        state = self._idle()
        records = self._records(state)
        if not records:
            return {**self._about(0), "new": 0, "changed": False, "ledger": None}
        self._all_archived(records)
        proof = self._verified()
        if not self._wanted(typed, records, yes=yes):
            return None
        if self._idle() != state:
            raise FellShort(
                f"{self._name}: the memory changed meanwhile, so it was not erased. Fetch it again."
            )
        act = Command(self.at, command_register(self.at.memory, ERASE), self.clock, self._keep)
        about = {**self._about(records), "archive": proof}
        done = act.carry_out(ERASE, about, self._emptied)
        if done["new"]:
            raise FellShort(
                f"{self._name}: {counted(done['new'], 'record')} still in the memory {PATIENCE_S:.0f} s "
                "after it was told to erase; look with `memory list`."
            )
        (line,) = self._lines
        return {**done, "changed": True, "ledger": {"n": line.n, "hash": line.hash, "time": line.time}}

    def _about(self, records: int) -> dict[str, Any]:
        return {"point": self._name, "name": "erase", "serial_number": self.at.serial, "old": records}

    @property
    def _name(self) -> str:
        return self.at.point.name

    def _keep(self, content: dict[str, Any]) -> None:
        from storage.ledger import Kind

        self._lines.append(self.archive.ledger.append(Kind.SETTING, content))

    def _idle(self) -> "MemoryState":
        """What the memory says of itself; FellShort while it records."""
        from readout.cli.memory_list import look

        state = look(self.at, self.clock)
        if state.recording:
            raise FellShort(
                f"{self._name}: the meter is recording, so more would be lost than was read. Stop it "
                "(`memory stop`), fetch it (`memory fetch`), and erase then."
            )
        return state

    def _records(self, state: "MemoryState") -> int:
        sessions = state.all_sessions(self.at.memory)
        if sessions is None:
            raise FellShort(
                f"{self._name}: the meter does not tell how many records it holds, so nobody knows whether "
                "all are archived. Erase it at the meter."
            )
        return sum(one.records for one in sessions)

    def _all_archived(self, records: int) -> None:
        """A retrieval that must find nothing new, and the last record of each session as it is kept."""
        from readout.cli.memory_progress import showing
        from readout.cli.memory_visit import Visitor
        from readout.retrieve.retrieval import Verify

        with showing(self._name) as (speak, show, reading), _stopping() as stop:
            visit = Visitor(
                self.archive, self.at, self.clock, stop, Verify.LAST, None, speak, show, reading
            ).visit()
        found = visit.retrieved
        if visit.lost:
            raise PortError("lost", visit.lost)
        if found.new:
            raise FellShort(
                f"{self._name}: {found.new} of {records} records were not in the archive. They are now, and "
                "the memory was left as it is: run it again to erase."
            )
        missing = sum(gap.count for gap in found.gaps if gap.cause not in _GONE)
        if missing or found.changed or found.ended is not None:
            ended = f" {found.ended.text}" if found.ended is not None else ""
            raise FellShort(
                f"{self._name}: {missing} records could not be had and {len(found.changed)} read otherwise "
                f"than they are kept, so the memory was not erased.{ended} `memory fetch --verify all` tells "
                "which."
            )

    def _verified(self) -> dict[str, Any]:
        """The archive verified in full; what its ledger's end was then."""
        from storage.verify import verify_archive

        found = verify_archive(self.archive.root)
        if found.faults:
            first = found.faults[0]
            raise FellShort(
                f"{self.archive.root}: {counted(len(found.faults), 'fault')}, so the memory was not erased. "
                f"{first.file} {first.fault}. See `archive verify`."
            )
        return {"n": found.ledger.n, "hash": found.ledger.hash}

    def _wanted(self, typed: str | None, records: int, *, yes: bool) -> bool:
        """Whether the person typed this meter's serial number, and says yes."""
        name = self._name
        if typed is None:
            typed = asked(
                f"{name}: {counted(records, 'record')} will be gone from the meter. Type its serial number "
                "to erase:"
            )
        elif not yes and not agreed(f"{name}: erase {counted(records, 'record')} in the meter?"):
            return False
        self._refuse_wrong(typed)
        return True

    def _refuse_wrong(self, typed: str) -> None:
        if typed != self.at.serial:
            raise WrongUse(f"{self._name}: '{typed}' is not this meter's serial number; nothing was erased.")

    def _emptied(self) -> int:
        """Records left once it is empty, or after `PATIENCE_S`."""
        from readout.cli.memory_list import look

        until = self.clock.monotonic() + PATIENCE_S
        while left := self._records(look(self.at, self.clock)):
            if self.clock.monotonic() > until:
                break
            self.clock.sleep_until(self.clock.monotonic() + PAUSE_S)
        return left


@contextmanager
def _stopping() -> Iterator[threading.Event]:
    """Ctrl-C ends a retrieval between two windows, and then the command."""
    stop = threading.Event()
    before = signal.signal(signal.SIGINT, lambda *_: stop.set())
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
    if stop.is_set():
        raise KeyboardInterrupt
