"""The demo's fortnight: two weeks of the invented bottling hall, recorded in simulated time.

Rows go through the journal and are sealed as a recorder's are, a day at a time, and the ledger has the
simulated moments. What is true is known to the simulator alone; it is told beside the review.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from readout.cli.progress import counting
from storage.ledger import Kind

if TYPE_CHECKING:
    from decimal import Decimal

    from readout.daemon.points import PointToRecord
    from readout.sealing.record import Record
    from simulators.fortnight import Rounds
    from storage.archive import Archive
    from storage.journal import Row

#: One round so many seconds.
EVERY_S = 5.0
#: A reply is complete so long after its round was due [ms].
_REPLY_MS = 38


@dataclass(frozen=True, slots=True)
class _Entry:
    """A line of the log book, written at `moment` [s since 1970]."""

    moment: float
    kind: Kind
    content: Mapping[str, str]


def _note(at: str, text: str) -> _Entry:
    return _Entry(_moment(at), Kind.NOTE, {"at": at, "text": text})


def _mark(begin: str, end: str, name: str) -> _Entry:
    return _Entry(_moment(end), Kind.MARK, {"name": name, "from": begin, "until": end})


def _moment(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


_ENTRIES = (
    _note("2026-05-11T08:00:00.000Z", "probe at the centre of the pipe, checked against the mark"),
    _note("2026-05-14T10:26:00.000Z", "meter was without supply; a fuse in the cabinet, replaced"),
    _note("2026-05-17T12:02:00.000Z", "compressors were stopped for service, pressure is back"),
    _note("2026-05-19T12:46:00.000Z", "the computer was moved to another socket"),
    _mark("2026-05-20T09:30:00.000Z", "2026-05-20T09:50:00.000Z", "tanker blown out"),
)


def write_fortnight(point_file: Path, root: Path, *, every_s: float = EVERY_S) -> int:
    """Record the fortnight into a new archive; returns how many rows it has.

    `every_s` divides a minute. The point file's map needs no meter: its registers are worked out.
    """
    from readout.daemon.points import load_points
    from simulators.fortnight import END, rounds
    from storage.archive import Archive

    (point,) = load_points([point_file], round(every_s * 1000))
    clock = _Clock()
    with Archive.open(root, utc=clock.utc) as archive:
        writer = _Writer(archive, point, clock)
        total = round(sum(len(run.due) for run in rounds(every_s)))
        with counting("recording two weeks", total, total / 50_000) as show:
            for run in rounds(every_s):
                writer.start(float(run.due[0]))
                for day, mine in run.days:
                    writer.keep(mine)
                    show(writer.written, f"{day}")
                writer.stop(float(run.due[-1]) + every_s)
        writer.tell_until(END)
    return writer.written


def known() -> list[str]:
    """What is true of the fortnight, as lines to be read beside its review, in the job file's units."""
    from datetime import UTC
    from zoneinfo import ZoneInfo

    from simulators.fortnight import plant, truth

    found = truth()
    leak = datetime.fromtimestamp(found.leak_begins, UTC).astimezone(ZoneInfo(plant().time_zone))
    return [
        f"measured {found.measured_s / found.elapsed_s:.3%} of {found.elapsed_s:.0f} s; the meter was silent"
        f" for {found.silent_s:g} s, the recorder not running for {found.not_recording_s:g} s",
        f"total of the measured time {found.total_m3:.1f} m³",
        f"out-of-hours demand {found.out_of_hours_m3_h / 60:.4f} m³/min over {found.out_of_hours_s:g} s",
        f"a leak of {found.leak_m3_h / 60:g} m³/min begins {leak:%Y-%m-%d %H:%M %z} and stays",
    ]


class _Clock:
    """The simulated time of whoever writes."""

    def __init__(self) -> None:
        self.now = 0.0

    def utc(self) -> float:
        """Seconds since 1970."""
        return self.now


class _Writer:
    """Keeps rounds a day at a time, and tells the ledger what a recorder and its people tell it."""

    def __init__(self, archive: "Archive", point: "PointToRecord", clock: _Clock) -> None:
        self._archive, self._point, self._clock = archive, point, clock
        self._record = _record(point)
        self._plan = archive.journal.add_plan(self._record.to_text())
        self._entries = sorted(_ENTRIES, key=lambda one: one.moment)
        self.written = 0

    def start(self, utc: float) -> None:
        """The recorder begins."""
        self._clock.now = utc
        about = {"every_ms": self._point.every_ms, "map_sha256": self._point.map.sha256}
        self._archive.ledger.append(Kind.STARTED, {"points": {self._point.name: about}})

    def stop(self, utc: float) -> None:
        """The recorder ends in order."""
        self.tell_until(utc)
        self._clock.now = utc
        self._archive.ledger.append(Kind.STOPPED, {})

    def tell_until(self, utc: float) -> None:
        """Notes and marks up to then."""
        while self._entries and self._entries[0].moment <= utc:
            one = self._entries.pop(0)
            self._clock.now = one.moment
            self._archive.ledger.append(one.kind, {"point": self._point.name, **one.content})

    def keep(self, asked: "Rounds") -> None:
        """Into the journal, and sealed."""
        from readout.sealing.seal import seal_journal
        from storage.journal import ClockNow

        end = float(asked.due[-1]) + self._point.every_ms / 1000
        self.tell_until(end)
        self._archive.journal.append(self._rows(asked))
        self._clock.now = end
        seal_journal(self._archive, ClockNow("", round(end * 1000), 0, "synchronised"))
        self.written += len(asked.due)

    def _rows(self, asked: "Rounds") -> "Iterator[Row]":
        import numpy as np

        from readout.sealing.record import pack
        from simulators.fortnight import registers
        from storage.journal import Row

        held = registers(self._point.map, asked.due)
        words = np.column_stack([held[column] for column in self._record.columns]).astype("<u2")
        nothing, none = pack([None] * words.shape[1])
        _, all_ = pack([0] * words.shape[1])
        due_ms = np.rint(asked.due * 1000).astype(np.int64).tolist()
        for index, (due, silent) in enumerate(zip(due_ms, asked.silent.tolist(), strict=True)):
            yield Row(
                point=self._point.name,
                source="live",
                plan=self._plan,
                due=due,
                time=None if silent else due + _REPLY_MS,
                clock="synchronised",
                status="no reply" if silent else "ok",
                words=nothing if silent else words[index].tobytes(),
                present=none if silent else all_,
                sequence=self.written + index + 1,
            )


def _record(point: "PointToRecord") -> "Record":
    """What is kept with the rows, as the simulated meter would tell of itself."""
    from protocols.register_map.model import Kind as NumberKind
    from readout.plan.plan import condition_name
    from readout.poll.introduction import Introduction
    from simulators.device.defaults import setting

    named = {value.name: value for value in point.map.settings}
    named |= {condition_name(value): value for value in point.map.told_conditions()}
    settings = {
        name: {"value": _plain(setting(value)), "unit": value.unit, "flag": None}
        for name, value in named.items()
        if value.number.kind is not NumberKind.UNIX_TIME
    }
    serial = point.point.meter.serial_number
    return point.record(Introduction({} if serial is None else {"serial_number": serial}, settings, 0.0))


def _plain(told: "Decimal | int | str") -> float | int | str:
    """As JSON has it."""
    return told if isinstance(told, (int, str)) else float(told)
