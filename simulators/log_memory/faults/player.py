"""Which memory fault is due: each strikes where its record is touched, as often as it says."""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence

from simulators.log_memory.faults.kinds import Fault, MemoryFault


class MemoryFaults:
    """The faults of one memory. `played` counts what has happened, by name."""

    def __init__(self, faults: Sequence[MemoryFault] = ()) -> None:
        self.played: Counter[Fault] = Counter()
        self._faults = tuple(faults)
        self._left = [fault.times for fault in faults]  # None: for ever

    def due(self, kind: Fault, touched: Collection[int] = ()) -> MemoryFault | None:
        """The first fault of that kind that strikes one of the `touched` records now; it has happened then.

        One that strikes no record in particular strikes any.
        """
        return next(self.all_due(kind, touched), None)

    def all_due(self, kind: Fault, touched: Collection[int]) -> Iterator[MemoryFault]:
        """Every fault of that kind that strikes one of the `touched` records, each as it happens."""
        for place, fault in enumerate(self._faults):
            left = self._left[place]
            if fault.fault is kind and left != 0 and (fault.at is None or fault.at in touched):
                self._left[place] = None if left is None else left - 1
                self.played[kind] += 1
                yield fault

    def standing(self, kind: Fault) -> MemoryFault | None:
        """A fault that is there all the time; None where it is not in the plan."""
        return next((fault for fault in self._faults if fault.fault is kind), None)
