"""Learning what a meter refuses, from its rounds: holes its map does not tell, and limits below the map's.

The rules, none of which may cost a reading that is to be had:

1. Exceptions 02 and 03, or silence, on a block count only while the meter answers something else: in the
   same round, for silence afterwards. Where it did not, single values are asked for besides until one comes
   (probes). So a meter that is warming up or unplugged teaches nothing.
2. They count only when a second request of that very block meets them too; silence on a single value only
   with the fourth, since noise looks like it. A block that has answered before is not silent for a hole.
3. A refused block of several values is split and asked for in its pieces; a refused value, whose parts are
   never split, is left out of the rounds and tried again once an hour.
"""

from collections.abc import Callable
from dataclasses import replace

from protocols.modbus.exceptions import ExceptionCode
from readout.bus.outcome import Outcome, Status
from readout.plan.blocks import Need
from readout.plan.plan import PlannedRead, RoundPlan, lone_read
from readout.plan.refusals import Refusal, Refusals
from readout.poll.knowledge import Knowledge, span_of
from readout.poll.round import Asked, PolledPoint, Reader, Round, ask, ask_all, summed_up

#: Rounds after which asking again and again at once is given up, whatever the meter does.
MOST_ROUNDS = 200

_REFUSING = frozenset({ExceptionCode.ILLEGAL_DATA_ADDRESS, ExceptionCode.ILLEGAL_DATA_VALUE})


class Learner:
    """Asks one meter for the same values again and again, by the best plan for what is known of it.

    `plan` is the one for the next round; `unsettled` tells that another round would teach more right away.
    """

    def __init__(self, knowledge: Knowledge, replan: Callable[[Refusals], RoundPlan]) -> None:
        self.knowledge = knowledge
        self.unsettled = False
        self._replan = replan
        self.plan = replan(knowledge.refusals)
        knowledge.pool(replan(Refusals()) if knowledge.refusals.all else self.plan)

    def poll(self, line: Reader, point: PolledPoint, *, first_only: bool = False) -> Round:
        """A round by the point's plan, as `round.poll`; then learn from it.

        With `first_only`, a meter that has never answered is asked for a single value before anything else:
        its silence may be for its blocks.
        """
        knowledge = self.knowledge
        self.unsettled = False
        before: list[Asked] = []
        if first_only and knowledge.was_silent and not knowledge.has_answered:
            before = self._probe(line, point, knowledge.knock())
            if before and before[0][1].status is not Status.OK:
                return summed_up(point.plan, before)
        asked = ask_all(line, point, first_only=first_only and not before)
        statuses = {outcome.status for _, outcome in asked}
        knowledge.was_silent = statuses == {Status.NO_REPLY} and not before
        # A silent meter is not waited for again, unless its silence is suspected to be for this block.
        gone = first_only and knowledge.was_silent and not any(knowledge.suspects(read) for read, _ in asked)
        extra: list[Asked] = []
        if Status.PORT_LOST not in statuses and not gone:
            extra = self._learn(line, point, asked, before)
        return summed_up(point.plan, [*asked, *before, *extra])

    def settle(
        self, line: Reader, point: PolledPoint, *, first_only: bool = False
    ) -> tuple[RoundPlan, Round]:
        """Rounds at once, one after the other, until another would teach nothing more: the last one's."""
        for _ in range(MOST_ROUNDS):
            asking = replace(point, plan=self.plan)
            found = self.poll(line, asking, first_only=first_only)
            if not self.unsettled:
                break
        return asking.plan, found

    def renew(self) -> None:
        """Plan anew after something was learned elsewhere."""
        if self.plan.refusals != self.knowledge.refusals:
            self.plan = self._replan(self.knowledge.refusals)

    def _learn(
        self, line: Reader, point: PolledPoint, asked: list[Asked], before: list[Asked]
    ) -> list[Asked]:
        """Judge a round's refusals; the probe and the second try that this took."""
        knowledge = self.knowledge
        for read, outcome in asked:
            if outcome.status is Status.OK:
                knowledge.heard(read)
        doubtful = [pair for pair in asked if self._may_teach(*pair)]
        proven = _proven(doubtful, [*before, *asked])
        extra: list[Asked] = []
        if len(proven) < len(doubtful):
            beside = {span_of(read) for read, _ in doubtful}
            extra = self._probe(line, point, knowledge.probes(beside))
            last = extra[-1][1].status if extra else None
            if last is Status.OK:
                proven = doubtful
            # Silent probes are not made one after the other: each costs the line a second or more.
            self.unsettled = last is Status.EXCEPTION and bool(knowledge.probes(beside))
        for read, outcome in proven:
            knowledge.refused(read, outcome)
            self.unsettled = self.unsettled or knowledge.suspects(read)
        again = knowledge.due()
        answers = any(outcome.status is Status.OK for _, outcome in (*asked, *extra))
        if again is not None and (answers or not asked):
            extra.append(self._try_again(line, point, again))
        if self.plan.refusals.all != knowledge.refusals.all:
            self.renew()
            self.unsettled = self.unsettled or self.plan.reads != point.plan.reads
        if not self.unsettled:
            knowledge.tell()
        return extra

    def _may_teach(self, read: PlannedRead, outcome: Outcome) -> bool:
        if outcome.status is Status.EXCEPTION:
            return outcome.exception in _REFUSING
        return outcome.status is Status.NO_REPLY and self.knowledge.teaches_by_silence(read)

    def _probe(self, line: Reader, point: PolledPoint, probes: list[PlannedRead]) -> list[Asked]:
        """Ask for single values until one comes, or silence."""
        brisk = replace(point, manners=replace(point.manners, repeats=0))
        asked: list[Asked] = []
        for probe in probes:
            asked.append(ask(line, brisk, probe))
            status = asked[-1][1].status
            if status is Status.OK:
                self.knowledge.heard(probe)
                break
            self.knowledge.in_vain(probe)
            if status is not Status.EXCEPTION:
                break
        return asked

    def _try_again(self, line: Reader, point: PolledPoint, refusal: Refusal) -> Asked:
        names = ", ".join(refusal.values)
        need = Need(refusal.table, refusal.start, refusal.count, refusal.words, names)
        brisk = replace(point, manners=replace(point.manners, repeats=0))
        read, outcome = ask(line, brisk, lone_read(point.plan, need))
        if outcome.status is Status.OK:
            self.knowledge.heard(read)
        elif outcome.status in (Status.EXCEPTION, Status.NO_REPLY):
            self.knowledge.still_refused(refusal)
        return read, outcome


def _proven(doubtful: list[Asked], asked: list[Asked]) -> list[Asked]:
    """Those in whose round the meter answered something else: for silence, after it."""
    answers = [place for place, (_, outcome) in enumerate(asked) if outcome.status is Status.OK]
    if not answers:
        return []
    places = {id(pair): place for place, pair in enumerate(asked)}
    return [
        pair for pair in doubtful if pair[1].status is not Status.NO_REPLY or places[id(pair)] < answers[-1]
    ]
