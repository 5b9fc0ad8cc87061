"""Everything a map says and causes, as one table of data: for text, JSON and the page."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from protocols.errors import RequestError
from protocols.modbus.timing import SerialFormat
from protocols.register_map.document import Mapping, Scalar, compose
from protocols.register_map.faults import Report
from protocols.register_map.model import RegisterMap
from readout.plan.listing.memory import Memory, memory_of
from readout.plan.listing.rows import Row, Rows
from readout.plan.plan import NONE_REFUSED, PlannedRead, RoundPlan, plan_round, polled_values
from readout.plan.refusals import Refusals


@dataclass(frozen=True, slots=True)
class Listing:
    """`groups` of rows by title, `memory` where there is one.

    `round` is what every round sends, `beginning` what is read once, when recording begins: identity,
    settings, and the conditions that the meter tells; None where there is nothing of it, or no reads can give
    it together. `manual` as the map names it: title, revision, page.
    """

    map: RegisterMap
    manual: tuple[tuple[str, str], ...]
    groups: tuple[tuple[str, tuple[Row, ...]], ...]
    memory: Memory | None
    round: RoundPlan
    beginning: RoundPlan | None

    def reads_of(self, row: Row) -> str:
        """Which reads deliver the row's registers: `r1` of a round, `b2` of the beginning; "" in neither."""
        beginning = () if self.beginning is None else self.beginning.reads
        found = [f"r{n}" for n, read in enumerate(self.round.reads, 1) if _delivers(read, row)]
        found += [f"b{n}" for n, read in enumerate(beginning, 1) if _delivers(read, row)]
        return ", ".join(found)


def listing(
    register_map: RegisterMap, settings: SerialFormat, unit: int, refusals: Refusals = NONE_REFUSED
) -> Listing:
    """The whole map with its reads on a line of these settings; `refusals`: what the meter does not give."""
    rows = Rows(register_map)
    told = register_map.told_conditions()
    conditions = [
        row
        for value in told
        if value.number not in {setting.number for setting in register_map.settings}
        for row in rows.of_value(value)
    ]
    groups = [
        (title, tuple(row for value in values for row in rows.of_value(value)))
        for title, values in (
            ("readings", register_map.readings),
            ("settings", register_map.settings),
            ("identity", register_map.identity),
        )
    ]
    groups.insert(1, ("reference conditions", tuple(conditions)))
    values = (*register_map.identity, *register_map.settings, *told)
    return Listing(
        register_map,
        _manual(register_map),
        tuple((title, found) for title, found in groups if found),
        memory_of(register_map, rows),
        plan_round(register_map, polled_values(register_map), settings, unit, refusals=refusals),
        _beginning(register_map, values, settings, unit),
    )


def document(found: Listing) -> dict[str, Any]:
    """The rows as JSON types; `read` names the reads that deliver them."""
    memory = found.memory
    return {
        "manual": dict(found.manual),
        "values": [
            {"group": title, **_json(row), "read": found.reads_of(row)}
            for title, rows in found.groups
            for row in rows
        ],
        "log_memory": None
        if memory is None
        else {
            "facts": dict(memory.facts),
            "registers": [_json(row) for row in memory.registers],
            "session": [_json(row) for row in memory.session],
            "record": [_json(row) for row in memory.record],
        },
    }


def _json(row: Row) -> dict[str, Any]:
    plain = asdict(row)
    return {**plain, "table": None if row.table is None else str(row.table), "remarks": list(row.remarks)}


def _beginning(
    register_map: RegisterMap, values: Sequence[Any], settings: SerialFormat, unit: int
) -> RoundPlan | None:
    if not values:
        return None
    try:
        return plan_round(register_map, values, settings, unit)
    except RequestError:
        return None


def _delivers(read: PlannedRead, row: Row) -> bool:
    block = read.block
    return row.table is block.table and block.start <= row.first and row.first + row.count <= block.end


def _manual(register_map: RegisterMap) -> tuple[tuple[str, str], ...]:
    """What the map's text says of its manual; the model does not keep it, for nothing is decided by it."""
    root = compose(register_map.text.encode("utf-8"), Report(""))
    node = None if root is None else next((p.value for p in root.pairs if p.key.text == "manual"), None)
    if isinstance(node, Scalar):
        return (("title", node.text),)
    if isinstance(node, Mapping):
        return tuple((p.key.text, p.value.text) for p in node.pairs if isinstance(p.value, Scalar))
    return ()
