"""The set of block reads that takes the least time on the wire under a map's limits.

A transaction costs a fixed part (request, the reply's frame, the meter's turnaround, the silence before the
next request) and a part that grows with what is read. Reading two islands of registers together therefore
pays as long as the registers between them cost less than a second transaction: with 8E1 at 9600 Bd up to a
gap of 8 registers for a meter that answers at once and of 16 for one that takes 20 ms; at 115200 Bd, 15 and
120.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from protocols.errors import RequestError
from protocols.modbus import limits as specification
from protocols.modbus.tables import Table
from readout.plan.refusals import smallest

#: A guess for meters whose turnaround nobody has measured yet [s]: the middle of the 0 to 20 ms usually
#: seen. Too low a guess only merges too little, too high a one too much; no limit depends on it.
TURNAROUND_GUESS = 0.010

#: Unit address, function, start (2), count (2), CRC (2).
REQUEST_CHARACTERS = 8

#: Unit address, function, byte count, CRC (2).
REPLY_OVERHEAD = 5


@dataclass(frozen=True, slots=True)
class Need:
    """Addresses that must come from one read: `count` of them from `start`, 0-based as sent.

    `words` is the number of 16-bit words behind each address (2 where a meter keeps 32 bits in each), `name`
    what to call the need in a message.
    """

    table: Table
    start: int
    count: int
    words: int = 1
    name: str = ""

    @property
    def end(self) -> int:
        """The first address behind the need."""
        return self.start + self.count


@dataclass(frozen=True, slots=True)
class Block:
    """One read: `count` addresses from `start`, each with `words` 16-bit words behind it."""

    table: Table
    start: int
    count: int
    words: int = 1

    @property
    def end(self) -> int:
        """The first address behind the block."""
        return self.start + self.count

    def holds(self, need: Need) -> bool:
        """Whether one read of the block delivers the whole need."""
        same = (self.table, self.words) == (need.table, need.words)
        return same and self.start <= need.start and need.end <= self.end


@dataclass(frozen=True, slots=True)
class Cost:
    """What a transaction costs on one line, in seconds and characters."""

    character_s: float
    silence_s: float
    turnaround_s: float = TURNAROUND_GUESS
    request_characters: int = REQUEST_CHARACTERS
    reply_overhead: int = REPLY_OVERHEAD

    def data_characters(self, table: Table, count: int, words: int = 1) -> int:
        """Bytes of the reply that carry data: 2 a word, or 1 for every 8 bits begun."""
        return (count + 7) // 8 if table.of_bits else 2 * words * count

    def seconds(self, table: Table, count: int, words: int = 1) -> float:
        """Time on the wire of one read of `count` addresses, up to where the next request may begin."""
        data = self.data_characters(table, count, words)
        characters = self.request_characters + self.reply_overhead + data
        return characters * self.character_s + self.silence_s + self.turnaround_s


@dataclass(frozen=True, slots=True)
class Limits:
    """What one read may span.

    `registers_per_read` counts 16-bit words. `listed` gives, per table, the addresses the map speaks of and
    the words behind each: those may be read freely, of others at most `bridge` in one read. No read may hold
    one of the `refused` stretches (start, end), nor reach across one of the `cuts`, between the address
    before it and its own.
    """

    registers_per_read: int
    bridge: int
    listed: Mapping[Table, Mapping[int, int]]
    bits_per_read: int = specification.READ_BITS
    refused: Mapping[Table, Sequence[tuple[int, int]]] = field(default_factory=dict)
    cuts: Mapping[Table, Sequence[int]] = field(default_factory=dict)


def plan_blocks(needs: Iterable[Need], limits: Limits, cost: Cost) -> tuple[Block, ...]:
    """The cheapest reads that deliver every need whole, by table, width and start.

    A need that holds a refused stretch, or lies across a cut, has a read of its own: whether the meter gives
    it, only asking tells. Raises `RequestError` where a single need breaks a limit. Takes O(needs²) at worst;
    in practice every need is compared only with those that fit into one read with it.
    """
    groups: dict[tuple[Table, int], set[tuple[int, int]]] = {}
    for need in needs:
        _refuse_impossible(need, limits)
        groups.setdefault((need.table, need.words), set()).add((need.start, need.end))
    order = list(Table)
    found: list[Block] = []
    for table, words in sorted(groups, key=lambda group: (order.index(group[0]), group[1])):
        ground = _Ground(table, words, limits)
        alone = {span for span in groups[table, words] if ground.bars(*span)}
        blocks = _cheapest(sorted(groups[table, words] - alone), ground, cost)
        blocks += [Block(table, start, end - start, words) for start, end in alone]
        found += sorted(blocks, key=lambda block: (block.start, block.count))
    return tuple(found)


class _Ground:
    """The addresses of one table and one width, and whether one read may span a stretch of them."""

    def __init__(self, table: Table, words: int, limits: Limits) -> None:
        listed = limits.listed.get(table, {})
        self.table, self.words, self.bridge = table, words, limits.bridge
        self.most = limits.bits_per_read if table.of_bits else limits.registers_per_read // words
        self.own = sorted(address for address, each in listed.items() if each == words)
        self.foreign = sorted(address for address, each in listed.items() if each != words)
        self.cuts = sorted(limits.cuts.get(table, ()))
        refused = smallest(limits.refused.get(table, ()))
        self._refused_starts = [start for start, _ in refused]
        self._refused_ends = [end for _, end in refused]

    def unlisted(self, start: int, end: int) -> int:
        """How many of the addresses from `start` up to but not including `end` the map does not list."""
        return end - start - (bisect_left(self.own, end) - bisect_left(self.own, start))

    def crosses_other_width(self, start: int, end: int) -> bool:
        """True where the stretch holds an address with another width: its reply could not be cut up."""
        return bisect_right(self.foreign, end - 1) > bisect_left(self.foreign, start)

    def bars(self, start: int, end: int) -> bool:
        """True where the stretch holds one that is refused, or lies across a cut."""
        # Of the smallest refused stretches, the first to start in here is the first to end, too.
        at = bisect_left(self._refused_starts, start)
        holds_refused = at < len(self._refused_ends) and self._refused_ends[at] <= end
        return holds_refused or bisect_left(self.cuts, end) > bisect_right(self.cuts, start)

    def within_limits(self, start: int, end: int) -> bool:
        """True where the map's limits allow one read of the stretch."""
        return (
            end - start <= self.most
            and self.unlisted(start, end) <= self.bridge
            and not self.crosses_other_width(start, end)
        )

    def allows(self, start: int, end: int) -> bool:
        """True where one read may span the stretch. What holds for a stretch holds for every part of it."""
        return self.within_limits(start, end) and not self.bars(start, end)


def _cheapest(spans: Sequence[tuple[int, int]], ground: _Ground, cost: Cost) -> list[Block]:
    """Dynamic programming over the first span not yet read; `spans` sorted by start.

    Why cutting the sorted spans into runs, one read a run from its first start to its largest end, misses
    nothing, nested and overlapping spans included: in a cheapest set no read lies within another (it could
    be dropped), so sorted by start the reads are sorted by end too. Take a span and the last read that
    starts at or before it. Whatever read holds the span starts no later than that one, so ends no later,
    so that one holds the span as well. Hence each read serves exactly the spans that start between its own
    start and the next read's: a run. Shrinking the read to the hull of its run costs less and breaks no
    limit, because `allows` holds for every part of an allowed stretch; that is also why the inner loop may
    stop at the first hull that is not allowed.
    """
    behind = len(spans)
    best: list[tuple[float, int, int]] = [(0.0, 0, behind)] * (behind + 1)  # seconds, reads, end of the run
    for first in range(behind - 1, -1, -1):
        start, end = spans[first]
        choices = []
        for last in range(first, behind):
            end = max(end, spans[last][1])
            if not ground.allows(start, end):
                break
            seconds = cost.seconds(ground.table, end - start, ground.words)
            rest_seconds, rest_reads, _ = best[last + 1]
            choices.append((seconds + rest_seconds, rest_reads + 1, last + 1))
        best[first] = min(choices)
    blocks, first = [], 0
    while first < behind:
        after = best[first][2]
        start, end = spans[first][0], max(end for _, end in spans[first:after])
        blocks.append(Block(ground.table, start, end - start, ground.words))
        first = after
    return blocks


def _refuse_impossible(need: Need, limits: Limits) -> None:
    """Raise `RequestError` for a need that no single read can deliver."""
    ground = _Ground(need.table, need.words, limits)
    if ground.within_limits(need.start, need.end):
        return
    called = f"{need.name}: " if need.name else ""
    where = f"{called}{need.table} {need.start} to {need.end - 1} must come from one read"
    if need.count > ground.most:
        unit = "bits" if need.table.of_bits else "registers"
        key = "Modbus" if need.table.of_bits else "registers_per_read"
        allowed = limits.bits_per_read if need.table.of_bits else limits.registers_per_read
        raise RequestError(
            f"{where}, which takes {need.count * need.words} {unit}; {key} allows {allowed}. "
            "Where the meter cannot give the parts at once, write `parts: apart`."
        )
    if ground.crosses_other_width(need.start, need.end):
        raise RequestError(
            f"{where}, but addresses between its parts hold another number of bytes. Write `parts: apart`."
        )
    raise RequestError(
        f"{where}, which spans {ground.unlisted(need.start, need.end)} registers the map does not list; "
        f"bridge allows {limits.bridge}. Raise `bridge` if this meter answers there, or write `parts: apart`."
    )
