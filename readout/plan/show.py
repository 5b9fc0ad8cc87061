"""A plan as plain data, for people and programs that want to see what will be sent before it is sent."""

from typing import Any

from readout.plan.plan import PlannedRead, RoundPlan


def describe(plan: RoundPlan) -> dict[str, Any]:
    """Registers, reads and times of a round as JSON types.

    `registers`: one entry a part of each value. `reads`: in the order sent, `request` as hex with spaces,
    `reply_characters` of the good reply, `wire_s` with silence and the assumed turnaround, `bridged` the
    addresses it passes over without need. `refused`: names of the values left out, because this meter is
    known to refuse them. Times in seconds, rounded to microseconds.
    """
    return {
        "unit_address": plan.unit,
        "line": str(plan.format),
        "registers": _registers(plan),
        "reads": [_read(plan, read) for read in plan.reads],
        "refused": [value.name for value in plan.refused],
        "wire_s": round(plan.wire_seconds, 6),
        "shortest_interval_s": plan.shortest_ms / 1000,
    }


def _registers(plan: RoundPlan) -> list[dict[str, Any]]:
    return [
        {
            "value": value.name,
            "table": str(part.table),
            "address": part.address,
            "addresses": part.addresses,
            "type": str(part.kind),
        }
        for value in plan.values
        for part in value.parts()
    ]


def _read(plan: RoundPlan, read: PlannedRead) -> dict[str, Any]:
    needed = {
        column.address
        for value in plan.values
        for column in value.columns()
        if column.table is read.block.table
    }
    span = range(read.block.start, read.block.end)
    return {
        "table": str(read.block.table),
        "start": read.block.start,
        "count": read.block.count,
        "request": read.request.frame(plan.unit).hex(" ").upper(),
        "reply_characters": read.reply_characters,
        "wire_s": round(read.seconds, 6),
        "bridged": [address for address in span if address not in needed],
        "apart": read.apart,
        "role": str(read.role),
    }
