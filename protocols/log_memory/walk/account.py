"""The account of a retrieval: what the meter held, what was had, what is missing and why."""

from dataclasses import dataclass, field

import numpy as np

from protocols.log_memory.numbers import merged
from protocols.log_memory.records import Batch
from protocols.log_memory.state import Session
from protocols.log_memory.walk.reading import Cause, Problem


@dataclass(frozen=True, slots=True)
class Known:
    """Records that are archived already, as extended numbers, of the session with this start as told."""

    started_ms: int | None
    ranges: tuple[range, ...]

    @property
    def end(self) -> int:
        """The first number after all of them; 0 where there is none."""
        return max((one.stop for one in self.ranges), default=0)


@dataclass(frozen=True, slots=True)
class Gap:
    """Records `first` to `last` of a session (counted from 0) that were not had, and why."""

    session: int
    first: int
    last: int
    cause: Cause
    text: str = ""


@dataclass(frozen=True, slots=True)
class Statement:
    """The account of a retrieval: `expected` in the meter = known + read + dummies + gaps + unfinished.

    `read` counts records handed out for the first time, `reread` those asked for again, `unfitting` those
    whose own check does not fit, `unfinished` those whose interval was still running when they were last
    read. `ended` is why it stopped early, None where it went to the end.
    """

    expected: int
    known: int
    read: int
    reread: int
    dummies: int
    unfitting: int
    gaps: tuple[Gap, ...]
    ended: Problem | None
    unfinished: int = 0

    @property
    def missing(self) -> int:
        """Records in gaps."""
        return sum(gap.last - gap.first + 1 for gap in self.gaps)


@dataclass(frozen=True, slots=True)
class Target:
    """One session as this retrieval sees it: its place in the meter's list, and its extended numbers."""

    index: int
    session: Session
    numbers: range
    known: tuple[range, ...] = ()
    is_last: bool = True


@dataclass
class Account:
    """Counts while the walker goes. A session is the key; its numbers are ranges."""

    ended: Problem | None = None
    _expected: dict[int | None, list[range]] = field(default_factory=dict)
    _known: dict[int | None, list[range]] = field(default_factory=dict)
    _gaps: list[Gap] = field(default_factory=list)
    _read: int = 0
    _reread: int = 0
    _dummies: int = 0
    _unfitting: int = 0
    _unfinished: set[tuple[int | None, int]] = field(default_factory=set)

    def expect(self, target: Target) -> None:
        """Count a session's records as the meter's; twice told counts once."""
        started = target.session.started_ms
        expected = self._expected.setdefault(started, [])
        expected[:] = merged([*expected, target.numbers])
        known = self._known.setdefault(started, [])
        known[:] = merged([*known, *(common(target.numbers, one) for one in target.known)])

    def expected(self, started_ms: int | None) -> range:
        """From the first to the last number ever expected of a session."""
        ranges = self._expected.get(started_ms) or [range(0)]
        return range(ranges[0].start, ranges[-1].stop)

    def batch(self, batch: Batch) -> None:
        """Count records handed out."""
        if batch.again:
            self._reread += len(batch.numbers)
        else:
            self._read += int(np.count_nonzero(~batch.unfinished))
            self._dummies += batch.dummies
            told = zip(batch.numbers.tolist(), batch.unfinished.tolist(), strict=True)
            for key, unfinished in (((batch.started_ms, number), running) for number, running in told):
                (self._unfinished.add if unfinished else self._unfinished.discard)(key)
        self._unfitting += int(np.count_nonzero(~batch.fits))

    def gap(self, session: int, numbers: range, cause: Cause, text: str = "") -> None:
        """State records as not had; neighbours with the same cause become one gap."""
        if not numbers:
            return
        last = self._gaps[-1] if self._gaps else None
        if last is not None and (last.session, last.cause, last.last + 1) == (session, cause, numbers.start):
            self._gaps[-1] = Gap(session, last.first, numbers.stop - 1, cause, last.text)
        else:
            self._gaps.append(Gap(session, numbers.start, numbers.stop - 1, cause, text))

    def statement(self) -> Statement:
        """See `Statement`."""
        return Statement(
            expected=sum(len(one) for ranges in self._expected.values() for one in ranges),
            known=sum(len(one) for ranges in self._known.values() for one in ranges),
            read=self._read,
            reread=self._reread,
            dummies=self._dummies,
            unfitting=self._unfitting,
            gaps=tuple(self._gaps),
            ended=self.ended,
            unfinished=len(self._unfinished),
        )


def common(a: range, b: range) -> range:
    """The numbers in both."""
    return range(max(a.start, b.start), min(a.stop, b.stop))
