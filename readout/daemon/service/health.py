"""How a recording stands, as of one moment, asked from beside it: nothing here needs the recorder's help.

Coverage is the review's: seconds with a value of the point's flow (of its first reading where it has none)
over the seconds that passed, gaps named by their cause.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from readout.review.about.installation import LIVE
from readout.review.about.logbook import log_book
from readout.review.figures.coverage import NO_ROW, NOT_RUNNING, coverage
from readout.review.rows.measure import Measured, measure
from readout.sealing.record import Record
from readout.sealing.table import table_of
from storage import lock
from storage.archive import ArchiveReader, SealedFile
from storage.archive.layout import JOURNAL_FILE
from storage.ledger import LEDGER, Kind, Line, read_file
from storage.reserve import Room, room_on

if TYPE_CHECKING:
    import pyarrow as pa

Spans = Sequence[tuple[int, int]]

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
#: A row is on its way this long [ms] after its round was due: the round itself, and the journal's commit.
ON_ITS_WAY_MS = 5000
#: So many intervals without a row, and a running recorder no longer looks as if it recorded.
OVERDUE_ROUNDS = 3
#: What an archive grows by is judged from files of this many days.
_GROWTH_DAYS = 7


@dataclass(frozen=True, slots=True)
class Shares:
    """Measured share of the time, 0 to 1: since the first row, in the last hour, in the last day."""

    start: float
    hour: float
    day: float


@dataclass(frozen=True, slots=True)
class PointHealth:
    """One point. `missing` counts rounds without a value by cause, since the first row.

    `last_ms` is when the last row was due [ms since 1970 UTC], `age_ms` how long ago that was.
    `worst_reply_ms`: longest time from due to the end of the reply in the last hour; None without replies.
    `late_replies`: replies after the map's `reply_within`, from the first start to the last sealing.
    """

    last_ms: int | None
    age_ms: int | None
    interval_ms: int
    status: str | None
    clock: str | None
    shares: Shares
    missing: Mapping[str, int]
    worst_reply_ms: int | None
    late_replies: int = 0

    @property
    def is_overdue(self) -> bool:
        """Whether rows have stopped coming."""
        return self.age_ms is None or self.age_ms > OVERDUE_ROUNDS * self.interval_ms + ON_ITS_WAY_MS


@dataclass(frozen=True, slots=True)
class Health:
    """An archive and its recorder. `recorder` is a process number, None where none runs or can be named.

    `log_bytes` is the size of the journal's write-ahead log; `full_in_s` None where nothing grows.
    """

    points: Mapping[str, PointHealth]
    running: bool
    recorder: int | None
    waiting: int  # rows in the journal, not sealed yet
    log_bytes: int
    room: Room
    full_in_s: float | None
    ledger_faults: Sequence[str]


def health(root: Path, now_ms: int) -> Health:
    """Ask an archive how it stands at `now_ms` [ms since 1970 UTC].

    Raises ArchiveAbsent, ArchiveDamaged.
    """
    reader = ArchiveReader(root)
    ledger = read_file(root / LEDGER)
    journal = root / JOURNAL_FILE
    held = journal.with_name("lock")
    running = lock.is_held(held)
    streams = [point for point, source in reader.streams() if source == LIVE]
    names = {name: None for line in ledger.lines if line.kind == Kind.STARTED for name in _points(line)}
    waiting = {p: sum(len(rows) for _, rows in reader.waiting_rows(p, LIVE)) for p in streams}
    log = journal.with_name(journal.name + "-wal")
    room = room_on(root)
    return Health(
        points={
            name: replace(
                _point(reader, name, _ran(root, name, ledger.lines, now_ms if running else None), now_ms),
                late_replies=log_book(root, name).late_replies,
            )
            for name in [*names, *(point for point in streams if point not in names)]
        },
        running=running,
        recorder=lock.holder(held) if running else None,
        waiting=sum(waiting.values()),
        log_bytes=log.stat().st_size if log.exists() else 0,
        room=room,
        full_in_s=full_in_s(reader.files(), room, now_ms),
        ledger_faults=ledger.faults,
    )


def _points(line: Line) -> list[str]:
    told = line.content.get("points")
    return list(told) if isinstance(told, dict) else []


def _ran(root: Path, name: str, lines: Sequence[Line], until: int | None) -> Spans:
    """When a recorder ran; with `until`, the one that runs now too, if it was asked for the point."""
    spans = list(log_book(root, name).ran)
    ends = [line for line in lines if line.kind in (Kind.STARTED, Kind.STOPPED)]
    if until is not None and ends and ends[-1].kind == Kind.STARTED and name in _points(ends[-1]):
        spans.append((_ms(ends[-1].time), until))
    return spans


def _ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def _point(reader: ArchiveReader, name: str, ran: Spans, now_ms: int) -> PointHealth:
    whole = measure(reader.root, name, LIVE)
    if whole is None:
        return PointHealth(None, None, 0, None, None, Shares(0, 0, 0), {}, None)
    rows = reader.read_rows(
        name, LIVE, decode=lambda plan, waiting: table_of(Record.from_text(plan), waiting),
        columns=("sequence", "due", "time", "clock", "status"),
        since=max(0, min(now_ms, int(whole.minutes.last[-1])) - HOUR_MS),
    )  # fmt: skip
    last = rows.sort_by("sequence").slice(max(0, rows.num_rows - 1)).to_pylist()[-1] if rows.num_rows else {}
    last_ms = round(last["due"].timestamp() * 1000) if last else None
    interval = whole.interval_ms
    end = int(whole.minutes.last[-1])
    # What is on its way is not missing yet; a recorder that hangs is seen by the age of its last row.
    until = end if now_ms - end <= interval + ON_ITS_WAY_MS else now_ms
    start = int(whole.minutes.first[0])
    share, missing = _covered(whole, ran, start, until)
    return PointHealth(
        last_ms=last_ms,
        age_ms=None if last_ms is None else max(0, now_ms - last_ms),
        interval_ms=interval,
        status=last.get("status"),
        clock=last.get("clock"),
        shares=Shares(share, *(_lately(reader, name, ran, start, until, ms) for ms in (HOUR_MS, DAY_MS))),
        missing={cause: round(seconds * 1000 / interval) for cause, seconds in missing.items()},
        worst_reply_ms=_worst_reply_ms(rows, now_ms - HOUR_MS),
    )


def _lately(reader: ArchiveReader, name: str, ran: Spans, start: int, until: int, span_ms: int) -> float:
    """Share of the last `span_ms`, or of the time since the first row where that is less."""
    since = max(start, until - span_ms)
    lately = measure(reader.root, name, LIVE, since=since, until=until)
    return 0.0 if lately is None else _covered(lately, ran, since, until)[0]


def _covered(measured: Measured, ran: Spans, since: int, until: int) -> tuple[float, Mapping[str, float]]:
    flow = measured.installation.flow
    values = measured.minutes.values
    reading = flow.name if flow is not None and flow.name in values else next(iter(values))
    found = coverage(measured, reading, ran, since=since, until=until)
    return min(1.0, found.share), found.missing_s


def _worst_reply_ms(rows: "pa.Table", since_ms: int) -> int | None:
    """Longest time from due to the end of the reply [ms], of rounds that were answered."""
    took = [
        round((time - due).total_seconds() * 1000)
        for due, time in zip(rows["due"].to_pylist(), rows["time"].to_pylist(), strict=True)
        if due is not None and time is not None and due.timestamp() * 1000 >= since_ms
    ]
    return max(took, default=None)


def full_in_s(files: Sequence[SealedFile], room: Room, now_ms: int) -> float | None:
    """Seconds until the disk is full, by what the files of the last week took; None without growth."""
    since = now_ms - _GROWTH_DAYS * DAY_MS
    lately = [file for file in files if file.first is not None and _ms(file.first) >= since]
    if not lately:
        return None
    began = min(_ms(str(file.first)) for file in lately)
    size = sum(file.bytes for file in lately)
    return room.free * (now_ms - began) / 1000 / size if size and now_ms > began else None


def shortfalls(found: Health, least: float) -> list[str]:
    """What falls short, as sentences; `least` is the share of the last hour that must be covered, 0 to 1."""
    told = [] if found.running else ["no recorder is running: `pipeledger log` starts one"]
    for name, point in found.points.items():
        if point.last_ms is None:
            told.append(f"{name}: no row yet")
            continue
        if found.running and point.is_overdue:
            told.append(f"{name}: no row for {(point.age_ms or 0) / 1000:.0f} s although the recorder runs")
        if point.shares.hour < least:
            share = f"{point.shares.hour:.1%} of the last hour is covered, less than {least:.0%}"
            told.append(f"{name}: {share}{_mostly(point.missing)}")
        if point.clock == "unset":
            told.append(f"{name}: this computer's clock is not set, so rows have no time yet")
    if found.room.is_low:
        told.append(f"{found.room.free >> 20} MB are free on the disk, {found.room.percent} %: make room")
    return told + [f"{LEDGER}: {fault}" for fault in found.ledger_faults]


def _mostly(missing: Mapping[str, int]) -> str:
    causes = {cause: rounds for cause, rounds in missing.items() if cause not in (NOT_RUNNING, NO_ROW)}
    return f"; most rounds fail with: {max(causes, key=lambda cause: causes[cause])}" if causes else ""
