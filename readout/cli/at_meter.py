"""What commands at a meter share: its line, who it is, the question, the ledger's line."""

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.output import say, tell, tell_json
from readout.errors import FellShort, NothingTrusted, PortError, WrongUse

if TYPE_CHECKING:
    from readout.bus.exchange import Line
    from readout.bus.outcome import Status
    from readout.clock import Clock
    from readout.daemon.points import PointToRecord
    from readout.meter.asking import Meter
    from readout.poll.introduction import Introduction
    from storage.logbook.entering import Entered

PointFile = Annotated[Path, typer.Argument(metavar="POINT", help="The point file (YAML).")]
IntoArchive = Annotated[
    Path, typer.Option("--archive", metavar="DIR", help="The archive whose ledger keeps what was done.")
]
Yes = Annotated[bool, typer.Option("--yes", help="Do it without asking.")]


@dataclass(frozen=True)
class AtMeter:
    """A point's meter on its open line."""

    point: "PointToRecord"
    line: "Line"
    meter: "Meter"
    clock: "Clock"

    def introduced(self) -> "Introduction":
        """What the meter tells of itself; raises where it tells nothing, or is not the point's."""
        from readout.poll.introduction import introduce

        point = self.point
        told = introduce(
            self.line, point.map, point.format, point.unit_address, point.polled.manners, self.clock
        )
        raise_untrusted(told.status, told.text)
        refuse_another(point, told)
        return told

    def serial_number(self, told: "Introduction") -> str | None:
        """As the meter tells it, else as the point file says."""
        serial = told.meter.get("serial_number")
        return self.point.point.meter.serial_number if serial is None else str(serial)


@contextmanager
def at_meter(point: "PointToRecord", trace: Path | None) -> Iterator[AtMeter]:
    """Open the point's line; PortError where it is not to be had."""
    from readout.bus.trace import Trace
    from readout.clock import SystemClock
    from readout.daemon.connect import connector
    from readout.meter.asking import Meter

    clock = SystemClock()
    kept = Trace(trace, clock) if trace else None
    try:
        line = connector(clock, kept)([point])
        try:
            meter = Meter(line, point.unit_address, point.polled.manners, point.map.wire)
            yield AtMeter(point, line, meter, clock)
        finally:
            line.close()
    finally:
        if kept:
            kept.close()


def refuse_another(point: "PointToRecord", told: "Introduction") -> None:
    """WrongUse where another meter answers than the point file says."""
    from readout.meter.differences import is_another

    if is_another(point.point, told.meter):
        raise WrongUse(
            f"{point.name}: ANOTHER METER answers: serial number {told.meter['serial_number']} instead of "
            f"{point.point.meter.serial_number}. Nothing was written. If the meter was exchanged, write its "
            "serial number into the point file."
        )


def raise_untrusted(status: "Status", text: str) -> None:
    """Raise for a status in which nothing came that could be trusted; `ok` and `partial` pass."""
    from readout.bus.outcome import Status

    if status is Status.PORT_LOST:
        raise PortError("lost", text)
    if status in (Status.DAMAGED_REPLY, Status.WRONG_REPLY):
        raise NothingTrusted(text)
    if status in (Status.NO_REPLY, Status.EXCEPTION):
        raise FellShort(text)


def asked(question: str) -> str:
    """What the person types; WrongUse where nobody is there to answer."""
    sys.stderr.write(f"{question} ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise WrongUse("nobody answered, so nothing was written; in a script, give --yes")
    return line.strip()


def agreed(question: str) -> bool:
    """Whether the person says yes; says so where not."""
    if asked(f"{question} [y/N]").lower() in ("y", "yes"):
        return True
    say("nothing was written")
    return False


def ready_archive(archive: Path) -> None:
    """An archive whose ledger can take the line, before the meter is touched; made where none is."""
    from storage.archive import Archive, is_archive

    if not is_archive(archive):
        Archive.open(archive).close()


def kept_in_ledger(archive: Path, content: Mapping[str, Any]) -> "Entered":
    """The line of the ledger that tells what was done to the meter."""
    from storage.ledger import Kind
    from storage.logbook.entering import enter

    return enter(archive, Kind.SETTING, content)


def tell_done(
    archive: Path, document: Mapping[str, Any], text: str, entered: "Entered | None", *, as_json: bool
) -> int:
    """The result and where it is kept; the exit status as far as the ledger goes."""
    line = None if entered is None else entered.line
    if as_json:
        ledger = None if line is None else {"n": line.n, "hash": line.hash, "time": line.time}
        tell_json({**document, "ledger": ledger})
    else:
        tell(text)
        if line is not None:
            tell(f"{archive}: line {line.n} of the ledger")
    if entered is not None and line is None:
        say(f"{archive}: the recorder has not taken the line in yet; it is kept, and will be taken in")
        return 1
    return 0
