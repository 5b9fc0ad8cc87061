"""Which measurements of the meter's clock belong to a session: those of one setting of that clock."""

from collections.abc import Iterable

from protocols.log_memory.times import ClockOffset
from readout.clock import ms_of
from storage.ledger import Line

#: What a meter's crystal may gain or lose: 20 ppm when made and some 40 ppm more in frost or heat (watch
#: crystals, -0.035 ppm/K² around 25 °C); together 5 s a day.
DRIFT = 60e-6
#: Half-width of a measurement of the clock [ms]: it shows whole seconds, and a reply takes its time.
UNSHARP_MS = 2000
#: Measurements up to this much before a session's start [ms] were made when it was started.
AT_START_MS = 600_000


def offsets_told(lines: Iterable[Line], point: str, serial: str | None) -> list[ClockOffset]:
    """What a ledger's lines tell of this meter's clock: `clock_offset_s` (meter minus computer) at a time.

    A line of another meter is none of them; one that names no serial number is taken for the point's.
    """
    found = []
    for line in lines:
        told = line.content.get("clock_offset_s")
        other = line.content.get("serial_number", serial) != serial
        if line.content.get("point") != point or other or not isinstance(told, int | float):
            continue
        at = line.content.get("clock_measured", line.time)
        found.append(ClockOffset(ms_of(at), round(told * 1000)))
    return found


def of_session(offsets: Iterable[ClockOffset], began_ms: int | None) -> tuple[ClockOffset, ...]:
    """Those that hold for a session that began then [UTC ms by the meter's clock]: all since its start, and
    before it as far as the clock was only drifting. What it showed before it was set says nothing of later.
    """
    ordered = sorted(set(offsets), key=lambda one: one.at_ms)
    kept: list[ClockOffset] = []
    for one in reversed(ordered):
        since = began_ms is not None and one.at_ms + one.offset_ms >= began_ms - AT_START_MS
        drifting = not kept or _drifted(one, kept[-1])
        if not (since or drifting):
            break
        kept.append(one)
    return tuple(reversed(kept))


def _drifted(one: ClockOffset, other: ClockOffset) -> bool:
    allowed = UNSHARP_MS + DRIFT * abs(other.at_ms - one.at_ms)
    return abs(other.offset_ms - one.offset_ms) <= allowed
