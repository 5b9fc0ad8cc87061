"""What is read to find out which of several maps fits: the maps' own reads, each sent once for all."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from protocols.errors import RequestError
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from protocols.register_map.memory_model import ByWindow
from protocols.register_map.model import Number, RegisterMap, Value
from readout.bus.exchange import Manners
from readout.plan.blocks import TURNAROUND_GUESS, Block, Cost
from readout.plan.plan import condition_name, plan_round

#: Names of what `log_memory` keeps in registers beside its `recording`; no map can give such a name.
COUNT, OLDEST, NEXT = "log memory count", "log memory oldest", "log memory next"
SESSIONS, WIDTH = "log memory sessions", "log memory record width"
#: The reads of who the meter is beside its registers: functions 17 and 43/14, asked once each.
WHO = 2


@dataclass(frozen=True, slots=True)
class Candidate:
    """One map and what is asked for its sake: `values` are judged, `blocks` read them, best-planned."""

    file: str
    map: RegisterMap
    values: tuple[Value, ...]
    blocks: tuple[Block, ...]
    identifying: frozenset[Block]


def candidate(file: str, register_map: RegisterMap) -> Candidate:
    """The map with its reads; a group of values that no read can give under the map is not asked for."""
    own, memory = tuple(judged_values(register_map)), tuple(memory_values(register_map))
    blocks = _blocks(register_map, [own]) or _blocks(register_map, _groups(register_map, own))
    blocks += _joined(need for value in memory for need in needs_of(value))
    values = (*own, *memory)
    identity = [spans for value in register_map.identity for spans in needs_of(value)]
    identifying = frozenset(block for block in blocks if any(contains(block, need) for need in identity))
    return Candidate(file, register_map, values, tuple(blocks), identifying)


def judged_values(register_map: RegisterMap) -> Iterator[Value]:
    """Identity, readings, settings, and conditions that the meter tells: what rounds and introductions read.

    A condition that is a setting as well is judged once, as the setting.
    """
    yield from register_map.identity
    yield from register_map.readings
    yield from register_map.settings
    settings = {value.number for value in register_map.settings}
    for value in register_map.told_conditions():
        if value.number not in settings:
            yield replace(value, name=condition_name(value))


def needs_of(value: Value) -> list[Block]:
    """The stretches that each come from one read: one, or one a part where the parts are read apart."""
    parts = [[part] for part in value.parts()] if value.apart else [value.parts()]
    return list(dict.fromkeys(_hull(each) for each in parts))


def contains(block: Block, need: Block) -> bool:
    """Whether one read of the block delivers the whole need."""
    same = (block.table, block.words) == (need.table, need.words)
    return same and block.start <= need.start and need.end <= block.end


def in_order(candidates: Sequence[Candidate]) -> list[Block]:
    """Every distinct read of all maps: identity first, then what serves most maps; wide ones before parts."""
    wanted = [(one, block) for one in candidates for block in one.blocks]
    blocks = list(dict.fromkeys(block for _, block in wanted))
    tables = list(Table)
    identifying = {block for one in candidates for block in one.identifying}

    def rank(block: Block) -> tuple[bool, int, int, int, int]:
        serves = len({one.file for one, part in wanted if contains(block, part)})
        return block not in identifying, -serves, -block.count, tables.index(block.table), block.start

    return sorted(blocks, key=rank)


def moving_windows(candidates: Iterable[Candidate]) -> dict[Block, str]:
    """Windows of a log memory that reading moves on, with the map that says so: nothing may be read there."""
    found: dict[Block, str] = {}
    for one in candidates:
        memory = one.map.log_memory
        way = None if memory is None else memory.reached_by
        if memory is not None and isinstance(way, ByWindow) and way.advance:
            length = way.records * memory.record.registers
            found[Block(way.data.table, way.data.address, length)] = one.file
    return found


def lone(candidates: Iterable[Candidate]) -> list[Block]:
    """What is asked singly where blocks are refused: each value by itself."""
    needs = (need for one in candidates for value in one.values for need in needs_of(value))
    blocks = {block for one in candidates for block in one.blocks}
    return [need for need in dict.fromkeys(needs) if need not in blocks]


def expected_seconds(blocks: Iterable[Block], fmt: SerialFormat, manners: Manners) -> float:
    """Time on the wire of these reads where all are answered, the turnaround (a guess) included [s]."""
    cost = Cost(fmt.character_time, max(fmt.silence, manners.pause), TURNAROUND_GUESS)
    return sum(cost.seconds(block.table, block.count, block.words) for block in blocks)


def patient(candidates: Iterable[Candidate]) -> Manners:
    """One treatment that suits each of the maps: the longest waits and pauses, departures of any of them."""
    wires = [one.map.wire for one in candidates]
    return Manners(
        reply_within=max(wire.reply_within for wire in wires),
        late_within=max(wire.late_within for wire in wires),
        pause=max(wire.pause for wire in wires),
        after_open=max(wire.after_open for wire in wires),
        tolerate=tuple(dict.fromkeys(each for wire in wires for each in wire.tolerate)),
    )


def _hull(parts: Sequence[Number]) -> Block:
    (first, *_) = parts
    assert first.table is not None  # only fields of a log record have none
    start = min(part.address for part in parts)
    end = max(part.address + part.addresses for part in parts)
    return Block(first.table, start, end - start, first.words // first.addresses)


def _blocks(register_map: RegisterMap, groups: Iterable[Iterable[Value]]) -> list[Block]:
    found: list[Block] = []
    for values in groups:
        try:
            found += [read.block for read in plan_round(register_map, values, SerialFormat(), unit=1).reads]
        except RequestError:
            continue
    return list(dict.fromkeys(found))


def _groups(register_map: RegisterMap, values: Sequence[Value]) -> list[list[Value]]:
    """The values in groups that other commands read together, so that one odd value costs only its group."""
    readings = {value.name for value in register_map.readings}
    groups = [[value for value in values if value.name in readings]]
    return [*groups, *([value] for value in values if value.name not in readings)]


def _joined(needs: Iterable[Block]) -> list[Block]:
    """Stretches that follow one another as one read: no plan has the registers of a memory."""
    found: list[Block] = []
    tables = list(Table)
    for need in sorted(set(needs), key=lambda each: (tables.index(each.table), each.words, each.start)):
        last = found[-1] if found else None
        if (
            last is not None
            and (last.table, last.words) == (need.table, need.words)
            and need.start <= last.end
        ):
            found[-1] = replace(last, count=max(last.end, need.end) - last.start)
        else:
            found.append(need)
    return found


def memory_values(register_map: RegisterMap) -> Iterator[Value]:
    """What a log memory tells of itself in registers."""
    memory = register_map.log_memory
    if memory is None:
        return
    if memory.recording is not None:
        yield replace(memory.recording, name="log memory recording")
    numbers = {COUNT: memory.count, OLDEST: memory.oldest, NEXT: memory.next, WIDTH: memory.record.told}
    if memory.sessions is not None:
        numbers[SESSIONS] = memory.sessions.count
    for name, number in numbers.items():
        if number is not None and number.table is not None:
            yield Value(name, number)
