"""What a technician is told of a meter that refuses: where registers may lie, what is not asked for."""

from collections.abc import Sequence

from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.requests import READ_FUNCTIONS
from protocols.modbus.tables import Table
from readout.bus.outcome import Outcome
from readout.plan.plan import PlannedRead, RoundPlan
from readout.plan.refusals import Refusals, sentences

#: Where a meter may keep what is asked for in vain: manuals mix up the two tables of a kind.
OTHER_TABLE = {
    Table.INPUT: (Table.HOLDING, "holding registers"),
    Table.HOLDING: (Table.INPUT, "input registers"),
    Table.DISCRETE: (Table.COIL, "coils"),
    Table.COIL: (Table.DISCRETE, "discrete inputs"),
}
#: Answers that say there is nothing of this kind at all, or not there.
_NOT_HERE = frozenset({ExceptionCode.ILLEGAL_FUNCTION, ExceptionCode.ILLEGAL_DATA_ADDRESS})


def hints(asked: Sequence[tuple[PlannedRead, Outcome]]) -> list[str]:
    """A sentence for each table of which a round got nothing but exceptions 01 and 02."""
    answers: dict[Table, set[int | None]] = {}
    for read, outcome in asked:
        answers.setdefault(read.block.table, set()).add(outcome.exception)
    return [other_table(table) for table, codes in answers.items() if codes <= _NOT_HERE]


def other_table(table: Table) -> str:
    """Where else the registers of a table may lie."""
    other, called = OTHER_TABLE[table]
    return (
        f"Everything asked for in the {table} table is refused: this meter may keep it in the {called} "
        f"(function {READ_FUNCTIONS[other]:02}). Write `{other}` instead of `{table}` into the map to try."
    )


def refused_text(plan: RoundPlan) -> str:
    """Which values of a plan are not asked for, since when, and what becomes of them; empty where all are."""
    values = plan.refusals.of_values
    if not plan.refused:
        return ""
    days = ", ".join(sorted({refusal.learned_on for refusal in values}))
    told = "; ".join(sentences(Refusals(values)))
    text = f"{told}; learned on {days}, asked for again once an hour."
    answering = {read.block.table for read in plan.reads}
    barren = dict.fromkeys(refusal.table for refusal in values if refusal.table not in answering)
    others = [
        other_table(table)
        for table in barren
        if {refusal.exception for refusal in values if refusal.table is table} <= _NOT_HERE
    ]
    return "\n".join((text, *others))
