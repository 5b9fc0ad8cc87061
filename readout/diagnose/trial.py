"""Many reads of one meter, and what they tell: kinds of fault, reply times, and a better timing for it.

The reads are not repeated and their faults not smoothed over: each is one request and what came of it. Where
failures alternate with good replies the meter is likely not ready for the next request, so longer pauses are
tried; where replies come late or not at all, a longer wait is.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil

from protocols.modbus.requests import ReadRequest
from protocols.modbus.symptoms import History, Kind, Symptom, classify
from protocols.modbus.timing import SerialFormat
from readout.bus.exchange import Line, Manners
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock

#: Reads by default: one fault in twenty is then met five times.
READS = 100
#: Pauses [s] tried where failures alternate, and reads made with each.
PAUSES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5)
PROOF_READS = 20
#: Reads from which a pattern is told, and failures that it takes.
PATTERN_READS, PATTERN_FAILURES = 8, 3
#: What a longer wait is tried with [s], where nothing came in the map's.
LONG_WAIT = 2.0
#: A proposed `reply_within` is the slowest reply times this, for days on which the meter is slower.
MARGIN = 2.0
#: `reply_within` is proposed in steps of this, and not below it [s].
STEP, SHORTEST_WAIT = 0.05, 0.1
#: Worst replies shown, one of a kind.
WORST = 3

_ANSWERS = (Status.OK, Status.EXCEPTION)


@dataclass(frozen=True, slots=True)
class Query:
    """One read of the meter, and how it wants to be treated."""

    unit: int
    request: ReadRequest
    manners: Manners


@dataclass(frozen=True, slots=True)
class ReplyTimes:
    """From the request's last bit to the reply's first byte, as computed from its last one. Seconds."""

    shortest: float
    median: float
    p99: float
    longest: float
    count: int


@dataclass(frozen=True, slots=True)
class Proposal:
    """A better value for one key of the map's `wire`. `seconds`, and why, in a sentence."""

    key: str
    seconds: float
    why: str


@dataclass(frozen=True, slots=True)
class Trial:
    """What a run of reads brought.

    `symptoms` counts by kind, `worst` has one example of each kind, the most frequent first. `strays`: bytes
    that came while nobody was asked.
    """

    reads: int
    good: int
    late: int
    statuses: Counter[Status]
    symptoms: Counter[Kind]
    worst: tuple[Symptom, ...]
    times: ReplyTimes | None
    proposals: tuple[Proposal, ...]
    strays: int
    alternates: bool
    lost: str = ""

    @property
    def bytes_missing(self) -> bool:
        """Whether replies came without some of their bytes, as when another program reads them."""
        return any(self.symptoms[kind] for kind in (Kind.INCOMPLETE, Kind.START_CUT))

    @property
    def clean(self) -> bool:
        """Whether every read brought an answer, in time."""
        return self.good == self.reads and not self.late and not self.lost


class Prober:
    """Reads one meter over an open line. `tell` is called with the number of reads done."""

    def __init__(
        self,
        line: Line,
        fmt: SerialFormat,
        clock: Clock,
        tell: Callable[[int], None] = lambda _done: None,
    ) -> None:
        self._line = line
        self._fmt = fmt
        self._clock = clock
        self._tell = tell

    def run(self, queries: Sequence[Query], reads: int = READS, seconds: float | None = None) -> Trial:
        """`reads` reads, the queries in turn; or as many as fit in `seconds`."""
        outcomes: list[Outcome] = []
        until = None if seconds is None else self._clock.monotonic() + seconds
        while len(outcomes) < reads if until is None else self._clock.monotonic() < until:
            outcomes.append(self._once(queries[len(outcomes) % len(queries)], {}))
            self._tell(len(outcomes))
            if outcomes[-1].status is Status.PORT_LOST:
                break
        alternates = alternating([outcome.status in _ANSWERS for outcome in outcomes])
        proposals = [] if outcomes[-1].status is Status.PORT_LOST else self._better(queries, outcomes)
        return self._summed_up(outcomes, tuple(proposals), alternates=alternates)

    def _once(self, query: Query, change: dict[str, float]) -> Outcome:
        manners = replace(query.manners, repeats=0, **change)  # type: ignore[arg-type]  # names of seconds only
        return self._line.read(query.unit, query.request, manners)

    def _better(self, queries: Sequence[Query], outcomes: Sequence[Outcome]) -> list[Proposal]:
        """What the map's `wire` should say instead."""
        manners = queries[0].manners
        if alternating([outcome.status in _ANSWERS for outcome in outcomes]):
            found = self._pause(queries, manners)
            return [found] if found else []
        times = self._times(outcomes)
        slow = any(outcome.late for outcome in outcomes)
        if not slow and _mostly_silent(outcomes):
            times = self._times([self._once(query, {"reply_within": LONG_WAIT}) for query in queries])
            slow = times is not None and times.longest > manners.reply_within
        if times is None:
            return []
        wanted = max(SHORTEST_WAIT, ceil(times.longest * MARGIN / STEP) * STEP)
        if slow:
            why = f"replies take up to {times.longest * 1000:.0f} ms, longer than the map waits for them"
            return [Proposal("reply_within", round(wanted, 3), why)]
        if wanted < manners.reply_within / 2 and times.count >= PROOF_READS:
            why = f"no reply took longer than {times.longest * 1000:.0f} ms; a silent meter costs less so"
            return [Proposal("reply_within", round(wanted, 3), why)]
        return []

    def _pause(self, queries: Sequence[Query], manners: Manners) -> Proposal | None:
        """The shortest of some pauses with which every read is answered."""
        for pause in PAUSES:
            if pause <= manners.pause:
                continue
            if all(
                self._once(queries[number % len(queries)], {"pause": pause}).status in _ANSWERS
                for number in range(PROOF_READS)
            ):
                why = (
                    "good and missing replies alternate: the meter is not ready for the next request; "
                    f"with this pause {PROOF_READS} of {PROOF_READS} reads were answered"
                )
                return Proposal("pause", pause, why)
        return None

    def _times(self, outcomes: Sequence[Outcome]) -> ReplyTimes | None:
        took = sorted(
            max(0.0, outcome.ended - outcome.sent - self._fmt.wire_time(characters))
            for outcome in outcomes
            if outcome.status in _ANSWERS
            for characters in [len(outcome.request) + len(outcome.received)]
        )
        if not took:
            return None
        return ReplyTimes(
            took[0],
            took[len(took) // 2],
            took[min(len(took) - 1, len(took) * 99 // 100)],
            took[-1],
            len(took),
        )

    def _summed_up(
        self, outcomes: Sequence[Outcome], proposals: tuple[Proposal, ...], *, alternates: bool
    ) -> Trial:
        asked = [outcome for outcome in outcomes if outcome.status is not Status.PORT_LOST]
        bad = [outcome for outcome in asked if outcome.status not in _ANSWERS]
        damaged = sum(bool(outcome.received) for outcome in bad)
        symptoms: Counter[Kind] = Counter()
        examples: dict[Kind, Symptom] = {}
        for outcome in bad:
            found = classify(outcome.request, outcome.received, self._fmt, History(len(asked), damaged))
            symptoms[found.kind] += 1
            examples.setdefault(found.kind, found)
        lost = [outcome.text for outcome in outcomes if outcome.status is Status.PORT_LOST]
        return Trial(
            reads=len(asked),
            good=len(asked) - len(bad),
            late=sum(outcome.late for outcome in asked),
            statuses=Counter(outcome.status for outcome in asked),
            symptoms=symptoms,
            worst=tuple(examples[kind] for kind, _ in symptoms.most_common(WORST)),
            times=self._times(asked),
            proposals=proposals,
            strays=self._line.strays,
            alternates=alternates,
            lost=lost[0] if lost else "",
        )


def alternating(answered: Sequence[bool]) -> bool:
    """Whether failures and good replies take turns: never two failures in a row, mostly one after a success.

    A meter that needs a rest fails so: after a failure the line was silent long enough.
    """
    failures = answered.count(False)
    if len(answered) < PATTERN_READS or failures < PATTERN_FAILURES:
        return False
    pairs = list(pairwise(answered))
    twice = sum(not first and not second for first, second in pairs)
    turned = sum(first and not second for first, second in pairs)
    return twice == 0 and turned * 10 >= 6 * sum(first for first, _ in pairs)


def _mostly_silent(outcomes: Sequence[Outcome]) -> bool:
    silent = sum(outcome.status is Status.NO_REPLY for outcome in outcomes)
    return 2 * silent >= len(outcomes)
