"""The meter's memory: whether what is planned fits behind what is in it, and what happens when it is full."""

from fractions import Fraction
from typing import Any

from protocols.register_map.memory_model import AfterPowerLoss, LogMemory
from readout.errors import WrongUse
from readout.plan.endurance import MARGIN, in_words, shortest_interval
from readout.plan.recording import Intervals
from readout.visit.verdict import Check, go, no_go, to_decide, together


def room_check(
    memory: LogMemory, intervals: Intervals, held: int | None, interval_ms: int | None, needed_s: float
) -> Check:
    """Free places × interval against the time until the planned return, with a tenth to spare.

    Args:
        memory: as the map describes it.
        intervals: what the meter takes.
        held: records that are in it now; None where the meter does not tell.
        interval_ms: between two records; None where it is not known.
        needed_s: until the planned return.
    """
    if held is None or interval_ms is None:
        what = "how many records it holds" if held is None else "its interval"
        return to_decide(f"the meter does not tell {what}", "work it out from its manual, and accept it")
    interval_s = Fraction(interval_ms, 1000)
    if not intervals.takes(interval_s):
        return no_go(f"{float(interval_s):g} s is no interval of this meter", f"it takes {intervals}")
    needed = Fraction(round(needed_s))
    free = max(0, memory.capacity - held)
    lasts = free * interval_s
    figures: dict[str, Any] = {
        "free_records": free,
        "interval_s": float(interval_s),
        "lasts_s": float(lasts),
        "needed_s": float(needed),
    }
    said = f"{free} places free, every {float(interval_s):g} s: lasts {in_words(lasts)}"
    if lasts < needed:
        lost = "the oldest records are overwritten" if memory.is_ring else "recording stops"
        reason = f"{said}, and {in_words(needed)} are planned: {lost} {in_words(needed - lasts)} too early"
        return no_go(reason, _way_out(memory, intervals, free, needed), **figures)
    checks = [go(_when_full(memory)), _after_power_loss(memory)]
    if lasts < needed * (1 + MARGIN):
        reason = f"{said}; a return that slips by a tenth of {in_words(needed)} would find it full"
        checks.append(to_decide(reason, _way_out(memory, intervals, free, needed * (1 + MARGIN))))
    return together(checks, f"{said}; planned {in_words(needed)}", **figures)


def _when_full(memory: LogMemory) -> str:
    return "when full it overwrites the oldest" if memory.is_ring else "when full it stops"


def _after_power_loss(memory: LogMemory) -> Check:
    if memory.after_power_loss is AfterPowerLoss.STOPS:
        advice = "secure its supply, or accept it"
        return to_decide("after a power failure it stays stopped until somebody starts it", advice)
    if memory.after_power_loss is AfterPowerLoss.RESUMES and memory.record.time is None:
        advice = "secure its supply, or accept it"
        return to_decide("after a power failure its records get wrong times, and nothing shows it", advice)
    if memory.after_power_loss is None:
        return go("the map does not say what a power failure does")
    return go("after a power failure it goes on")


def _way_out(memory: LogMemory, intervals: Intervals, free: int, needed: Fraction) -> str:
    """A longer interval, or an empty memory."""
    ways = []
    for places, how in ((free, ""), (memory.capacity, " and an empty memory (answer erase)")):
        if places:
            try:
                offered = intervals.no_shorter(shortest_interval(places, needed))
            except WrongUse:
                continue
            ways.append(f"answer interval: {float(offered):g}s{how}")
    return "; or ".join([*dict.fromkeys(ways), "come back earlier"])
