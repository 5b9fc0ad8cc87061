"""`memory fetch`: everything the meter remembers, into the archive, once."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.options import AsJson, TraceFile, duration_words, milliseconds
from readout.cli.output import counted, say, tell_json
from readout.errors import FellShort, NothingTrusted, PortError, WrongUse

if TYPE_CHECKING:
    from readout.cli.memory_meter import MemoryMeter
    from readout.cli.memory_visit import Visit

#: Missing, changed and damaged records that are told one by one.
MOST_LISTED = 5
#: Of a meter's clock that was seen by a computer whose own clock was never set.
UNSET_WORDS = "this computer's own clock is not set, and the meter's could not be held against it"

PointFile = Annotated[Path, typer.Argument(metavar="POINT", help="The point file (YAML).")]


def memory_fetch(
    point: PointFile,
    *,
    archive: Annotated[
        Path, typer.Option(metavar="DIR", help="The archive's folder; made where it is absent.")
    ],
    verify: Annotated[
        str, typer.Option(metavar="last|all", help="Known records to read again and compare.")
    ] = "last",
    live: Annotated[
        str, typer.Option(metavar="DURATION|off", help="How often to show a live reading meanwhile.")
    ] = "10s",
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Retrieve all records of the meter's memory that the archive does not have yet.

    Each window of records is kept before the next is asked for: stopped, killed or unplugged, the next call
    goes on where this one was. Ends with a retrieval record, which the ledger keeps too. Exit status 1 where
    something is missing, changed or could not be read, 130 after Ctrl-C; what came until then is sealed.
    """
    import signal

    from readout.cli.decoded_otherwise import warn_of_another_map
    from readout.cli.memory_meter import met, point_with_memory
    from readout.cli.memory_progress import showing
    from readout.cli.memory_visit import Visitor
    from readout.clock import SystemClock
    from readout.measuring_point.comparison.telling import findings
    from readout.retrieve.retrieval import Verify
    from storage.archive import Archive

    if verify not in [one.value for one in Verify]:
        raise WrongUse(f"--verify {verify}: write `last` (the last record of each session) or `all`")
    live_s = None if live == "off" else milliseconds(live, "--live") / 1000
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    clock = SystemClock()
    loaded = point_with_memory(point)
    warn_of_another_map(archive, [loaded.point], "memory")
    with (
        Archive.open(archive, utc=clock.utc) as kept,
        met(loaded, clock, trace) as meter,
        showing(meter.point.name) as (speak, show, reading),
    ):
        about, told = meter.point, meter.told.settings
        for found in findings(about.point, about.map, told, meter.clock_offset_s, meter.interval_ms):
            speak(f"{about.name}: {found}")
        visit = Visitor(kept, meter, clock, stop, Verify(verify), live_s, speak, show, reading).visit()
    _tell(visit, meter, archive)
    if as_json:
        tell_json(visit.document)
    return _status(visit)


def _status(visit: "Visit") -> int:
    """3 before 4 before 1, as contracted; 130 where somebody stopped it."""
    retrieved = visit.retrieved
    if visit.lost:
        return PortError.status
    if retrieved.interrupted:
        return 130
    if not retrieved.heard and retrieved.damaged:
        return NothingTrusted.status
    return 0 if retrieved.complete else FellShort.status


def _tell(visit: "Visit", meter: "MemoryMeter", archive: Path) -> None:
    """The retrieval record for a person."""
    name, done, found = meter.point.name, visit.document, visit.retrieved
    if visit.lost:
        say(f"{name}: the port was lost. {visit.lost} Run it again: it goes on from here.")
    elif found.interrupted:
        say(f"{name}: stopped. Run it again: it goes on from here.")
    elif found.ended is not None:
        refused = f" {found.refused}" if found.refused and found.refused not in found.ended.text else ""
        say(f"{name}: ended early: {found.ended.text}{refused}")
    elif not done["expected"]:
        say(f"{name}: the meter's memory is empty")
    say(
        f"{name}: {counted(done['expected'], 'record')} in the meter: {done['records_new']} new, "
        f"{done['records_known']} archived before, {sum(gap.count for gap in found.gaps)} missing"
    )
    for sentence in _doubts(visit):
        say(f"{name}: {sentence}")
    if done["first"] is not None:
        zone = meter.point.time_zone
        say(f"{name}: from {_in_zone(done['first'], zone)} to {_in_zone(done['last'], zone)} ({zone})")
    if meter.clock_offset_s is not None:
        say(f"{name}: {clock_words(meter.clock_offset_s)}")
    elif meter.meter_now_ms is not None:
        say(
            f"{name}: {UNSET_WORDS}, so the records have their times as the meter's clock tells them. Set "
            "the computer's clock before the next visit"
        )
    say(
        f"{archive}: {counted(len(visit.sealing.files), 'file')} sealed; ledger line {visit.ledger_n}, "
        f"hash {visit.ledger_hash}"
    )


def _doubts(visit: "Visit") -> "Iterator[str]":
    """What is missing, changed or flagged, a sentence each."""
    found = visit.retrieved
    for gap in found.gaps[:MOST_LISTED]:
        which = f"record {gap.first}" if gap.count == 1 else f"records {gap.first} to {gap.last}"
        yield f"missing: {which} of session {gap.session}: {gap.cause}. {gap.text}".rstrip()
    for changed in found.changed[:MOST_LISTED]:
        yield (
            f"changed: record {changed.record} of session {changed.session} reads {_hex(changed.read)} now, "
            f"kept as {_hex(changed.kept)}; the kept one stays"
        )
    for session, record in found.unfitting[:MOST_LISTED]:
        yield f"damaged in the meter: the check of record {record} of session {session} does not fit it"
    more = sum(max(0, len(one) - MOST_LISTED) for one in (found.gaps, found.changed, found.unfitting))
    if more:
        yield f"and {more} more such; the ledger's line has the gaps"
    if found.unfinished:
        yield "the record of the running interval is left for the next time"
    if found.dummies:
        yield f"{counted(found.dummies, 'empty place')} left out"
    if visit.sealing.untimed:
        yield f"{counted(visit.sealing.untimed, 'record')} without a time that can be known; see `time_flag`"


def _hex(words: tuple[int, ...]) -> str:
    return " ".join(f"{word:04X}" for word in words)


def _in_zone(iso: str, zone: str) -> str:
    """An ISO time as the site's clocks showed it."""
    from datetime import datetime
    from zoneinfo import ZoneInfo

    return datetime.fromisoformat(iso).astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M:%S")


def clock_words(offset_s: float) -> str:
    """`the meter's clock is 3.2 s ahead of the computer's`."""
    if abs(offset_s) < 1:
        return "the meter's clock agrees with the computer's to the second"
    how = "ahead of" if offset_s > 0 else "behind"
    return f"the meter's clock is {duration_words(round(abs(offset_s)) * 1000)} {how} the computer's"
