"""The meter's clock against the computer's.

Most meters show whole seconds, so that one look at the clock leaves a second open. The instant at which it
shows the next second is watched for, which leaves the time between two looks. A clock that may be right by
what was seen is taken for right: nothing is corrected by less than can be measured.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from protocols.log_memory.state import covering
from protocols.modbus.requests import Request
from protocols.register_map.memory_model import MeterClock
from protocols.register_map.model import RegisterMap, Value, Wire
from protocols.values.decode import Words, decode
from protocols.values.types import ColumnType, output_type
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock

#: The setting with the meter's clock.
CLOCK = "clock"
#: A clock that shows seconds is watched this long [s]; it has ticked by then.
WATCHED_S = 1.3
#: Resolution of a clock without seconds [s].
MINUTE_S = 60.0
#: Looks that may fail before the clock is given up.
FAILURES = 3


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """What the clock's figures, taken as UTC, are ahead of the computer's: between `low_s` and `high_s`.

    `at_utc_s` is when it was measured, by the computer's clock.
    """

    low_s: float
    high_s: float
    at_utc_s: float

    @property
    def middle_s(self) -> float:
        """The middle of what is possible."""
        return (self.low_s + self.high_s) / 2

    def shown_ms(self, utc_s: float) -> int:
        """What the clock's figures are at another moment soon after, ms since 1970."""
        return round((utc_s + self.middle_s) * 1000)


@dataclass(frozen=True, slots=True)
class _Look:
    shown_s: float
    earliest_s: float  # UTC between which the meter read its clock
    latest_s: float


def clock_of(register_map: RegisterMap) -> Value | None:
    """The setting that shows the meter's time; None where the map has none, or not in one read."""
    for value in register_map.settings:
        if value.name == CLOCK and output_type(value) is ColumnType.TIMESTAMP and not value.apart:
            return value
    return None


def watch_clock(
    ask: Callable[[Request], Outcome], value: Value, wire: Wire, clock: Clock
) -> ClockSeen | None:
    """Look at the clock until it ticks; None where it does not answer, or shows no time.

    `ask` must listen behind each reply: a second reply to one look would be taken for that to the next.
    """
    resolution = 1.0 if _shows_seconds(value) else MINUTE_S
    begun = clock.monotonic()
    before: _Look | None = None
    failures = 0
    while failures < FAILURES:
        look = _look(ask, value, wire, clock)
        if look is None:
            failures += 1
            continue
        if before is not None and look.shown_s == before.shown_s + resolution:
            return ClockSeen(look.shown_s - look.latest_s, look.shown_s - before.earliest_s, look.latest_s)
        if resolution != 1.0 or clock.monotonic() - begun > WATCHED_S:
            low, high = look.shown_s - look.latest_s, look.shown_s + resolution - look.earliest_s
            return ClockSeen(low, high, look.latest_s)
        before = look
    return None


def _look(ask: Callable[[Request], Outcome], value: Value, wire: Wire, clock: Clock) -> _Look | None:
    (request,) = covering(value.parts(), wire)
    earliest = clock.utc()  # before the request: a quick meter may have it before `sent` is noted
    outcome = ask(request)
    latest = clock.utc() - (clock.monotonic() - outcome.ended)
    if outcome.status is not Status.OK:
        return None
    here = np.ones(1, np.bool_)
    words = {
        column: Words(np.array([outcome.words[column.address - request.start]], np.uint16), here)
        for column in value.columns()
    }
    found = decode(value, words)
    if not found.available[0]:
        return None
    return _Look(int(found.data[0]) / 1000, earliest, latest)


def _shows_seconds(value: Value) -> bool:
    layout = value.layout
    return not layout or any("second" in pair for pair in layout)


def clock_offset(seen: ClockSeen, clock: MeterClock, site: ZoneInfo) -> float:
    """Meter minus computer [s]: 0 where that is possible, else the middle of what is.

    What a fixed zone adds is taken off; a clock on the site's time may show either of the offsets that its
    zone has around now, and is taken for the one that leaves less.
    """
    ahead = clock.offset_s
    if ahead is None:
        moments = (seen.at_utc_s + hours * 3600 for hours in (0, -24, 24))
        choices = [_ahead(moment, site) for moment in moments]
        ahead = min(choices, key=lambda choice: abs(seen.middle_s - choice))
    low, high = seen.low_s - ahead, seen.high_s - ahead
    return 0.0 if low <= 0 <= high else round((low + high) / 2, 3)


def _ahead(utc_s: float, site: ZoneInfo) -> int:
    found = datetime.fromtimestamp(utc_s, UTC).astimezone(site).utcoffset()
    assert found is not None
    return round(found.total_seconds())
