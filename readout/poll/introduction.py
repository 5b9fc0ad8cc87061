"""Who the meter is and how it is set: identity, settings and told reference conditions, read once.

Only reads. What the meter does not answer is null, never guessed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import RegisterMap, Value
from protocols.values.types import ColumnType, output_type
from readout.bus.exchange import Manners
from readout.bus.outcome import Status
from readout.clock import Clock
from readout.plan.plan import condition_name, plan_round
from readout.poll.knowledge import Knowledge
from readout.poll.learning import Learner
from readout.poll.readings import readings_of
from readout.poll.round import PolledPoint, Reader


@dataclass(frozen=True, slots=True)
class Introduction:
    """What a meter told of itself, as JSON types.

    `meter`: identity name → text or number. `settings`: name → {value, unit, flag}; reference conditions
    that the meter tells are among them. `clock_offset` is meter minus computer in seconds where the meter
    has a clock that counts in UTC, None otherwise. `status` and `text` are those of the round that asked:
    `ok` also where the map has nothing to ask. `failed`: as in `readout.poll.round.Round`.
    """

    meter: Mapping[str, Any]
    settings: Mapping[str, Any]
    clock_offset: float | None = None
    status: Status = Status.OK
    text: str = ""
    failed: str = ""


def introduce(
    line: Reader,
    register_map: RegisterMap,
    serial_format: SerialFormat,
    unit: int,
    manners: Manners,
    clock: Clock,
    knowledge: Knowledge | None = None,
) -> Introduction:
    """Ask the meter who it is. Costs the line a few reads; a silent meter costs one silence.

    What of this the meter refuses is learned into `knowledge`, where it is given, and then left out.
    """
    told = register_map.told_conditions()
    values = (*register_map.identity, *register_map.settings, *told)
    if not values:
        return Introduction({}, {})
    learner = Learner(
        knowledge or Knowledge(clock.utc),
        lambda refusals: plan_round(register_map, values, serial_format, unit, refusals=refusals),
    )
    asking = PolledPoint("", unit, learner.plan, manners)
    plan, found = learner.settle(line, asking, first_only=True)
    settings = readings_of(plan, found, register_map.settings)
    offset = None
    if found.ended is not None:
        utc_at_reply = clock.utc() - (clock.monotonic() - found.ended)
        offset = _clock_offset(register_map.settings, settings, utc_at_reply)
    for value in told:
        settings[condition_name(value)] = readings_of(plan, found, [value])[value.name]
    identity = readings_of(plan, found, register_map.identity)
    return Introduction(
        {name: reading["value"] for name, reading in identity.items()},
        settings,
        offset,
        found.status,
        found.text,
        found.failed,
    )


def _clock_offset(
    settings: Sequence[Value], readings: Mapping[str, Mapping[str, Any]], utc: float
) -> float | None:
    for value in settings:
        if (
            value.name == "clock"
            and output_type(value) is ColumnType.TIMESTAMP
            and readings["clock"]["value"]
        ):
            told = datetime.fromisoformat(readings["clock"]["value"])
            return round(told.timestamp() - utc, 3)
    return None
