"""What a meter was found to refuse, though its map lists it, and what a plan makes of that. Pure.

What a meter refuses to give in one read it refuses with anything added to it, be it for a hole in its
registers or for its limit. So no planned read may hold a refused one. That alone would shave one value off a
refused block at a time, so a refused block is also cut once, and nothing is read across the cut: where it
bridges registers that the map does not list, there; else in the middle. Once the value at fault is known, the
cuts made in search of it are forgotten, and its neighbours are read together again.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from operator import itemgetter

from protocols.modbus.exceptions import meaning
from protocols.modbus.tables import Table


@dataclass(frozen=True, slots=True)
class Refusal:
    """One read that a meter refuses: `count` addresses from `start`, 0-based as sent.

    `words` is the number of 16-bit words behind each address, `exception` the code the meter answers, None
    where it stays silent. `values` names what was asked for where the read could not be made smaller without
    cutting it; empty where the read held several values, which the meter may give in smaller reads.
    `learned` and `asked` (the last time) are UTC seconds.
    """

    table: Table
    start: int
    count: int
    words: int = 1
    exception: int | None = None
    values: tuple[str, ...] = ()
    learned: float = 0.0
    asked: float = 0.0

    @property
    def end(self) -> int:
        """The first address behind the read."""
        return self.start + self.count

    @property
    def answer(self) -> str:
        """`exception 02, illegal data address`, or `no reply`."""
        if self.exception is None:
            return "no reply"
        return f"exception {self.exception:02X}, {meaning(self.exception).name}"

    @property
    def learned_on(self) -> str:
        """The day, in UTC, as 2026-05-04."""
        return f"{datetime.fromtimestamp(self.learned, UTC):%Y-%m-%d}"

    def holds(self, other: "Refusal") -> bool:
        """Whether this read reaches over all of another, smaller one."""
        return (
            self.table is other.table
            and self.start <= other.start
            and other.end <= self.end
            and self.count > other.count
        )


@dataclass(frozen=True, slots=True)
class Refusals:
    """All that one meter is known to refuse."""

    all: tuple[Refusal, ...] = ()

    @property
    def of_values(self) -> tuple[Refusal, ...]:
        """Those that cannot be made smaller: their values are not to be had."""
        return tuple(refusal for refusal in self.all if refusal.values)

    @property
    def of_blocks(self) -> tuple[Refusal, ...]:
        """The smallest reads of several values that are refused; larger ones around them say no more."""
        blocks = [refusal for refusal in self.all if not refusal.values]
        return tuple(one for one in blocks if not any(one.holds(other) for other in blocks))

    def adding(self, found: Refusal) -> "Refusals":
        """With one more. A refused value explains the refused blocks around it, which then go."""
        kept = [
            refusal
            for refusal in self.all
            if _place(refusal) != _place(found)
            and not (found.values and not refusal.values and refusal.holds(found))
        ]
        return Refusals((*kept, found))

    def without(self, gone: Refusal) -> "Refusals":
        """Without one that the meter did answer."""
        return Refusals(tuple(refusal for refusal in self.all if _place(refusal) != _place(gone)))

    def joined(self, others: "Refusals") -> "Refusals":
        """These and others; what both know is kept as these know it."""
        found = others
        for refusal in self.all:
            found = found.adding(refusal)
        return found

    def name(self, table: Table, start: int, end: int) -> bool:
        """Whether the value that needs this very stretch is known to be refused."""
        return any((one.table, one.start, one.end) == (table, start, end) for one in self.of_values)

    def spans(self) -> dict[Table, tuple[tuple[int, int], ...]]:
        """Per table the stretches (start, end) that no read may hold."""
        found: dict[Table, tuple[tuple[int, int], ...]] = {}
        for one in self.all:
            found[one.table] = (*found.get(one.table, ()), (one.start, one.end))
        return found

    def cuts(
        self, needs: Mapping[Table, Sequence[tuple[int, int]]], listed: Mapping[Table, Iterable[int]]
    ) -> dict[Table, tuple[int, ...]]:
        """Per table the addresses before which every read must end or start.

        `needs` are the stretches of which none is ever cut, `listed` the addresses of which the map speaks.
        """
        found: dict[Table, tuple[int, ...]] = {}
        for one in self.all:
            if one.values:
                continue
            cut = _cut(one, needs.get(one.table, ()), frozenset(listed.get(one.table, ())))
            if cut is not None:
                found[one.table] = (*found.get(one.table, ()), cut)
        return found


def _place(refusal: Refusal) -> tuple[Table, int, int]:
    return refusal.table, refusal.start, refusal.end


def _cut(refused: Refusal, needs: Sequence[tuple[int, int]], listed: frozenset[int]) -> int | None:
    """Where to cut a refused block so that no need is cut; None where its needs all overlap."""
    inside = sorted(span for span in needs if refused.start <= span[0] and span[1] <= refused.end)
    crossing = [span for span in needs if span[0] < refused.end and refused.start < span[1]]
    places = []
    reach = refused.start
    for (_, before_end), (start, _) in pairwise(inside):
        reach = max(reach, before_end)
        if start >= reach and not any(low < start < high for low, high in crossing):
            unlisted = sum(address not in listed for address in range(reach, start))
            imbalance = abs((start - refused.start) - (refused.end - start))
            places.append((-unlisted, imbalance, start))
    return min(places)[2] if places else None


def sentences(refusals: Refusals) -> tuple[str, ...]:
    """What a technician is told: refused values, neighbours together, then blocks that are read in pieces."""
    told = []
    for group in _neighbours(refusals.of_values):
        names = ", ".join(dict.fromkeys(name for one in group for name in one.values))
        first, last = group[0].start, max(one.end for one in group) - 1
        told.append(
            f"{_where(group[0].table, first, last)} refused by this meter ({names}: {group[0].answer})"
        )
    for one in sorted(refusals.of_blocks, key=lambda one: (str(one.table), one.start)):
        where = _where(one.table, one.start, one.end - 1)
        told.append(f"{where} not given in one read ({one.answer}) and read in pieces")
    return tuple(told)


def _where(table: Table, first: int, last: int) -> str:
    thing = "bit" if table.of_bits else "register"
    return f"{thing} {table} {first} is" if first == last else f"{thing}s {table} {first} to {last} are"


def _neighbours(refusals: Iterable[Refusal]) -> list[list[Refusal]]:
    """Refusals that touch and are answered alike, together."""
    groups: list[list[Refusal]] = []
    for one in sorted(refusals, key=lambda one: (str(one.table), one.start)):
        last = groups[-1][-1] if groups else None
        if last and (last.table, last.exception) == (one.table, one.exception) and one.start <= last.end:
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def smallest(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """The stretches that hold no other one, by start; so their ends are in order too."""
    found: list[tuple[int, int]] = []
    for start, end in sorted(set(spans), key=itemgetter(0, 1), reverse=True):
        while found and found[-1][0] == start and end <= found[-1][1]:
            found.pop()
        if not found or end < found[-1][1]:
            found.append((start, end))
    return found[::-1]


def asked_at(refusals: Refusals, one: Refusal, utc_s: float) -> Refusals:
    """With the note that `one` was asked again and refused at `utc_s` (UTC seconds)."""
    return Refusals(
        tuple(
            replace(other, asked=utc_s) if _place(other) == _place(one) else other for other in refusals.all
        )
    )
