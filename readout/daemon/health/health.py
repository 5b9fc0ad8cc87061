"""How a recording stands, as of one moment, asked from beside it: nothing here needs the recorder's help.

Coverage is the review's: seconds with a value of the point's flow (of its first reading where it has none)
over the seconds that passed, gaps named by their cause. Of what is older than a day only the files' footers
and statuses are read, so a year costs little more than a month.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from heapq import merge
from pathlib import Path

from readout.clock import ms_of
from readout.daemon.health.growth import full_in_s
from readout.daemon.health.meter_memory import MeterMemory, meter_memory
from readout.daemon.health.other_meter import OtherMeter, other_meter
from readout.daemon.health.requests import RequestHealth, request_health
from readout.daemon.health.stretches import Account, Look, Rows, Stretch, added_up, rows_of, stretches_of
from readout.review.about.installation import LIVE, MEMORY, Installation, from_file, from_record
from readout.review.about.logbook import LATE_REPLIES, book_of
from readout.sealing.record import Record
from readout.sealing.table import table_of
from storage import lock
from storage.archive import ArchiveReader, Held
from storage.archive.layout import JOURNAL_FILE
from storage.journal import Row
from storage.ledger import Kind, Line, Reading
from storage.reserve import Room, room_on

Spans = Sequence[tuple[int, int]]

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
#: A row is on its way this long [ms] after its round was due: the round itself, and the journal's commit.
ON_ITS_WAY_MS = 5000
#: So many intervals without a row, and a running recorder no longer looks as if it recorded.
OVERDUE_ROUNDS = 3
#: Statuses of rounds in which nothing went wrong on the line.
_NO_ERROR = frozenset({"ok", "skipped"})
_NOTHING = Held([], [], [])


@dataclass(frozen=True, slots=True)
class Shares:
    """Measured share of the time, 0 to 1: since the first row, in the last hour, in the last day."""

    start: float
    hour: float
    day: float


@dataclass(frozen=True, slots=True)
class LineErrors:
    """Rounds that went wrong on the line by how, and late replies: since the first row, in the last day.

    A kind is a row's status; `late replies` are values all the same, counted by the ledger up to the last
    sealing.
    """

    start: Mapping[str, int]
    day: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class PointHealth:
    """One point. `missing` counts rounds without a value by cause, since the first row, `missing_hour` in the
    last hour.

    `last_ms` is when the last row was due [ms since 1970 UTC], `age_ms` how long ago that was.
    `worst_reply_ms`: longest time from due to the end of the reply in the last hour; None without replies.
    `late_replies`: replies after the map's `reply_within`, from the first start to the last sealing.
    `clock_day`: rows of the last day by the quality of the computer's clock. `is_timed` is False where the
    last row has no time yet: status and clock are its, `last_ms` is of the last that has one, `first_ms`
    of the first. `requests` has every single one, whether or not asking again made it good. `is_asked` is
    False where the recorder that runs was not asked to record the point.
    """

    last_ms: int | None
    age_ms: int | None
    interval_ms: int
    status: str | None
    clock: str | None
    shares: Shares
    missing: Mapping[str, int]
    missing_hour: Mapping[str, int]
    worst_reply_ms: int | None
    late_replies: int
    line_errors: LineErrors
    clock_day: Mapping[str, int]
    memory: MeterMemory | None
    is_timed: bool = True
    requests: RequestHealth = field(default_factory=RequestHealth)
    other_meter: OtherMeter | None = None
    first_ms: int | None = None
    is_asked: bool = True

    @property
    def is_overdue(self) -> bool:
        """Whether rows have stopped coming."""
        return self.age_ms is None or self.age_ms > OVERDUE_ROUNDS * self.interval_ms + ON_ITS_WAY_MS


@dataclass(frozen=True, slots=True)
class Health:
    """An archive and its recorder. `recorder` is a process number, None where none runs or can be named.

    `waiting` rows are in the journal and not sealed yet, the oldest due `oldest_ms` ago; `log_bytes` is the
    size of the journal's write-ahead log; `full_in_s` None where nothing grows.
    """

    points: Mapping[str, PointHealth]
    running: bool
    recorder: int | None
    waiting: int
    oldest_ms: int | None
    log_bytes: int
    room: Room
    full_in_s: float | None
    ledger_faults: Sequence[str]


def health(root: Path, now_ms: int) -> Health:
    """Ask an archive how it stands at `now_ms` [ms since 1970 UTC].

    Raises ArchiveAbsent, ArchiveDamaged.
    """
    held = (root / JOURNAL_FILE).with_name("lock")
    running = lock.is_held(held)
    recorder = lock.holder(held) if running else None
    return ArchiveReader(root).ask_all(
        lambda ledger, streams: _answer(root, ledger, streams, now_ms, running, recorder)
    )


def _answer(
    root: Path,
    ledger: Reading,
    streams: Mapping[tuple[str, str], Held],
    now_ms: int,
    running: bool,  # noqa: FBT001  (an observation handed on)
    recorder: int | None,
) -> Health:
    live = [point for point, source in streams if source == LIVE]
    runs = [line for line in ledger.lines if line.kind in (Kind.STARTED, Kind.STOPPED)]
    names = {name: None for line in runs if line.kind == Kind.STARTED for name in _points(line)}
    # None: no recorder runs, or it has not begun yet.
    asked = _points(runs[-1]) if running and runs and runs[-1].kind == Kind.STARTED else None
    waiting = [row for (_, source), one in streams.items() if source == LIVE
               for _, rows in one.waiting for row in rows]  # fmt: skip
    told = _by_point(ledger)
    log = root / f"{JOURNAL_FILE}-wal"
    room = room_on(root)
    return Health(
        points={
            name: replace(
                _Point(root, name, told(name), streams, now_ms).health(running_now=running),
                is_asked=asked is None or name in asked,
            )
            for name in [*names, *(point for point in live if point not in names)]
        },
        running=running,
        recorder=recorder,
        waiting=len(waiting),
        oldest_ms=max((max(0, now_ms - row.due) for row in waiting if row.is_timed), default=None),
        log_bytes=log.stat().st_size if log.exists() else 0,
        room=room,
        full_in_s=full_in_s(root, [file for one in streams.values() for file in one.files], room, now_ms),
        ledger_faults=ledger.faults,
    )


def _by_point(ledger: Reading) -> Callable[[str], Reading]:
    """What the ledger says of a point, and of none: so that many points do not read all of it each."""
    of: dict[str | None, list[Line]] = defaultdict(list)
    for line in ledger.lines:
        point = line.content.get("point")
        of[point if isinstance(point, str) else None].append(line)

    def told(name: str) -> Reading:
        return replace(ledger, lines=tuple(merge(of[None], of[name], key=lambda line: line.n)))

    return told


def _points(line: Line) -> list[str]:
    told = line.content.get("points")
    return list(told) if isinstance(told, dict) else []


class _Point:
    """One point of an archive, from the ledger and what is held."""

    def __init__(
        self, root: Path, name: str, ledger: Reading, streams: Mapping[tuple[str, str], Held], now_ms: int
    ) -> None:
        self._root, self._name, self._ledger, self._now_ms = root, name, ledger, now_ms
        self._live = streams.get((name, LIVE), _NOTHING)
        self._memory = streams.get((name, MEMORY), _NOTHING)
        self._book = book_of(ledger, name)

    def health(self, *, running_now: bool) -> PointHealth:
        """How it stands."""
        installation = self._installation()
        memory = meter_memory(self._root, installation, self._memory.files, self._ledger.lines)
        newest = self._live.waiting[-1][1][-1] if self._live.waiting else None
        ends = [ms_of(file.last) for file in self._live.files if file.last is not None]
        ends += [row.due for _, rows in self._live.waiting for row in rows if row.is_timed]
        if installation is None or not ends:
            return self._without_times(newest, memory)
        recent_ms = min(max(ends), self._now_ms) - DAY_MS - HOUR_MS
        rows, whole = self._rows(_flow(installation), recent_ms)
        last = [one for one in rows if len(one.due)][-1]
        interval = last.interval_ms
        start, end = min(one.first_ms for one in whole), max(one.end_ms for one in whole)
        # What is on its way is not missing yet; a recorder that hangs is seen by the age of its last row.
        until = end if self._now_ms - end <= interval + ON_ITS_WAY_MS else self._now_ms
        ran = self._ran(running_now=running_now)
        total = added_up(whole, ran, start, until)
        hour, day = (_lately(rows, ran, start, until, span) for span in (HOUR_MS, DAY_MS))
        last_ms, late = int(last.due[-1]), self._book.late_replies
        return PointHealth(
            last_ms=last_ms,
            age_ms=max(0, self._now_ms - last_ms),
            interval_ms=interval,
            status=last.status.last if newest is None else newest.status,
            clock=last.clock.last if newest is None else newest.clock,
            shares=Shares(total.share, hour.share, day.share),
            missing=total.rounds(interval),
            missing_hour=hour.rounds(interval),
            other_meter=other_meter(self._ledger.lines, self._name),
            first_ms=start,
            worst_reply_ms=_slowest_ms(rows, self._now_ms - HOUR_MS),
            late_replies=late,
            line_errors=LineErrors(_errors(total, late), _errors(day, self._late_since(until - DAY_MS))),
            clock_day=_clocks(rows, until - DAY_MS, until),
            memory=memory,
            is_timed=newest is None or newest.is_timed,
            requests=self._requests(until - DAY_MS),
        )

    def _without_times(self, newest: Row | None, memory: MeterMemory | None) -> PointHealth:
        """Of a point without rows, or whose rows all came before the computer's clock was set."""
        status, clock = (None, None) if newest is None else (newest.status, newest.clock)
        return PointHealth(
            None, None, 0, status, clock, Shares(0, 0, 0), {}, {}, None, self._book.late_replies,
            LineErrors({}, {}), {}, memory, newest is None or newest.is_timed,
            requests=self._requests(self._now_ms - DAY_MS),
        )  # fmt: skip

    def _rows(self, flow: str | None, recent_ms: int) -> tuple[list[Rows], list[Stretch]]:
        """The rows of files that reach beyond `recent_ms`, with the journal's; and what all files cover."""
        recent = [
            file for file in self._live.files if file.last is not None and ms_of(file.last) >= recent_ms
        ]
        old = [file for file in self._live.files if file.rows and file not in recent]
        look = Look(self._root, flow)
        rows = [run for file in recent for run in look.rows(file)]
        rows += [_waiting(plan, waiting, flow) for plan, waiting in self._live.waiting]
        return rows, [*look.stretches(old), *stretches_of(rows)]

    def _installation(self) -> Installation | None:
        """What is known of the point by its latest rows; None where it has none."""
        if self._live.waiting:
            return from_record(Record.from_text(self._live.waiting[-1][0]))
        files = [file for file in self._live.files if file.rows]
        return from_file(self._root / files[-1].file, self._name, LIVE) if files else None

    def _ran(self, *, running_now: bool) -> Spans:
        """When a recorder ran, the one that runs now included, if it was asked for the point."""
        spans = list(self._book.ran)
        ends = [line for line in self._ledger.lines if line.kind in (Kind.STARTED, Kind.STOPPED)]
        if running_now and ends and ends[-1].kind == Kind.STARTED and self._name in _points(ends[-1]):
            spans.append((ms_of(ends[-1].time), self._now_ms))
        return spans

    def _requests(self, day_ms: int) -> RequestHealth:
        return request_health(self._book.requests, self._ledger.lines, self._name, day_ms)

    def _late_since(self, since_ms: int) -> int:
        """Late replies that the ledger tells of from an instant on."""
        found = 0
        for line in self._ledger.lines:
            told = line.content
            if line.kind == Kind.EVENT and told.get("what") == LATE_REPLIES:
                count = told.get("count")
                if told.get("point") == self._name and isinstance(count, int):
                    found += count if ms_of(str(told.get("at", line.time))) >= since_ms else 0
        return found


def _flow(installation: Installation) -> str | None:
    """The column whose values count: the flow, else the first reading that is a number."""
    flow = installation.flow
    return flow.name if flow is not None else next(iter(installation.readings), None)


def _waiting(plan: str, waiting: Sequence[Row], flow: str | None) -> Rows:
    record = Record.from_text(plan)
    return rows_of(table_of(record, waiting), flow, int(record.plan.get("every_ms") or 1000))


def _lately(rows: Sequence[Rows], ran: Spans, start: int, until: int, span_ms: int) -> Account:
    """The last `span_ms`, or the time since the first row where that is less."""
    since = max(start, until - span_ms)
    return added_up(stretches_of(one.between(since, until) for one in rows), ran, since, until)


def _slowest_ms(rows: Sequence[Rows], since_ms: int) -> int | None:
    """The longest time from due to the end of a reply since an instant; None without replies."""
    slowest = (one.slowest_ms(since_ms) for one in rows)
    return max((found for found in slowest if found is not None), default=None)


def _clocks(rows: Sequence[Rows], since_ms: int, until_ms: int) -> Counter[str]:
    """How many rows of a span have which quality of the computer's clock."""
    found = Counter[str]()
    for one in rows:
        found.update(one.between(since_ms, until_ms).clock.counted())
    return found


def _errors(account: Account, late: int) -> dict[str, int]:
    found = {word: rounds for word, rounds in sorted(account.statuses.items()) if word not in _NO_ERROR}
    return {**found, LATE_REPLIES: late} if late else found
