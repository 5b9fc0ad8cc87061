"""One round over one meter: which requests are sent in which order, what each delivers, how long it takes.

The order of `RoundPlan.columns` is the order of a round's raw words in the journal and in the archive.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import ceil

from protocols.errors import RequestError
from protocols.modbus.requests import ReadRequest
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import Column, Number, RegisterMap, Value
from readout.plan.blocks import REPLY_OVERHEAD, TURNAROUND_GUESS, Block, Cost, Limits, Need, plan_blocks
from readout.plan.refusals import Refusals
from readout.plan.schedule import SHORTEST_MS

#: Nothing is known to be refused.
NONE_REFUSED = Refusals()


class Role(StrEnum):
    """What the words of a reply are for."""

    DATA = "data"
    #: The first part of a value with `parts: apart`, read once more: kept nowhere, only compared with the
    #: words of the `DATA` read of the same columns. One difference, and the value is unsteady.
    COMPARED = "compared"


@dataclass(frozen=True, slots=True)
class PlannedRead:
    """One request of a round.

    `columns` are the words of the reply in their order, bridged ones too. `apart` names the value for whose
    sake the read stands apart, None for ordinary blocks. `reply_characters` is the length of the good reply,
    `seconds` the time from the request's first character to the next request's. `needs` are the values, or
    the parts read apart, for whose sake it is sent.
    """

    block: Block
    request: ReadRequest
    columns: tuple[Column, ...]
    reply_characters: int
    seconds: float
    role: Role = Role.DATA
    apart: str | None = None
    needs: tuple[Need, ...] = ()


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """Everything a round over one meter sends and gets.

    `values` are those it reads, `reads` the requests in the order in which they must be sent, `columns` every
    word it delivers, each once. Where two reads deliver the same word, the later one holds. `refused` are
    those of the values that are not asked for, because the meter is known to refuse them, as `refusals` say;
    their words are among the columns, and do not come.
    """

    unit: int
    format: SerialFormat
    values: tuple[Value, ...]
    reads: tuple[PlannedRead, ...]
    columns: tuple[Column, ...]
    refused: tuple[Value, ...] = ()
    refusals: Refusals = NONE_REFUSED

    @property
    def wire_seconds(self) -> float:
        """Time on the wire of a round without any fault, the meter's turnaround (a guess) included."""
        return sum(read.seconds for read in self.reads)

    @property
    def shortest_ms(self) -> int:
        """The shortest interval [ms] at which such rounds fit on a line of their own."""
        return max(SHORTEST_MS, ceil(self.wire_seconds * 1000))


def raw_name(column: Column) -> str:
    """`raw_input_16`, the address as sent; `raw_input_16_2` for the second word behind one address."""
    further = f"_{column.word + 1}" if column.word else ""
    return f"raw_{column.table}_{column.address}{further}"


def polled_values(register_map: RegisterMap) -> tuple[Value, ...]:
    """What polling reads: the readings, and reference conditions that the meter tells."""
    return (*register_map.readings, *register_map.told_conditions())


def condition_name(value: Value) -> str:
    """How a told reference condition is called among the settings: several readings may have their own."""
    return f"{value.name} at {value.number.table} {value.number.address}"


def plan_round(
    register_map: RegisterMap,
    values: Iterable[Value],
    serial_format: SerialFormat,
    unit: int,
    turnaround_s: float = TURNAROUND_GUESS,
    refusals: Refusals = NONE_REFUSED,
) -> RoundPlan:
    """The cheapest round that reads `values` of the meter with that unit address.

    Ordinary values share blocks; a value whose parts stand apart has reads of its own after them, in the
    order that shows whether it changed meanwhile. What the meter is known to refuse is neither asked for nor
    read across. RequestError where a value cannot be read under the map.
    """
    values = tuple(values)
    wire = register_map.wire
    cost = Cost(serial_format.character_time, max(serial_format.silence, wire.pause), turnaround_s)
    limits = Limits(wire.registers_per_read, wire.bridge, _listed(register_map))
    refused = tuple(value for value in values if _is_refused(value, refusals))
    apart = [value for value in values if value.apart]
    ordinary = [_need(value.name, value.parts()) for value in values if not value.apart]
    needs = [need for need in ordinary if not _read_apart(need, apart)]
    for number, value in enumerate(apart):
        _refuse_shared(value, apart[:number])
    planner = _Planner(_keeping_off(limits, refusals, needs, apart), cost)
    reads = planner.blocks(need for need in needs if not refusals.name(need.table, need.start, need.end))
    for value in apart:
        if value not in refused:
            reads += planner.apart(value)
    columns = tuple(dict.fromkeys(column for read in reads for column in read.columns))
    missed = tuple(value for value in refused if not set(value.columns()) <= set(columns))
    # They keep their columns, empty: the archive's stay the same while a refused value comes and goes.
    columns = tuple(dict.fromkeys((*columns, *(column for value in missed for column in value.columns()))))
    return RoundPlan(unit, serial_format, values, tuple(reads), columns, missed, refusals)


def lone_read(plan: RoundPlan, need: Need) -> PlannedRead:
    """A read of one need and nothing else, on the line of that plan."""
    cost = Cost(plan.format.character_time, plan.format.silence)
    block = Block(need.table, need.start, need.count, need.words)
    return replace(_Planner(Limits(block.count * block.words, 0, {}), cost).read(block), needs=(need,))


def _is_refused(value: Value, refusals: Refusals) -> bool:
    """Whether what the value needs from one read, or one part that is read apart, is known to be refused."""
    if not refusals.of_values:
        return False
    needs = [_need(value.name, [part]) for part in value.parts()] if value.apart else []
    needs = needs or [_need(value.name, value.parts())]
    return any(refusals.name(need.table, need.start, need.end) for need in needs)


def _keeping_off(limits: Limits, refusals: Refusals, needs: Iterable[Need], apart: Iterable[Value]) -> Limits:
    """The limits, narrowed by what the meter refuses."""
    if not refusals.all:
        return limits
    spans: dict[Table, list[tuple[int, int]]] = {table: [] for table in Table}
    parts = [_need(value.name, [part]) for value in apart for part in value.parts()]
    for need in (*needs, *parts):
        spans[need.table].append((need.start, need.end))
    return replace(limits, refused=refusals.spans(), cuts=refusals.cuts(spans, limits.listed))


class _Planner:
    """Turns needs into requests under one meter's limits and one line's cost."""

    def __init__(self, limits: Limits, cost: Cost) -> None:
        self._limits, self._cost = limits, cost

    def blocks(self, needs: Iterable[Need], apart: str | None = None) -> list[PlannedRead]:
        """The cheapest reads for the needs."""
        needs = tuple(needs)
        return [
            replace(
                self.read(block, Role.DATA, apart), needs=tuple(need for need in needs if block.holds(need))
            )
            for block in plan_blocks(needs, self._limits, self._cost)
        ]

    def apart(self, value: Value) -> list[PlannedRead]:
        """First part, first part, the others, first part.

        Two equal firsts in succession show that no carry was under way before the others were read, the
        third that none happened meanwhile.
        """
        first, *others = value.parts()
        (data,) = self.blocks([_need(value.name, [first])], value.name)
        again = replace(data, role=Role.COMPARED)
        needs = [_need(value.name, [part]) for part in others]
        return [data, again, *self.blocks(needs, value.name), again]

    def read(self, block: Block, role: Role = Role.DATA, apart: str | None = None) -> PlannedRead:
        """The request for a block, with what it delivers and costs."""
        request = ReadRequest(block.table, block.start, block.count)
        columns = tuple(
            Column(block.table, address, word)
            for address in range(block.start, block.end)
            for word in range(block.words)
        )
        data = self._cost.data_characters(block.table, block.count, block.words)
        seconds = self._cost.seconds(block.table, block.count, block.words)
        return PlannedRead(block, request, columns, REPLY_OVERHEAD + data, seconds, role, apart)


def _need(name: str, parts: Sequence[Number]) -> Need:
    """The hull of the parts; RequestError where no read can give them together."""
    tables = {part.table for part in parts}
    widths = {part.words // part.addresses for part in parts}
    if len(tables) > 1 or len(widths) > 1:
        raise RequestError(
            f"{name}: its parts lie in several tables or behind addresses of several widths, so no single "
            "read gives them together. Write `parts: apart`."
        )
    (table,), (words,) = tables, widths
    if table is None:
        raise RequestError(f"{name} is a field of a log record; a round cannot read it.")
    start = min(part.address for part in parts)
    end = max(part.address + part.addresses for part in parts)
    return Need(table, start, end - start, words, name)


def _read_apart(need: Need, apart: Iterable[Value]) -> bool:
    """True where a value with parts apart delivers the whole need anyway.

    RequestError where it delivers half of it: the halves would come from two moments.
    """
    for value in apart:
        for part in value.parts():
            if part.table is not need.table:
                continue
            start, end = part.address, part.address + part.addresses
            if start <= need.start and need.end <= end:
                return True
            if start < need.end and need.start < end:
                raise RequestError(
                    f"{need.name} and {value.name} share {need.table} {max(start, need.start)}, but "
                    f"{value.name} is read apart, so {need.name} would be put together from two moments. "
                    "Read only one of the two."
                )
    return False


def _refuse_shared(value: Value, earlier: Iterable[Value]) -> None:
    """RequestError where two values with parts apart share a register: its word could hold for only one."""
    for other in earlier:
        shared = set(value.columns()) & set(other.columns())
        if shared:
            first = min(shared)
            raise RequestError(
                f"{value.name} and {other.name} are both read apart and share {first.table} {first.address}. "
                "Read only one of the two."
            )


def _listed(register_map: RegisterMap) -> dict[Table, dict[int, int]]:
    """Per table, each address the map speaks of and the 16-bit words behind it."""
    found: dict[Table, dict[int, int]] = {table: {} for table in Table}
    for part in _all_parts(register_map):
        if part.table is not None:
            for address in range(part.address, part.address + part.addresses):
                found[part.table][address] = part.words // part.addresses
    return found


def _all_parts(register_map: RegisterMap) -> Iterator[Number]:
    for value in (*register_map.values(), *register_map.told_conditions()):
        yield from value.parts()
