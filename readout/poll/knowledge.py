"""What is known of one meter while it is read: what it refuses, what it gave, what could prove it alive."""

from collections import Counter
from collections.abc import Callable

from protocols.modbus.tables import Table
from readout.bus.outcome import Outcome, Status
from readout.plan.plan import PlannedRead, RoundPlan, lone_read
from readout.plan.refusals import Refusal, Refusals, asked_at, sentences

#: Requests of a block that must be refused before it counts as a hole; of a single value, by silence.
REQUESTS, REQUESTS_OF_A_SILENT_VALUE = 2, 4
#: Seconds after which a refused value, or a probe made in vain, is tried again.
AGAIN_S = 3600.0
#: Probes in one round; the first silent one ends them.
PROBES = 4

#: A stretch of addresses: table, first, and the first behind it.
Span = tuple[Table, int, int]


def span_of(read: PlannedRead) -> Span:
    """The addresses that a read asks for."""
    return read.block.table, read.block.start, read.block.end


def _ignore(_: object) -> None:
    """Where nobody listens, and nothing is kept."""


class Knowledge:
    """What is known of one meter, for its rounds and its introduction alike. Used by one thread.

    `keep` is given all refusals when something new is certain, `say` a sentence for the person; `utc` tells
    UTC seconds. `recall` tells what is remembered of the meter with that serial number,
    None if it is the one from which this began.
    """

    def __init__(
        self,
        utc: Callable[[], float],
        refusals: Refusals | None = None,
        keep: Callable[[Refusals], None] = _ignore,
        say: Callable[[str], None] = _ignore,
        recall: Callable[[str], Refusals | None] = _ignore,
    ) -> None:
        self.refusals = refusals or Refusals()
        self.was_silent = False
        self._utc, self._keep, self._say, self._recall = utc, keep, say, recall
        self._told = self.refusals
        self._answered: set[Span] = set()
        self._met: Counter[Span] = Counter()
        self._pool: dict[Span, PlannedRead] = {}
        self._vain: dict[Span, float] = {}

    @property
    def has_answered(self) -> bool:
        """Whether the meter has given anything at all."""
        return bool(self._answered)

    def identify(self, serial: str) -> None:
        """The meter has told its serial number: go on from what is remembered of it."""
        remembered = self._recall(serial)
        if remembered is not None:
            learned = Refusals(tuple(one for one in self.refusals.all if one not in self._told.all))
            self._told = remembered
            self.refusals = remembered.joined(learned)

    def pool(self, plan: RoundPlan) -> None:
        """Let the values of a plan serve as probes."""
        for need in (need for read in plan.reads for need in read.needs):
            self._pool.setdefault((need.table, need.start, need.end), lone_read(plan, need))

    def heard(self, read: PlannedRead) -> None:
        """The meter gave what this read asked for."""
        span = span_of(read)
        self._answered.add(span)
        self._met.pop(span, None)
        for one in self.refusals.of_values:
            if (one.table, one.start, one.end) == span:
                self.refusals = self.refusals.without(one)

    def refused(self, read: PlannedRead, outcome: Outcome) -> None:
        """The meter refused this read while it answered others."""
        span = span_of(read)
        self._met[span] += 1 + outcome.repeats
        alone = tuple(dict.fromkeys(n.name for n in read.needs if (n.table, n.start, n.end) == span))
        silent_value = alone and outcome.status is Status.NO_REPLY
        if self._met[span] < (REQUESTS_OF_A_SILENT_VALUE if silent_value else REQUESTS):
            return
        del self._met[span]
        now, block = self._utc(), read.block
        self.refusals = self.refusals.adding(
            Refusal(block.table, block.start, block.count, block.words, outcome.exception, alone, now, now)
        )

    def still_refused(self, refusal: Refusal) -> None:
        """It was tried again, in vain."""
        now = self._utc()
        self.refusals = asked_at(self.refusals, refusal, now)
        self._told = asked_at(self._told, refusal, now)
        self._keep(self.refusals)

    def teaches_by_silence(self, read: PlannedRead) -> bool:
        """Whether silence on this read may mean a hole: it was never answered, nor within what was."""
        table, start, end = span_of(read)
        return not any(table is t and low <= start and end <= high for t, low, high in self._answered)

    def suspects(self, read: PlannedRead) -> bool:
        """Whether a refusal of this read has been met, and not yet often enough."""
        return span_of(read) in self._met

    def due(self) -> Refusal | None:
        """The refused value that has waited longest for another try, if that is an hour."""
        now = self._utc()
        late = [one for one in self.refusals.of_values if not 0 <= now - one.asked < AGAIN_S]
        return min(late, key=lambda one: one.asked, default=None)

    def probes(self, beside: set[Span]) -> list[PlannedRead]:
        """The next few values that may prove the meter alive: first what it gave, then the shortest.

        `beside` are the reads that were refused: they prove nothing. What was asked for in vain rests for an
        hour.
        """
        now = self._utc()
        fit = [
            read
            for span, read in self._pool.items()
            if span not in beside and not 0 <= now - self._vain.get(span, float("-inf")) < AGAIN_S
        ]
        return sorted(fit, key=self._promise)[:PROBES]

    def knock(self) -> list[PlannedRead]:
        """The value to try on a meter that has never given anything: the one tried longest ago, or never."""
        order = sorted(self._pool.values(), key=self._promise)
        return sorted(order, key=lambda read: self._vain.get(span_of(read), float("-inf")))[:1]

    def _promise(self, read: PlannedRead) -> tuple[bool, bool, int]:
        return span_of(read) not in self._answered, self.teaches_by_silence(read), read.block.count

    def in_vain(self, probe: PlannedRead) -> None:
        """A probe brought nothing."""
        self._vain[span_of(probe)] = self._utc()

    def tell(self) -> None:
        """Keep and say what has become certain since the last time."""
        if self.refusals == self._told:
            return
        before, now = set(self._told.all), set(self.refusals.all)
        self._told = self.refusals
        self._keep(self.refusals)
        found = sentences(Refusals(tuple(one for one in self.refusals.all if one not in before)))
        if found:
            self._say(f"{'; '.join(found)}; the blocks were split")
        places = {(one.table, one.start, one.end) for one in now}
        for one in before:
            if one.values and (one.table, one.start, one.end) not in places:
                self._say(f"{', '.join(one.values)}: refused until now, and answered again")
