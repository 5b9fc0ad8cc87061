"""`memory list`: the sessions in a meter's memory, how full it is, and what its clock shows."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import AsJson, TraceFile, duration_words
from readout.cli.output import columns, counted, say, tell, tell_json
from readout.errors import FellShort, NothingTrusted

if TYPE_CHECKING:
    from protocols.log_memory.state import MemoryState, Session
    from protocols.register_map.memory_model import LogMemory
    from readout.cli.memory_meter import MemoryMeter
    from readout.clock import Clock


def memory_list(
    point: Annotated[Path, typer.Argument(metavar="POINT", help="The point file (YAML).")],
    *,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Show the sessions in the meter's memory, whether it records, how full it is and when it will be full.

    Only reads. Times are the site's; the meter's clock is compared with the computer's. Exit status 1 where
    another meter answers than the point file says, or where what it tells of its memory cannot be.
    """
    from readout.cli.memory_meter import met, point_with_memory
    from readout.cli.who_answers import another_told
    from readout.clock import SystemClock

    clock = SystemClock()
    with met(point_with_memory(point), clock, trace) as meter:
        state = look(meter, clock)
    shown = _Shown(meter, state, clock.utc())
    another = another_told(meter.point, meter.told, "This is its memory, not that")
    if as_json:
        tell_json(shown.document())
    else:
        for line in shown.sessions():
            tell(line)
        for sentence in shown.sentences():
            say(f"{meter.point.name}: {sentence}")
    if another:
        say(f"{meter.point.name}: {another}")
    return FellShort.status if another or state.unbelievable(meter.memory) else 0


def look(meter: "MemoryMeter", clock: "Clock") -> "MemoryState":
    """What the memory says of itself; FellShort or NothingTrusted where it does not."""
    import threading

    from protocols.log_memory.walk.reading import Cause, Problem
    from readout.retrieve.asking import Asker, look_at

    point = meter.point
    asker = Asker(
        meter.line, point.unit_address, point.polled.manners, clock, threading.Event(), lambda *_: None
    )
    found = look_at(asker, meter.memory, point.map.wire)
    if isinstance(found, Problem):
        why = found.text if found.cause is Cause.LOCKED else asker.refused or found.text
        sentence = f"{point.name}: the meter does not tell of its memory. {why}"
        if not asker.counts.good and asker.counts.damaged:
            raise NothingTrusted(sentence)
        raise FellShort(sentence)
    return found


@dataclass(frozen=True)
class _Shown:
    """One look at the memory in words; `utc_s` is when it was taken."""

    meter: "MemoryMeter"
    state: "MemoryState"
    utc_s: float

    @property
    def _memory(self) -> "LogMemory":
        return self.meter.memory

    def _all(self) -> "tuple[Session, ...]":
        return self.state.all_sessions(self._memory) or ()

    def document(self) -> dict[str, Any]:
        """As contracted; times in UTC, null where the meter's clock was not set or does not tell."""
        return {
            "sessions": [
                {
                    "session": number,
                    "started": self._utc(session.started_ms),
                    "interval_s": None if (every := self._interval(session)) is None else every / 1000,
                    "records": session.records,
                    "first": session.first,
                }
                for number, session in enumerate(self._all(), 1)
            ],
            "recording": self.state.recording,
            "full": self.state.full(self._memory) if self._told else None,
            "clock_offset_s": self.meter.clock_offset_s,
        }

    @property
    def _told(self) -> bool:
        return self.state.all_sessions(self._memory) is not None

    def _interval(self, session: "Session") -> int | None:
        return session.interval_ms or (self.meter.interval_ms if self._memory.sessions is None else None)

    def _utc_ms(self, shown_ms: int | None) -> int | None:
        """A time of the meter's clock as UTC, less what that clock is ahead by now."""
        from zoneinfo import ZoneInfo

        import numpy as np

        from protocols.log_memory.times import ClockOffset, SessionClock, times_told

        if shown_ms is None:
            return None
        offset_s = self.meter.clock_offset_s
        offsets = () if offset_s is None else (ClockOffset(round(self.utc_s * 1000), round(offset_s * 1000)),)
        clock = SessionClock(self._memory.clock, ZoneInfo(self.meter.point.time_zone), None, offsets)
        one = np.array([shown_ms], np.int64)
        found = times_told(one, np.ones(1, np.bool_), np.zeros(1, np.int64), clock)
        return int(found.utc_ms[0]) if found.known[0] else None

    def _utc(self, shown_ms: int | None) -> str | None:
        from readout.clock import iso

        found = self._utc_ms(shown_ms)
        return None if found is None else iso(found / 1000)

    def sessions(self) -> list[str]:
        """A line a session, oldest first."""
        rows = [("session", "started", "interval", "records", "span", "last record")]
        for number, session in enumerate(self._all(), 1):
            start, every = self._utc_ms(session.started_ms), self._interval(session)
            span = None if every is None else every * session.records
            last = None if start is None or span is None or not session.records else start + span
            rows.append(
                (
                    str(number),
                    "unknown" if start is None else self._site(start),
                    "unknown" if every is None else duration_words(every),
                    str(session.records),
                    "unknown" if span is None else duration_words(span),
                    "unknown" if last is None else self._site(last),
                )
            )
        return columns(rows, right=frozenset({0, 3}))

    def _site(self, utc_ms: int) -> str:
        from datetime import datetime
        from zoneinfo import ZoneInfo

        zone = ZoneInfo(self.meter.point.time_zone)
        return datetime.fromtimestamp(utc_ms / 1000, zone).strftime("%Y-%m-%d %H:%M:%S")

    def sentences(self) -> Iterator[str]:
        """What else there is to know."""
        from readout.cli.memory_fetch import UNSET_WORDS, clock_words

        memory, recording = self._memory, self.state.recording
        if recording is not None:
            yield "the meter is recording" if recording else "the meter is not recording"
        yield self._fill()
        holds = f"the {memory.holds} of" if memory.holds else "a value of"
        yield f"a record is {holds} its interval, its time is the interval's {memory.marked_at}"
        if self.meter.clock_offset_s is not None:
            yield clock_words(self.meter.clock_offset_s)
        elif self.meter.meter_now_ms is not None:
            yield UNSET_WORDS
        else:
            yield "the meter's clock could not be compared with the computer's"

    def _fill(self) -> str:
        """How full it is, and until when it lasts."""
        memory, sessions = self._memory, self._all()
        if not self._told:
            return f"the meter does not tell how many of its {memory.capacity} records it holds"
        records = sum(session.records for session in sessions)
        share = f"{counted(records, 'record')} of {memory.capacity} ({records / memory.capacity:.0%})"
        if not records:
            return f"the memory is empty: {share}"
        beyond = self.state.unbelievable(memory)
        if beyond is not None:
            return beyond[0].lower() + beyond[1:]
        if self.state.full(memory):
            return f"{share}: full; " + (
                "new records overwrite the oldest" if memory.is_ring else "nothing more is recorded"
            )
        every = self._interval(sessions[-1])
        if not self.state.recording or every is None:
            return share
        at = round(self.utc_s * 1000) + (memory.capacity - records) * every
        then = "overwrites its oldest records from then on" if memory.is_ring else "stops then"
        return f"{share}; full at {self._site(at)} site time, and {then}"
