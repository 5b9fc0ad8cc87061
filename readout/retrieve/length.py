"""How many records to ask for at once: what the line's damage, as measured, makes quickest.

A long read spares requests, a short one loses less when a character is damaged. With `p` the chance that a
character of a reply is damaged and `q` that nothing comes at all, a record of a read of n takes

    (t(n) + q / (1 − q) × T) / (1 − p)^c(n) / n

where c(n) are the reply's characters, t(n) the seconds of the exchange and T those of a silence. The best n
is looked for by trying all. `p` and `q` are shares of what was sent last: they follow the line down and up.
"""

from collections.abc import Callable
from dataclasses import dataclass

#: Characters of replies over which damage is remembered: older ones count less and less.
MEMORY = 12_000.0
#: A line is taken for good until it shows otherwise: as if this many characters had come undamaged.
TRUST = 1_500.0


@dataclass(frozen=True, slots=True)
class Cost:
    """What a read of some records costs: characters of its reply, seconds of the whole exchange."""

    characters: int
    seconds: float


class ReadLength:
    """Counts what came of each sending and tells the best number of records.

    `cost` gives the cost of a read of n records. `alternate`: two reads in a row never ask for equally many,
    so that a reply cannot be taken for that to the next request, where nothing in it tells which it is.
    `fixed`: always that many.
    """

    def __init__(
        self, most: int, cost: Callable[[int], Cost], *, alternate: bool, fixed: int | None = None
    ) -> None:
        self.most = most
        self._costs = [cost(records) for records in range(1, most + 1)]
        self.alternate = alternate and most > 1
        self._characters, self._damaged = TRUST, 0.0
        self._requests, self._silent, self._silence_s = 1.0, 0.0, 0.0
        self._best, self._fixed = most, fixed
        self._shorter = False

    def note(self, records: int, *, damaged: bool, silent: bool, seconds: float) -> None:
        """One sending and what came of it; `seconds` is what it took."""
        cost = self._costs[min(records, self.most) - 1]
        kept = max(0.0, 1 - cost.characters / MEMORY)
        self._requests, self._silent = self._requests * kept + 1, self._silent * kept + silent
        self._characters, self._damaged = self._characters * kept, self._damaged * kept
        if silent:
            self._silence_s = seconds
        else:
            self._characters += cost.characters
            self._damaged += damaged
        if self._fixed is None and (damaged or silent or self._best < self.most):
            self._best = self._quickest()

    @property
    def damage(self) -> float:
        """The share of damaged characters that the last replies showed."""
        return self._damaged / self._characters

    def _quickest(self) -> int:
        """The number of records with the least time for each."""
        good = 1 - min(self.damage, 0.5)
        silent = min(self._silent / self._requests, 0.5)
        lost_s = silent / (1 - silent) * self._silence_s

        def each(records: int) -> float:
            cost = self._costs[records - 1]
            return (cost.seconds + lost_s) / good**cost.characters / records

        return min(range(1, self.most + 1), key=each)

    def next(self) -> int:
        """How many records to ask for now."""
        if not self.alternate:
            return self._best
        self._shorter = not self._shorter
        best = max(2, self._best)
        return best - 1 if self._shorter else best
