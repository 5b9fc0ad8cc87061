"""What a simulated meter's log memory takes from its map: the interval it is set to."""

from decimal import Decimal

from protocols.log_memory.state import UNIT_MS
from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import RegisterMap, Value
from simulators.device.defaults import setting
from simulators.errors import NotSimulated
from simulators.log_memory import LogOptions, Rows, SimulatedLog
from simulators.log_memory.options import USUAL_INTERVAL
from simulators.meter_clock import MeterClock
from simulators.plant import Source

#: The setting that says how often the meter records.
INTERVAL = "log_interval"


def log_of(
    register_map: RegisterMap, memory: LogMemory, clock: MeterClock, source: Source, options: LogOptions
) -> SimulatedLog:
    """The memory with its past recorded. NotSimulated where the options do not fit the map."""
    records = sum(len(p.times) if isinstance(p, Rows) else p.records for p in options.past)
    if not memory.is_ring and records > memory.capacity:
        raise NotSimulated(
            f"The memory holds {memory.capacity} records and stops when it is full; {records} do not fit."
        )
    return SimulatedLog(memory, clock, source, options, interval_of(register_map, options))


def interval_setting(register_map: RegisterMap) -> Value | None:
    """The setting `log_interval`, where the map has it."""
    return next((value for value in register_map.settings if value.name == INTERVAL), None)


def interval_of(register_map: RegisterMap, options: LogOptions) -> float:
    """How often the meter records when it is switched on [s]; NotSimulated where its map has no such step."""
    value = interval_setting(register_map)
    if value is None:
        return options.interval or USUAL_INTERVAL
    unit_s = UNIT_MS.get(value.unit or "s", 1000) / 1000
    if options.interval is None:
        told = setting(value)
        return float(told) * unit_s if isinstance(told, Decimal | int) else USUAL_INTERVAL
    wanted = Decimal(repr(options.interval / unit_s))
    if value.steps and wanted not in value.steps:
        steps = ", ".join(map(str, value.steps))
        raise NotSimulated(f"This meter records every {steps} {value.unit}, not every {wanted} {value.unit}.")
    return options.interval
